package surgery

import (
	"regexp"
	"strconv"
	"testing"
)

var attachedAt = regexp.MustCompile(`/Type /EmbeddedFile [^\n]*/Length ([0-9]+)`)

// A record of one page, signed by both, is at most 40 kB beside what is attached to it.
func TestSizeOfSignedPage(t *testing.T) {
	s := signedSite(t)
	s.prepared(t, monday)
	record := read(t, s.countersigned(t, monday).File)
	size := len(record)
	attached := attachedAt.FindAllSubmatch(record, -1)
	for _, m := range attached {
		n, err := strconv.Atoi(string(m[1]))
		if err != nil {
			t.Fatal(err)
		}
		size -= n
	}
	t.Logf("%d bytes, %d without what is attached", len(record), size)
	if len(attached) == 0 || len(regexp.MustCompile(`/Type /Page\b`).FindAll(record, -1)) != 2 { // one is written twice: its fields were added
		t.Fatal("not a record of one page with its facts attached")
	}
	if size > 40_000 {
		t.Errorf("a signed record of one page has %d bytes", size)
	}
}
