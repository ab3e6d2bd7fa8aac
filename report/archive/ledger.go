package archive

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// maxEntries is how many entries a ledger has at most (ours): thirty years of ten acts
// an hour are fewer.
const maxEntries = 1 << 20

// maxLedgerLine is the longest line of a ledger: an entry as a JSON string, at worst six
// bytes for one, and its proof.
const maxLedgerLine = 6*entry.MaxLine + 64<<10

// ledgerLine is a line of data/ledger.jsonl. Its entry is the very bytes of the entry as
// text: the SHA-256 over a zero byte and these bytes is the leaf of the tree, and with
// the proof (RFC 6962, 2.1.1) it leads to the root of the checkpoint.
type ledgerLine struct {
	N     int64       `json:"n"`     // number of the entry; its index in the tree is n-1
	Leaf  tlog.Hash   `json:"leaf"`  // base64
	Proof []tlog.Hash `json:"proof"` // base64, from the leaf upwards
	Entry string      `json:"entry"`
}

// bytes writes the line, in the one form that a ledger has.
func (l ledgerLine) bytes(into *bytes.Buffer) error {
	if !utf8.ValidString(l.Entry) {
		return fmt.Errorf("entry %d is not UTF-8", l.N)
	}
	fmt.Fprintf(into, `{"n":%d,"leaf":"%s","proof":[`, l.N, l.Leaf)
	var text [44]byte // a SHA-256 in base64
	for i, h := range l.Proof {
		if i > 0 {
			into.WriteByte(',')
		}
		into.WriteByte('"')
		into.Write(base64.StdEncoding.AppendEncode(text[:0], h[:]))
		into.WriteByte('"')
	}
	into.WriteString(`],"entry":`)
	enc := json.NewEncoder(into)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(l.Entry); err != nil {
		return err
	}
	into.Truncate(into.Len() - 1) // the encoder's line end
	into.WriteString("}\n")
	return nil
}

// LedgerWriter writes the ledger of a tree, one entry after the other.
type LedgerWriter struct {
	w    *bufio.Writer
	tree *entry.Tree
	root tlog.Hash
	n    int64
	line bytes.Buffer
}

// NewLedgerWriter returns one for the entries that made the tree, under its root.
func NewLedgerWriter(w io.Writer, tree *entry.Tree, root tlog.Hash) *LedgerWriter {
	return &LedgerWriter{w: bufio.NewWriterSize(w, buffered), tree: tree, root: root}
}

// Add writes the next entry.
//
// Error: an entry that is not the one the tree has there; the writer's.
func (l *LedgerWriter) Add(line []byte) error {
	x := ledgerLine{N: l.n + 1, Leaf: tlog.RecordHash(line), Entry: string(line)}
	var err error
	if x.Proof, err = tlog.ProveRecord(l.tree.Size(), l.n, l.tree); err != nil {
		return fmt.Errorf("entry %d: %w", x.N, err)
	}
	if err := tlog.CheckRecord(x.Proof, l.tree.Size(), l.root, l.n, x.Leaf); err != nil {
		return fmt.Errorf("entry %d is not the one that the tree was made of", x.N)
	}
	l.n++
	l.line.Reset()
	if err := x.bytes(&l.line); err != nil {
		return err
	}
	_, err = l.w.Write(l.line.Bytes())
	return err
}

// Finish ends the ledger.
//
// Error: entries are missing; the writer's.
func (l *LedgerWriter) Finish() error {
	if l.n != l.tree.Size() {
		return fmt.Errorf("the ledger has %d entries, the tree %d", l.n, l.tree.Size())
	}
	return l.w.Flush()
}

// ReadLedger reads a ledger and hands out its entries in order. Each must be proved to
// stand at its place under the root of c, and all together must make the tree of c,
// which is returned. What does not hold goes to p, and the tree is nil; after a line that
// cannot be read it goes no further. Where ledger and
// checkpoint are of two sizes, that is all that is said.
//
// Error: fn's.
func ReadLedger(r io.Reader, c entry.Checkpoint, p *Problems, fn func(entry.Entry) error) (*entry.Tree, error) {
	if c.Size > maxEntries {
		p.Add("ledger", "The checkpoint speaks of %d entries, expected %d at most.", c.Size, maxEntries)
		return nil, nil
	}
	tree := &entry.Tree{}
	in := &ledgerReader{lines: bufio.NewReaderSize(r, buffered), c: c, tree: tree}
	var unproved []int64
	for {
		e, proved, err := in.next()
		switch {
		case err == io.EOF && len(unproved) == 0:
			return in.whole(p), nil
		case err == errLonger || err == io.EOF:
			in.otherSize(p, unproved)
			return nil, nil
		case err != nil:
			in.notProved(p, unproved)
			p.Add("ledger", "The ledger, line %d: %s.", in.n, plain(err))
			return nil, nil
		case !proved:
			if len(unproved) <= mostProblems {
				unproved = append(unproved, in.n)
			}
			continue
		}
		if err := fn(e); err != nil {
			return nil, err
		}
	}
}

