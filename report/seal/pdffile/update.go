package pdffile

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
)

// An Update is a new revision in the making: objects to put behind a [File].
type Update struct {
	file *File
	next int
	body bytes.Buffer
	list []entry
}

// Update begins a new revision of f. f itself never changes.
func (f *File) Update() *Update {
	u := &Update{file: f, next: f.Size()}
	u.body.Write(f.Data)
	if !bytes.HasSuffix(f.Data, []byte("\n")) {
		u.body.WriteByte('\n')
	}
	return u
}

// Reserve returns a new object number.
func (u *Update) Reserve() int {
	u.next++
	return u.next - 1
}

// Put writes the object with this number, new or replaced, and returns where in the
// finished file its text begins.
func (u *Update) Put(number int, text []byte) int {
	u.list = append(u.list, entry{number, u.body.Len()})
	fmt.Fprintf(&u.body, "%d 0 obj\n", number)
	at := u.body.Len()
	u.body.Write(text)
	u.body.WriteString("\nendobj\n")
	return at
}

// PutStream writes a stream; dict is the text of its dictionary without "<<", /Length and ">>".
func (u *Update) PutStream(number int, dict string, body []byte) {
	var b bytes.Buffer
	fmt.Fprintf(&b, "<< %s /Length %d >>\nstream\n", dict, len(body))
	b.Write(body)
	b.WriteString("\nendstream")
	u.Put(number, b.Bytes())
}

// Finish writes table and trailer and returns the whole file. /Root, /Info and the
// first half of /ID stay; id, 16 bytes, becomes its second half.
//
// Error: the file has no usable /ID, or an object was put twice.
func (u *Update) Finish(id [16]byte) ([]byte, error) {
	last := u.file.Revisions[len(u.file.Revisions)-1]
	ids, _ := last.Trailer.Get("ID").(Array)
	if len(ids) != 2 {
		return nil, &Error{last.Table, "the trailer has no /ID of two strings"}
	}
	first, ok := ids[0].(String)
	if !ok {
		return nil, &Error{last.Table, "the trailer has no /ID of two strings"}
	}
	slices.SortFunc(u.list, func(a, b entry) int { return cmp.Compare(a.number, b.number) })
	at := u.body.Len()
	u.body.WriteString("xref\n")
	for i := 0; i < len(u.list); {
		j := i + 1
		for j < len(u.list) && u.list[j].number == u.list[j-1].number+1 {
			j++
		}
		if j < len(u.list) && u.list[j].number == u.list[j-1].number {
			return nil, fmt.Errorf("object %d was put twice", u.list[j].number)
		}
		fmt.Fprintf(&u.body, "%d %d\n", u.list[i].number, j-i)
		for ; i < j; i++ {
			fmt.Fprintf(&u.body, "%010d 00000 n \n", u.list[i].offset)
		}
	}
	fmt.Fprintf(&u.body, "trailer\n<< /Size %d", u.next)
	for _, key := range []Name{"Root", "Info"} {
		if r, ok := last.Trailer.Get(key).(Ref); ok {
			fmt.Fprintf(&u.body, " /%s %d 0 R", key, r)
		}
	}
	fmt.Fprintf(&u.body, " /ID [<%x> <%x>] /Prev %d >>\nstartxref\n%d\n%%%%EOF\n", first, id, last.Table, at)
	return u.body.Bytes(), nil
}
