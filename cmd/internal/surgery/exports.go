package surgery

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdproof/report/logbook"
)

// exportNames are the endings by which an export is known in a folder (ours). A file
// of any name is read when it is named itself.
var exportNames = []string{".csv", ".txt", ".tsv", ".asc"}

// export is a file to be imported.
type export struct {
	name    string
	found   bool     // in a folder, and not named itself
	problem *Problem // what keeps it from being one
}

// exportsIn returns the files, and those in the folders that look like exports, in
// the order of their names. Hidden files and folders, and links, are passed over.
func exportsIn(paths []string) []export {
	var out []export
	for _, p := range expand(paths) {
		info, err := os.Stat(p)
		if err != nil || !info.IsDir() {
			out = append(out, export{name: p}) // that it is not there is said when it is opened
			continue
		}
		inside := exportsOf(p)
		if len(inside) == 0 {
			inside = []export{{name: p, problem: &Problem{Message: "found a folder without exports, expected files that end in " + Alternatives(exportNames),
				Remedy: "Look whether this is the folder that the recorder writes to."}}}
		}
		out = append(out, inside...)
	}
	return out
}

func exportsOf(folder string) []export {
	var out []export
	_ = filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			out = append(out, export{name: path, problem: unopened(err)})
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
		case path != folder && strings.HasPrefix(d.Name(), "."):
			if d.IsDir() {
				return fs.SkipDir
			}
		case d.Type().IsRegular() && looksLikeExport(d.Name()):
			out = append(out, export{name: path, found: true})
		}
		return nil
	})
	return out
}

func looksLikeExport(name string) bool {
	return slices.Contains(exportNames, strings.ToLower(filepath.Ext(name)))
}

// keptAlready tells whether the bytes of a file are kept. One that cannot be read is
// not, and says so when it is imported.
func (r *Records) keptAlready(ctx context.Context, name string, tell func(int64)) (bool, error) {
	f, err := os.Open(name)
	if err != nil {
		return false, nil
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || info.Size() > logbook.MaxOriginal {
		return false, nil
	}
	sum := sha256.New()
	n, err := io.Copy(sum, f)
	if err != nil {
		return false, nil
	}
	kept, err := r.book.Kept(ctx, hex.EncodeToString(sum.Sum(nil)))
	if kept {
		tell(n)
	}
	return kept, err
}

// SizeOf is how many bytes an import of these paths will read, for its progress.
func SizeOf(paths []string) int64 {
	var n int64
	for _, e := range exportsIn(paths) {
		if info, err := os.Stat(e.name); err == nil && info.Mode().IsRegular() {
			n += info.Size()
		}
	}
	return n
}

// modified is when the file system says that a source was written last; the zero
// time where it has none.
func (s *source) modified() time.Time {
	f, ok := s.ReadSeeker.(interface{ Stat() (fs.FileInfo, error) })
	if !ok {
		return time.Time{}
	}
	info, err := f.Stat()
	if err != nil {
		return time.Time{}
	}
	return info.ModTime()
}
