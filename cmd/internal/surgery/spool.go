package surgery

import (
	"bytes"
	"errors"
	"io"
	"os"
)

// spoolMemory is how much a spool keeps in memory before it uses a file (ours).
const spoolMemory = 4 << 20

// Spool keeps bytes that come once and are needed again: in memory while they are
// few, else in a temporary file that Close removes. The zero value is ready.
type Spool struct {
	memory bytes.Buffer
	file   *os.File
}

// Write appends.
func (s *Spool) Write(p []byte) (int, error) {
	if s.file == nil && s.memory.Len()+len(p) <= spoolMemory {
		return s.memory.Write(p)
	}
	if s.file == nil {
		f, err := os.CreateTemp("", "holdproof-*")
		if err != nil {
			return 0, err
		}
		s.file = f
		if _, err := s.memory.WriteTo(f); err != nil {
			return 0, err
		}
	}
	return s.file.Write(p)
}

// Reader returns the bytes from the beginning. Nothing may be written after.
func (s *Spool) Reader() (io.ReadSeeker, error) {
	if s.file == nil {
		return bytes.NewReader(s.memory.Bytes()), nil
	}
	_, err := s.file.Seek(0, io.SeekStart)
	return s.file, err
}

// Close forgets the bytes.
func (s *Spool) Close() error {
	if s.file == nil {
		return nil
	}
	return errors.Join(s.file.Close(), os.Remove(s.file.Name()))
}
