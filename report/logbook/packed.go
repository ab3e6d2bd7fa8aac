package logbook

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// Sizes of a gzip member without name, comment and other fields (RFC 1952, 2.3).
const (
	gzipHeader  = 10
	gzipTrailer = 8
)

// Packed is a kept file as it is stored: the deflate stream (RFC 1951) within its gzip.
type Packed struct {
	Size   int64  // of the file, bytes
	Packed int64  // of the stream, bytes
	CRC32  uint32 // of the file, as the gzip says it

	stream io.Reader
}

// Read reads the deflate stream. Nothing is compared here: whoever unpacks it does.
func (p *Packed) Read(b []byte) (int, error) { return p.stream.Read(b) }

// Packed opens a kept file without unpacking it, for what takes deflate streams. Read it
// before the transaction of the view ends.
//
// Error: the file was never kept; its gzip begins otherwise than this program writes it.
func (v *View) Packed(ctx context.Context, sum string) (*Packed, error) {
	p := &parts{ctx: ctx, q: v.q, sha256: sum}
	out := &Packed{}
	var stored int64
	err := v.q.QueryRowContext(ctx, `SELECT parts, size, (SELECT COALESCE(SUM(LENGTH(gzip)), 0) FROM original_parts WHERE sha256 = $1)
		FROM originals WHERE sha256 = $1`, sum).Scan(&p.all, &out.Size, &stored)
	if err != nil {
		return nil, v.notFound(err, "the file "+sum+" was never kept here")
	}
	if out.Packed = stored - gzipHeader - gzipTrailer; out.Packed < 1 {
		return nil, damagedOriginal(sum, "it is shorter than any gzip")
	}
	if out.CRC32, err = v.trailer(ctx, sum, p.all); err != nil {
		return nil, err
	}
	var head [gzipHeader]byte
	if _, err := io.ReadFull(p, head[:]); err != nil {
		return nil, damagedOriginal(sum, err.Error())
	}
	if head[0] != 0x1f || head[1] != 0x8b || head[2] != 8 || head[3] != 0 {
		return nil, damagedOriginal(sum, "it does not begin as a gzip without a name does")
	}
	out.stream = io.LimitReader(p, out.Packed)
	return out, nil
}

// trailer reads the CRC-32 at the end of a gzip, which the last two parts may share.
func (v *View) trailer(ctx context.Context, sum string, last int64) (uint32, error) {
	var end []byte
	for part := last; part > max(0, last-2); part-- {
		var b []byte
		if err := v.q.QueryRowContext(ctx, `SELECT CASE WHEN LENGTH(gzip) > 8 THEN SUBSTR(gzip, LENGTH(gzip) - 7) ELSE gzip END
			FROM original_parts WHERE sha256 = $1 AND part = $2`, sum, part).Scan(&b); err != nil {
			return 0, explain(v.path, err)
		}
		if end = append(b, end...); len(end) >= gzipTrailer {
			return binary.LittleEndian.Uint32(end[len(end)-gzipTrailer:]), nil
		}
	}
	return 0, damagedOriginal(sum, "it has no end")
}

// Tree returns the tree of the first size entries from its stored hashes, after making
// sure that they have the given root.
func (v *View) Tree(ctx context.Context, c entry.Checkpoint) (*entry.Tree, error) {
	hashes := make([]tlog.Hash, 0, tlog.StoredHashCount(c.Size))
	err := each(ctx, v.q, `SELECT hash FROM hashes WHERE i < $1 ORDER BY i`, []any{tlog.StoredHashCount(c.Size)}, func(r *sql.Rows) error {
		var h sql.RawBytes
		if err := r.Scan(&h); err != nil {
			return err
		}
		if len(h) != tlog.HashSize {
			return fmt.Errorf("a hash of the tree has %d bytes", len(h))
		}
		hashes = append(hashes, tlog.Hash(h))
		return nil
	})
	if err != nil {
		return nil, explain(v.path, err)
	}
	tree, err := entry.TreeOf(c.Size, hashes)
	if err == nil {
		var root tlog.Hash
		if root, err = tree.Root(c.Size); err == nil && root != c.Root {
			err = errors.New("the hashes of the tree do not make its root")
		}
	}
	if err != nil {
		return nil, &Error{Path: v.path, What: err.Error(), Remedy: tellAudit, Err: err}
	}
	return tree, nil
}
