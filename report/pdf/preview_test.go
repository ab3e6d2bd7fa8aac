package pdf

import (
	"strconv"
	"strings"
	"testing"
)

func TestUnbroken(t *testing.T) {
	s := newSheet()
	const words = "It was tested before the load S1 · 1046 went in; 2 Nov · wrapped"
	for w := 20.0; w < 120; w++ {
		for _, l := range s.wrap(words, text, w) {
			if strings.HasSuffix(l, "·") && !strings.HasSuffix(l, "Nov ·") || strings.HasPrefix(l, "·") && !strings.HasPrefix(l, "· wrapped") || strings.HasPrefix(l, "1046") {
				t.Errorf("at %.0f mm a line reads %q", w, l)
			}
		}
		if got := strings.Join(s.wrap(words, text, w), " "); got != words {
			t.Errorf("at %.0f mm the words became %q", w, got)
		}
	}
}

// A preview says on every page that nobody signed it, and in its title.
func TestPreview(t *testing.T) {
	v := monday(t)
	v.Parts.Preview = true
	path := save(t, drawn(t, v))
	n := pages(t, path)
	for i := 1; i <= n; i++ {
		p := strconv.Itoa(i)
		if got := tool(t, "pdftotext", "-raw", "-f", p, "-l", p, path, "-"); !strings.Contains(got, "Preview, not signed.") {
			t.Errorf("page %d does not say that it is a preview", i)
		}
	}
	if got := tool(t, "pdftotext", "-raw", "-l", "1", path, "-"); strings.Count(got, previewWords) != 2 {
		t.Error("where people sign stands no word about the preview")
	}
	if got := tool(t, "pdfinfo", path); !strings.Contains(got, "preview of a day record") {
		t.Error("the title is that of a record")
	}
	if got := tool(t, "pdftotext", "-raw", save(t, drawn(t, monday(t))), "-"); strings.Contains(got, "Preview") {
		t.Error("a record calls itself a preview")
	}
}
