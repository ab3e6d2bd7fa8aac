package surgery

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"holdproof/fixtures"
)

// Demo is where the invented surgery was written.
type Demo struct {
	Dir           string
	Configuration string
	Exports       []string // in the order of their names
}

// WriteDemo writes the invented day into dir, or into a new temporary folder if dir
// is "". A folder that holds anything is refused, so that nothing of a real surgery
// is ever overwritten.
func WriteDemo(dir string) (Demo, error) {
	d := Demo{Dir: dir}
	files, err := fixtures.DemoDay()
	if err != nil {
		return d, err
	}
	if dir == "" {
		if d.Dir, err = os.MkdirTemp("", "holdproof-demo-"); err != nil {
			return d, err
		}
	} else if err := empty(dir); err != nil {
		return d, err
	}
	for _, f := range files {
		name := filepath.Join(d.Dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			return d, err
		}
		if err := os.WriteFile(name, f.Bytes, 0o666); err != nil {
			return d, err
		}
		if filepath.Ext(name) == ".yaml" {
			d.Configuration = name
		} else {
			d.Exports = append(d.Exports, name)
		}
	}
	slices.Sort(d.Exports)
	return d, nil
}

// empty refuses a folder that holds something, and anything that is no folder.
func empty(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%s cannot take the demonstration: %w", dir, err)
	case len(entries) > 0:
		return fmt.Errorf("%s is not empty, so nothing was written; name a new folder, or none", dir)
	}
	return nil
}
