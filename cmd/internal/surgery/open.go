package surgery

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Error returns the message: a problem with a whole file travels as an error.
func (p *Problem) Error() string { return p.Message }

// source is an export opened for reading more than once.
type source struct {
	io.ReadSeeker
	close     func() error
	unchanged func() error // a problem if the file is not what it was when it was opened
}

func (s *source) Close() error { return s.close() }

// open opens an export; its error is a [*Problem] that says what to do.
func open(name string, stdin io.Reader) (*source, error) {
	if name == "-" {
		return spooled(stdin, func() error { return nil })
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, unopened(err)
	}
	before, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, unopened(err)
	}
	switch {
	case before.IsDir():
		f.Close()
		return nil, &Problem{Message: "found a folder, expected a file",
			Remedy: "Name the files in it, such as " + filepath.Join(name, "*.csv") + "."}
	case before.Mode().Type() == fs.ModeNamedPipe: // the shell's <(command)
		return spooled(f, f.Close)
	case !before.Mode().IsRegular():
		f.Close()
		return nil, &Problem{Message: "found a device, expected a file", Remedy: "Name the file that the steriliser wrote."}
	}
	return &source{ReadSeeker: f, close: f.Close, unchanged: func() error {
		after, err := f.Stat()
		if err != nil || after.Size() != before.Size() || !after.ModTime().Equal(before.ModTime()) {
			return changedMeanwhile()
		}
		return nil
	}}, nil
}

func changedMeanwhile() *Problem {
	return &Problem{Message: "the file changed while it was read", Remedy: "Wait until the recorder has finished and try again."}
}

// spooled copies what can be read only once.
func spooled(src io.Reader, close func() error) (*source, error) {
	var s Spool
	fail := func(err error) (*source, error) {
		return nil, errors.Join(&Problem{Message: "could not be read to its end: " + err.Error(), Remedy: "Save it as a file and name that."}, s.Close(), close())
	}
	if _, err := io.Copy(&s, src); err != nil {
		return fail(err)
	}
	r, err := s.Reader()
	if err != nil {
		return fail(err)
	}
	return &source{ReadSeeker: r, close: func() error { return errors.Join(s.Close(), close()) },
		unchanged: func() error { return nil }}, nil
}

func unopened(err error) *Problem {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &Problem{Message: "there is no such file", Remedy: "Look at the name and the folder."}
	case errors.Is(err, fs.ErrPermission):
		return &Problem{Message: "this user may not read the file", Remedy: "Ask the lead for the right to read it, or copy it."}
	}
	return &Problem{Message: "could not be opened: " + err.Error(), Remedy: "Copy the file to this computer and try again."}
}

// expand replaces a pattern by the files it fits, in order, where no file has that
// very name: some shells leave that to the program.
func expand(names []string) []string {
	var out []string
	for _, name := range names {
		if _, err := os.Lstat(name); err == nil || !strings.ContainsAny(name, "*?") {
			out = append(out, name)
			continue
		}
		fits, err := filepath.Glob(name)
		if err != nil || len(fits) == 0 {
			fits = []string{name}
		}
		out = append(out, fits...)
	}
	return out
}
