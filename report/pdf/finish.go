package pdf

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
)

// object is the body of an indirect object, without its "n 0 obj" and "endobj".
type object = []byte

// file is a PDF taken apart into its objects, numbered from 1.
type file struct {
	objects []object // objects[0] is not used
	root    int
	info    int
}

var (
	startAt  = regexp.MustCompile(`startxref\n([0-9]+)\n%%EOF\n$`)
	tableTop = regexp.MustCompile(`^xref\n0 ([0-9]+)\n`)
	rootAt   = regexp.MustCompile(`/Root ([0-9]+) 0 R`)
	infoAt   = regexp.MustCompile(`/Info ([0-9]+) 0 R`)
)

// open takes apart what the drawing library wrote, by its own table of
// cross-references. It reads nothing but that library's output: one table, every
// object in use.
func open(data []byte) (*file, error) {
	m := startAt.FindSubmatch(data)
	if m == nil {
		return nil, errors.New("drawing a record: no cross-reference table")
	}
	at, err := strconv.Atoi(string(m[1]))
	if err != nil || at >= len(data) {
		return nil, errors.New("drawing a record: the cross-reference table is not where it is said to be")
	}
	t := tableTop.FindSubmatch(data[at:])
	if t == nil {
		return nil, errors.New("drawing a record: the cross-reference table does not start at 0")
	}
	count, err := strconv.Atoi(string(t[1]))
	if err != nil || count < 2 || at+len(t[0])+count*20 > len(data) {
		return nil, errors.New("drawing a record: the cross-reference table is cut")
	}
	rows := data[at+len(t[0]):]
	offsets := make([]int, count)
	for i := 1; i < count; i++ {
		if offsets[i], err = strconv.Atoi(string(rows[i*20 : i*20+10])); err != nil {
			return nil, fmt.Errorf("drawing a record: object %d: %w", i, err)
		}
	}
	f := &file{objects: make([]object, count)}
	if err := f.cut(data, offsets, at); err != nil {
		return nil, err
	}
	trailer := rows[count*20:]
	if f.root, err = number(rootAt, trailer); err != nil {
		return nil, err
	}
	f.info, err = number(infoAt, trailer)
	return f, err
}

func number(re *regexp.Regexp, in []byte) (int, error) {
	m := re.FindSubmatch(in)
	if m == nil {
		return 0, fmt.Errorf("drawing a record: nothing like %s", re)
	}
	return strconv.Atoi(string(m[1]))
}

// cut takes the bodies out: an object ends where the next one begins.
func (f *file) cut(data []byte, offsets []int, end int) error {
	ends := append(slices.Clone(offsets[1:]), end)
	slices.Sort(ends)
	for i := 1; i < len(offsets); i++ {
		next, _ := slices.BinarySearch(ends, offsets[i]+1)
		head := fmt.Sprintf("%d 0 obj\n", i)
		body := data[offsets[i]:ends[next]]
		if !bytes.HasPrefix(body, []byte(head)) || !bytes.HasSuffix(body, []byte("endobj\n")) {
			return fmt.Errorf("drawing a record: object %d does not stand where the table says", i)
		}
		f.objects[i] = bytes.TrimSuffix(body[len(head):], []byte("endobj\n"))
	}
	return nil
}

// add appends an object and returns its number.
func (f *file) add(body object) int {
	f.objects = append(f.objects, body)
	return len(f.objects) - 1
}

// stream makes the body of a stream object; dict holds further entries.
func stream(dict string, data []byte) object {
	var b bytes.Buffer
	fmt.Fprintf(&b, "<< %s /Length %d >>\nstream\n", dict, len(data))
	b.Write(data)
	b.WriteString("\nendstream\n")
	return b.Bytes()
}

// write puts the file together: header, a comment of bytes above 127, the objects
// in their order, one classical table of cross-references, a trailer with an /ID
// that is the hash of all that stands before.
func (f *file) write(version string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%%PDF-%s\n%%\xe2\xe3\xcf\xd3\n", version)
	offsets := make([]int, len(f.objects))
	for i := 1; i < len(f.objects); i++ {
		offsets[i] = b.Len()
		fmt.Fprintf(&b, "%d 0 obj\n", i)
		b.Write(f.objects[i])
		if !bytes.HasSuffix(f.objects[i], []byte("\n")) {
			b.WriteByte('\n')
		}
		b.WriteString("endobj\n")
	}
	sum := sha256.Sum256(b.Bytes())
	id := hex.EncodeToString(sum[:16])
	start := b.Len()
	fmt.Fprintf(&b, "xref\n0 %d\n0000000000 65535 f \n", len(f.objects))
	for _, at := range offsets[1:] {
		fmt.Fprintf(&b, "%010d 00000 n \n", at)
	}
	fmt.Fprintf(&b, "trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R /ID [<%s> <%s>] >>\nstartxref\n%d\n%%%%EOF\n",
		len(f.objects), f.root, f.info, id, id, start)
	return b.Bytes()
}