// errLonger ends a ledger that has more entries than its checkpoint speaks of.
var errLonger = errors.New("there are more entries")

func (l *ledgerReader) notProved(p *Problems, unproved []int64) {
	for _, n := range unproved {
		p.Add("proofs", "Entry %d is not proved: it was changed, or it is of another logbook.", n)
	}
}

// otherSize says what is wrong with a ledger that is not proved: first of all, whether it
// has as many entries as its checkpoint speaks of.
func (l *ledgerReader) otherSize(p *Problems, unproved []int64) {
	older := ""
	if root, err := l.tree.Root(l.c.Size); err == nil && root == l.c.Root {
		older = " The checkpoint is an older one of the same logbook."
	}
	entries := l.tree.Size()
	if l.n > entries {
		entries = l.n // the line that was one too many
	}
	for entries <= maxEntries {
		if _, err := readLine(l.lines); err != nil {
			break
		}
		entries++
	}
	switch {
	case entries > l.c.Size:
		p.Add("ledger", "The checkpoint speaks of %d entries, there are more: the ledger has %d.%s", l.c.Size, entries, older)
	case entries < l.c.Size:
		p.Add("ledger", "The ledger has %d entries, the checkpoint speaks of %d: its end was cut, or the checkpoint is of another time.", entries, l.c.Size)
	default:
		l.notProved(p, unproved)
	}
}

// ledgerReader reads line by line.
type ledgerReader struct {
	lines *bufio.Reader
	c     entry.Checkpoint
	tree  *entry.Tree
	n     int64 // of the line read last
	again bytes.Buffer
}

// next reads a line and tells whether its entry is proved; [io.EOF] after the last one.
func (l *ledgerReader) next() (e entry.Entry, proved bool, err error) {
	line, err := readLine(l.lines)
	if err == io.EOF {
		return e, false, err
	}
	l.n++
	if err == nil && l.n > l.c.Size {
		err = errLonger
	}
	var x ledgerLine
	if err == nil {
		err = l.parse(line, &x)
	}
	if err != nil {
		return e, false, err
	}
	text := []byte(x.Entry)
	if err := l.tree.Add(text); err != nil {
		return e, false, err
	}
	leaf := tlog.RecordHash(text)
	if leaf != x.Leaf || tlog.CheckRecord(x.Proof, l.c.Size, l.c.Root, l.n-1, leaf) != nil {
		return e, false, nil
	}
	if e, err = entry.Parse(text); err == nil && e.Number != l.n {
		err = fmt.Errorf("its entry calls itself number %d", e.Number)
	}
	return e, true, err
}

// parse reads a line that is written as [ledgerLine.bytes] does it: in any other form
// two programs could read two things.
func (l *ledgerReader) parse(line []byte, x *ledgerLine) error {
	if err := json.Unmarshal(line, x); err != nil {
		return fmt.Errorf("it is no line of a ledger (%w)", err)
	}
	l.again.Reset()
	if err := x.bytes(&l.again); err != nil {
		return err
	}
	if !bytes.Equal(bytes.TrimSuffix(l.again.Bytes(), []byte("\n")), line) {
		return errors.New("it is not written as a ledger is")
	}
	if x.N != l.n {
		return fmt.Errorf("it is entry %d, and entry %d belongs here: a line was cut, put in or moved", x.N, l.n)
	}
	return nil
}

// whole returns the tree if all entries are there and make the root.
func (l *ledgerReader) whole(p *Problems) *entry.Tree {
	if l.tree.Size() != l.c.Size {
		p.Add("ledger", "The ledger has %d entries, the checkpoint speaks of %d: its end was cut.", l.tree.Size(), l.c.Size)
		return nil
	}
	if root, err := l.tree.Root(l.c.Size); err != nil || root != l.c.Root {
		p.Add("ledger", "The entries together do not make the root of the checkpoint.")
		return nil
	}
	return l.tree
}

// readLine returns the next line without its end; [io.EOF] after the last one.
func readLine(r *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		if line = append(line, part...); len(line) > maxLedgerLine {
			return nil, fmt.Errorf("it has more than %d bytes", maxLedgerLine)
		}
		switch {
		case err == nil:
			return bytes.TrimSuffix(line[:len(line)-1], []byte("\r")), nil
		case err == io.EOF && len(line) > 0:
			return nil, errors.New("it has no end: the ledger was cut")
		case err != bufio.ErrBufferFull:
			return nil, err
		}
	}
}
