package archive

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// mostProblems is how many sentences of one kind are worth reading (ours).
const mostProblems = 20

// Problems are sentences, of each kind the first few.
type Problems struct {
	List  []string
	kinds map[string]int
}

// Add adds one.
func (p *Problems) Add(kind, format string, args ...any) {
	if p.kinds == nil {
		p.kinds = map[string]int{}
	}
	p.kinds[kind]++
	switch n := p.kinds[kind]; {
	case n <= mostProblems:
		p.List = append(p.List, fmt.Sprintf(format, args...))
	case n == mostProblems+1:
		p.List = append(p.List, "There are more of this kind: "+kind+".")
	}
}

// Check holds the bag against RFC 8493 and reads every file of it once: that the
// declaration is there, that the manifests list all files and no others, and that every
// byte is what they say. Each file of the payload goes through visit, if that is not
// nil, while it is hashed; what visit leaves unread is read all the same. It returns how
// many files were read.
//
// What is wrong goes to p. The manifests are no proof: whoever changes a file can
// change them too. They show damage.
func (b *Bag) Check(p *Problems, visit func(name string, r io.Reader)) (files int64) {
	for _, s := range b.odd {
		p.Add("odd files", "%s", s)
	}
	b.declaration(p)
	if err := b.ReadInfo(); err != nil {
		p.Add("bag-info", "The file %s: %s.", infoFile, plain(err))
	}
	tags := b.manifest(tagManifest, p)
	listed := b.manifest(manifest, p)
	for _, name := range []string{bagFile, infoFile, manifest} {
		if _, is := tags[name]; !is && tags != nil {
			p.Add("tag manifest", "The file %s does not list %s.", tagManifest, name)
		}
	}
	if b.Has("fetch.txt") {
		p.Add("fetch", "The file fetch.txt names files that lie elsewhere; a bag of records holds all of its own.")
	}
	var octets, count int64
	for _, name := range b.names {
		inPayload := strings.HasPrefix(name, payload)
		want, is := listed[name], false
		switch {
		case inPayload:
			_, is = listed[name]
			octets, count = octets+b.files[name].size, count+1
		case slices.Contains(tagFiles, name):
			want, is = tags[name]
			is = is || name == tagManifest || name == sealFile
		}
		if !is {
			p.Add("files that no manifest lists", "The file %s is in the bag, and no manifest lists it: it was added or renamed.", name)
		}
		files++
		if name == tagManifest || name == sealFile {
			continue // nothing lists them; see [Bag.Sealed]
		}
		b.fixity(name, want, inPayload, p, visit)
	}
	for _, m := range []map[string]string{listed, tags} {
		for _, name := range sorted(m) {
			if !b.Has(name) {
				p.Add("missing files", "The file %s is missing: it was removed or renamed.", name)
			}
		}
	}
	if b.Info.From != "" && (b.Info.octets != octets || b.Info.files != count) {
		p.Add("Payload-Oxum", "The file %s says %d bytes in %d files, there are %d in %d.", infoFile, b.Info.octets, b.Info.files, octets, count)
	}
	return files
}

// fixity hashes a file and compares; want "" compares with nothing, as a sentence was
// said already.
func (b *Bag) fixity(name, want string, inPayload bool, p *Problems, visit func(string, io.Reader)) {
	f, err := b.OpenFile(name)
	if err != nil {
		p.Add("files that cannot be read", "The file %s cannot be read: %s.", name, plain(err))
		return
	}
	defer f.Close()
	sum := sha256.New()
	in := io.TeeReader(f, sum)
	if visit != nil && inPayload {
		visit(name, in)
	}
	if _, err := io.Copy(io.Discard, in); err != nil {
		p.Add("files that cannot be read", "The file %s cannot be read: %s.", name, plain(err))
		return
	}
	got := hex.EncodeToString(sum.Sum(nil))
	b.sums[name] = got
	if want != "" && got != want {
		p.Add("changed files", "The file %s was changed: its SHA-256 is %s, the manifest says %s.", name, got, want)
	}
}

