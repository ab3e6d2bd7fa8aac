package surgery

import (
	"io"

	"holdproof/report/logbook"
)

// take reads a source once for two readers: the parser, which may go back and forth,
// and the store, which gets each byte once and in order.
type take struct {
	src  io.ReadSeeker
	to   *logbook.Original
	pos  int64 // of the next read
	done int64 // bytes that the store has
	err  error // why the store could not take one
	tell func(n int64)
}

func (t *take) Read(p []byte) (int, error) {
	n, err := t.src.Read(p)
	if end := t.pos + int64(n); t.pos <= t.done && end > t.done {
		t.keep(p[t.done-t.pos : n])
	}
	t.pos += int64(n)
	return n, err
}

func (t *take) keep(p []byte) {
	if t.err == nil {
		_, t.err = t.to.Write(p)
	}
	t.done += int64(len(p))
	if t.tell != nil {
		t.tell(int64(len(p)))
	}
}

func (t *take) Seek(offset int64, whence int) (int64, error) {
	at, err := t.src.Seek(offset, whence)
	if err == nil {
		t.pos = at
	}
	return at, err
}

// rest hands over what the parser did not read, and returns what hindered: the
// file, or the store.
func (t *take) rest() error {
	if t.err != nil {
		return t.err
	}
	if _, err := t.Seek(t.done, io.SeekStart); err != nil {
		return unreadOn(err)
	}
	if _, err := io.Copy(io.Discard, onlyReader{t}); err != nil {
		return unreadOn(err)
	}
	return t.err
}

// onlyReader keeps io.Copy from looking for other ways to read.
type onlyReader struct{ io.Reader }

func unreadOn(err error) error {
	return &Problem{Message: "could not be read to its end: " + err.Error(),
		Remedy: "Copy the file to this computer and try again. Nothing of it was kept."}
}
