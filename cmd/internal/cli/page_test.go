package cli

import (
	"strings"
	"testing"
)

func TestWrapByWidth(t *testing.T) {
	for _, c := range []struct {
		why, in string
		most    int
		want    string
	}{
		{"breaks at a space", "aaaa bbbb cccc", 10, "aaaa bbbb|cccc"},
		{"counts cells, not bytes", "ääää öööö cccc", 10, "ääää öööö|cccc"},
		{"a wide letter takes two", "漢漢漢 漢漢漢", 12, "漢漢漢|漢漢漢"},
		{"a long word is cut", "abcdefghijklmnopqrstuvwxyz", 10, "abcdefghij|klmnopqrst|uvwxyz"},
		{"a combining accent takes none", "e\u0301e\u0301e\u0301e\u0301e\u0301e\u0301 bcd", 10, "e\u0301e\u0301e\u0301e\u0301e\u0301e\u0301 bcd"},
		{"nothing is one empty line", "", 10, ""},
	} {
		got := wrap(c.in, c.most)
		if strings.Join(got, "|") != c.want {
			t.Errorf("%s: %q", c.why, got)
		}
		for _, l := range got {
			if cells(l) > c.most {
				t.Errorf("%s: %q is %d cells wide", c.why, l, cells(l))
			}
		}
	}
}

// What an export says must not move the cursor, change a colour or hide a word.
func TestCleanIsHarmless(t *testing.T) {
	p := &page{}
	for _, in := range []string{"a\x1b[2Jb", "a\rb", "a\u202eb", "a\x07b", "a\u2028b", "a\u009bb", "a\tb"} {
		if got := p.clean(in); strings.ContainsAny(got, "\x1b\r\u202e\x07\u2028\u009b\t") || !strings.Contains(got, "\ufffd") {
			t.Errorf("%q became %q", in, got)
		}
	}
	p.ascii = true
	if got := p.clean("● 134 °C · “Übung” 漢"); got != `(*) 134 C - "?bung" ?` {
		t.Errorf("got %q", got)
	}
}

func TestLocale(t *testing.T) {
	for _, c := range []struct {
		all, ctype, lang string
		want             bool
	}{
		{"", "", "en_GB.UTF-8", true},
		{"", "", "C.utf8", true},
		{"", "", "C", false},
		{"C", "en_GB.UTF-8", "en_GB.UTF-8", false},
		{"", "de_DE.ISO-8859-1", "en_GB.UTF-8", false},
	} {
		env := map[string]string{"LC_ALL": c.all, "LC_CTYPE": c.ctype, "LANG": c.lang}
		if got := utf8Locale(func(n string) string { return env[n] }); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Length of time is never rounded up: 179.96 s is not 3 min.
func TestLasting(t *testing.T) {
	for s, want := range map[float64]string{179.96: "2 min 59 s", 180: "3 min", 59.9: "59 s", 214.6: "3 min 34 s", 0: "0 s"} {
		if got := lasting(s); got != want {
			t.Errorf("%v: %q, want %q", s, got, want)
		}
	}
}
