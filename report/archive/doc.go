// Package archive is the inspector's bag: the records of a period in a folder or a
// ZIP that can be read, and checked, without this program.
//
// A bag follows BagIt 1.0 (RFC 8493). Its payload are signed records, the exports as
// they were, the ledger (every entry of the logbook with its place in the Merkle tree
// and the proof of it, RFC 6962), the checkpoint of that tree with its signature, the
// certificates, a table of cycles, and pages for a browser.
//
// A [Packer] writes one; the same contents give the same bytes. [Open] reads one
// without unpacking it, and believes nothing that stands in it before [Bag.Check].
// What the entries mean is not settled here.
package archive
