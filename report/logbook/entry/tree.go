package entry

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// Tree is the Merkle tree of RFC 6962, section 2.1, over lines in their order.
// Entry n is leaf n-1; after it the tree has size n.
//
// Checked against: the roots of the reference leaves of certificate transparency.
type Tree struct {
	hashes []tlog.Hash
	size   int64
}

// Add appends the line as the next leaf.
func (t *Tree) Add(line []byte) error {
	h, err := tlog.StoredHashes(t.size, line, t)
	if err != nil {
		return err
	}
	t.hashes = append(t.hashes, h...)
	t.size++
	return nil
}

// TreeOf returns the tree of the first size lines from its stored hashes, in the order
// of [tlog.StoredHashIndex].
//
// Error: there are not as many hashes as that tree has.
func TreeOf(size int64, hashes []tlog.Hash) (*Tree, error) {
	if size < 0 || int64(len(hashes)) != tlog.StoredHashCount(size) {
		return nil, fmt.Errorf("%d hashes do not make a tree of %d entries", len(hashes), size)
	}
	return &Tree{hashes: hashes, size: size}, nil
}

// Size returns the number of leaves.
func (t *Tree) Size() int64 { return t.size }

// ReadHashes makes the tree a [tlog.HashReader] for proofs.
func (t *Tree) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, at := range indexes {
		if at < 0 || at >= int64(len(t.hashes)) {
			return nil, fmt.Errorf("the tree of %d entries has no hash %d", t.size, at)
		}
		out[i] = t.hashes[at]
	}
	return out, nil
}

// Root returns the root over the first size leaves; that of no leaf is the SHA-256
// of nothing (RFC 6962).
//
// Error: a size below 0 or above [Tree.Size].
func (t *Tree) Root(size int64) (tlog.Hash, error) {
	if size < 0 || size > t.size {
		return tlog.Hash{}, fmt.Errorf("the tree has %d entries, not %d", t.size, size)
	}
	return tlog.TreeHash(size, t)
}

// Checkpoint is the size and root of the tree at a time. Kept outside the logbook,
// it shows later that nothing before it was changed, removed or put in.
type Checkpoint struct {
	Size int64
	Root tlog.Hash
	Time Time // when the last entry was entered; null without entries
}

const checkpointTitle = "Holdproof logbook, checkpoint 1"

// Text writes the checkpoint in its four lines: a title, size, root in base64, time.
func (c Checkpoint) Text() []byte {
	return fmt.Appendf(nil, "%s\nentries: %d\nroot: %s\ntime: %s\n", checkpointTitle, c.Size,
		c.RootText(), c.Time)
}

// RootText writes the root as a checkpoint does, in base64.
func (c Checkpoint) RootText() string { return base64.StdEncoding.EncodeToString(c.Root[:]) }

// ParseCheckpoint reads exactly what [Checkpoint.Text] writes; lines may end in
// CR LF, as mail leaves them.
func ParseCheckpoint(text []byte) (Checkpoint, error) {
	bad := func(why string) (Checkpoint, error) {
		return Checkpoint{}, fmt.Errorf("not a checkpoint: %s", why)
	}
	lines := strings.Split(string(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))), "\n")
	if len(lines) != 5 || lines[4] != "" || lines[0] != checkpointTitle {
		return bad("want four lines, the first " + strconv.Quote(checkpointTitle))
	}
	size, ok1 := strings.CutPrefix(lines[1], "entries: ")
	root, ok2 := strings.CutPrefix(lines[2], "root: ")
	at, ok3 := strings.CutPrefix(lines[3], "time: ")
	if !ok1 || !ok2 || !ok3 {
		return bad("want the lines entries, root and time")
	}
	var c Checkpoint
	var err error
	if c.Size, err = strconv.ParseInt(size, 10, 64); err != nil || c.Size < 0 || strconv.FormatInt(c.Size, 10) != size {
		return bad("entries is not a number")
	}
	b, err := base64.StdEncoding.Strict().DecodeString(root)
	if err != nil || len(b) != tlog.HashSize || base64.StdEncoding.EncodeToString(b) != root { // the decoder skips line ends
		return bad("root is not a SHA-256 in base64")
	}
	c.Root = tlog.Hash(b)
	if at == "" && c.Size == 0 {
		return c, nil
	}
	if c.Time, err = ParseTime(at); err != nil {
		return bad(err.Error())
	}
	return c, nil
}

// ErrChanged says that a checkpoint and a logbook are not of one history.
var ErrChanged = errors.New("the logbook was changed since the checkpoint")

// Since checks that the tree still holds, unchanged, what it held at the checkpoint.
//
// Errors: fewer entries than the checkpoint, or another history: [ErrChanged].
func (t *Tree) Since(c Checkpoint) error {
	if c.Size > t.size {
		return fmt.Errorf("%w: it speaks of %d entries, the logbook holds %d", ErrChanged, c.Size, t.size)
	}
	now, err := t.Root(t.size)
	if err != nil {
		return err
	}
	if c.Size == 0 {
		if none, err := t.Root(0); err != nil || none != c.Root {
			return fmt.Errorf("%w: its root is not that of an empty logbook", ErrChanged)
		}
		return nil
	}
	proof, err := tlog.ProveTree(t.size, c.Size, t)
	if err != nil {
		return err
	}
	if err := tlog.CheckTree(proof, t.size, now, c.Size, c.Root); err != nil {
		return fmt.Errorf("%w: one of the first %d entries is not what it was", ErrChanged, c.Size)
	}
	return nil
}
