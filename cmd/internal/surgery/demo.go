package surgery

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"holdproof/fixtures"
)

// Demo is where the invented surgery was written.
type Demo struct {
	Dir           string
	Configuration string
	Exports       []string // in the order of their names
}

// DemoPerson is somebody of the invented surgery. The passphrase opens a key of nobody.
type DemoPerson struct{ ID, Name, May, Passphrase string }

// demoPeople are invented; edda leads.
var demoPeople = []DemoPerson{
	{"edda", "Edda Marlick", "operate, release, lead", "gulls on the harbour wall"},
	{"tobin", "Tobin Averley", "operate, release", "kettle on at seven"},
	{"junie", "Junie Pascombe", "operate", "blue boat at low tide"},
}

// DemoAuthority is the passphrase of the invented surgery's authority.
const DemoAuthority = "only to make people"

// demoMark is a file that only the folder of the demonstration has.
const demoMark = "DEMO.txt"

// DemoPeople returns the people of the invented surgery if dir holds it, else none: of
// a real surgery no passphrase is ever shown.
func DemoPeople(dir string) []DemoPerson {
	text, err := os.ReadFile(filepath.Join(dir, demoMark))
	if err != nil || !bytes.Equal(text, demoText()) {
		return nil
	}
	return slices.Clone(demoPeople)
}

// demoText is what the mark says.
func demoText() []byte {
	var b bytes.Buffer
	b.WriteString("Tern Quay Surgery is invented, and so are the people, machines, products and\n" +
		"recordings in this folder. The passphrases are no secret: their keys belong to\n" +
		"nobody. Keep no record of a real surgery here.\n\n")
	row := func(cells ...any) {
		b.WriteString(strings.TrimRight(fmt.Sprintf("%-7s%-28s%-17s%s", cells...), " ") + "\n")
	}
	row("person", "passphrase", "name", "may")
	for _, p := range demoPeople {
		row(p.ID, p.Passphrase, p.Name, p.May)
	}
	row("ca", DemoAuthority, "the authority", "make people")
	return b.Bytes()
}

// WriteDemo writes the settings and the exports of the invented week into dir, or into
// a new temporary folder if dir is "". A folder that holds anything is refused, so that
// nothing of a real surgery is ever overwritten. What was done with the loads is not
// there yet: see [LiveDemo].
func WriteDemo(dir string) (Demo, error) {
	d := Demo{Dir: dir}
	files, err := fixtures.DemoWeek()
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
	for _, f := range append(files, fixtures.File{Name: demoMark, Bytes: demoText()}) {
		name := filepath.Join(d.Dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			return d, err
		}
		if err := os.WriteFile(name, f.Bytes, 0o666); err != nil {
			return d, err
		}
		switch filepath.Ext(name) {
		case ".yaml":
			d.Configuration = name
		case ".csv":
			if err := os.Chtimes(name, f.Made, f.Made); err != nil {
				return d, err
			}
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