// Sealed returns the signature over the whole bag and what it signs, nil for none.
func (b *Bag) Sealed() (cms, content []byte, err error) {
	if !b.Has(sealFile) {
		return nil, nil, nil
	}
	cms, err1 := b.ReadFile(sealFile, 1<<20)
	content, err2 := b.ReadFile(tagManifest, 1<<20)
	return cms, content, errors.Join(err1, err2)
}

// Sum returns the SHA-256 of a file as [Bag.Check] found it, in lower-case hex.
func (b *Bag) Sum(name string) string { return b.sums[name] }

// declaration checks bagit.txt (RFC 8493, 2.1.1).
func (b *Bag) declaration(p *Problems) {
	text, err := b.ReadFile(bagFile, 1<<10)
	if err != nil {
		p.Add("declaration", "The file %s cannot be read, so this is no bag: %s.", bagFile, plain(err))
		return
	}
	lines := strings.Split(strings.TrimSuffix(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n"), "\n")
	if !slices.Equal(lines, []string{"BagIt-Version: 1.0", "Tag-File-Character-Encoding: UTF-8"}) {
		p.Add("declaration", "The file %s is other than BagIt-Version: 1.0 and Tag-File-Character-Encoding: UTF-8.", bagFile)
	}
}

// ReadInfo reads bag-info.txt.
func (b *Bag) ReadInfo() error {
	text, err := b.ReadFile(infoFile, 1<<20)
	if err != nil {
		return err
	}
	if !utf8.Valid(text) {
		return fmt.Errorf("it is not UTF-8")
	}
	b.Info, err = parseInfo(string(text))
	return err
}

// manifest reads a manifest (RFC 8493, 2.1.3): by name the sum in lower-case hex. It
// returns nil if there is none that can be read.
func (b *Bag) manifest(file string, p *Problems) map[string]string {
	f, err := b.OpenFile(file)
	if err != nil || b.files[file].size > maxTagFile {
		if err == nil {
			err = fmt.Errorf("it has more than %d MiB", maxTagFile>>20)
			f.Close()
		}
		p.Add("manifests", "The file %s cannot be read: %s.", file, plain(err))
		return nil
	}
	defer f.Close()
	out := map[string]string{}
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, 3*maxName+128)
	for n := 1; lines.Scan(); n++ {
		name, sum, why := manifestLine(lines.Text())
		switch _, twice := out[name]; {
		case why == "" && twice:
			why = "the file is listed twice"
		case why == "" && strings.HasPrefix(name, payload) != (file == manifest):
			why = "a payload file stands in the one manifest, all others in the other"
		case len(out) >= maxFiles:
			p.Add("manifests", "The file %s lists more than %d files.", file, maxFiles)
			return out
		}
		if why != "" {
			p.Add("manifests", "The file %s, line %d: %s.", file, n, why)
			continue
		}
		out[name] = sum
	}
	if err := lines.Err(); err != nil {
		p.Add("manifests", "The file %s cannot be read to its end: %s.", file, plain(err))
	}
	return out
}

// manifestLine takes a line apart, as `sha256sum` writes it too.
func manifestLine(line string) (name, sum, why string) {
	at := strings.IndexAny(line, " \t")
	if at < 0 {
		return "", "", "expected a SHA-256, blanks, a name"
	}
	sum = strings.ToLower(line[:at])
	if raw, err := hex.DecodeString(sum); err != nil || len(raw) != sha256.Size {
		return "", "", fmt.Sprintf("%.80q is not a SHA-256", line[:at])
	}
	name = strings.TrimLeft(line[at:], " \t")
	name = decodePath(strings.TrimPrefix(strings.TrimPrefix(name, "*"), "./"))
	if err := checkName(name); err != nil {
		return "", "", err.Error()
	}
	return name, sum, ""
}

func sorted(m map[string]string) []string {
	out := make([]string, 0, len(m))
	for name := range m {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}
