package surgery

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/daily"
	"holdproof/report/seal"
)

func (s *site) holds(t testing.TB, file string, signers ...string) {
	t.Helper()
	found, err := Verify([]string{file}, Trusting{Roots: s.roots()})
	if err != nil || len(found) != 1 || !found[0].OK || !found[0].Trusted {
		t.Fatalf("%+v, %v", found, err)
	}
	var names []string
	for _, sig := range found[0].Signatures {
		names = append(names, sig.Name)
	}
	if !slices.Equal(names, signers) {
		t.Errorf("signed by %q, expected %q", names, signers)
	}
	without, err := Verify([]string{file}, Trusting{})
	if err != nil || !without[0].OK || without[0].Trusted {
		t.Errorf("without roots: %+v, %v", without, err)
	}
}

func TestVerifyLooksInside(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	rec, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	key, err := seal.Open(read(t, keyFile(s.dir, "lea")), "lea at the quay")
	if err != nil {
		t.Fatal(err)
	}
	good := seal.Statement{Role: "may operate", Surgery: "Tern Quay Surgery", Time: s.Now()}
	elsewhere, early := good, good
	elsewhere.Surgery = "Gull Street Surgery"
	s.clock.Time = s.clock.Add(time.Hour)
	s.demoExport(t, "S1-1046.csv")
	later, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	alone, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	alone.Day.Signing = daily.Signing{Second: "none", Reason: "one person works here"}
	alone.Day.Record.Made = rec.Day.Record.Made
	for _, c := range []struct {
		why  string
		rec  *DayRecord
		s    seal.Statement
		want string
	}{
		{"sound", rec, good, ""},
		{"another surgery", rec, elsewhere, "is for Gull Street Surgery"},
		{"before the record", later, early, "signed at"},
		{"a second signature where none is asked for", alone, good, "says that a second signature is not asked for"},
	} {
		path := filepath.Join(t.TempDir(), "record.pdf")
		if err := os.WriteFile(path, signedWith(t, c.rec, key, c.s), 0o600); err != nil {
			t.Fatal(err)
		}
		found, err := Verify([]string{path}, Trusting{Roots: s.roots()})
		if err != nil {
			t.Fatal(err)
		}
		if v := found[0]; v.OK != (c.want == "") || !strings.Contains(strings.Join(v.Problems, " "), c.want) {
			t.Errorf("%s: %v, %q", c.why, v.OK, v.Problems)
		}
	}
	_, err = Verify([]string{filepath.Join(t.TempDir(), "none.pdf")}, Trusting{})
	if err == nil {
		t.Error("a file that is not there was verified")
	}
	_, err = Verify([]string{s.dir}, Trusting{Roots: keyFile(s.dir, "lea")})
	if err == nil || !strings.Contains(err.Error(), "no certificate in PEM form") {
		t.Errorf("roots that are none: %v", err)
	}
}

func TestAttachedAsSaid(t *testing.T) {
	d := daily.Day{Sources: []daily.Source{{Name: "a.csv", SHA256: "a"}, {Name: "b.csv", SHA256: "b"}}}
	for _, c := range []struct {
		sums map[string]bool
		want string
	}{
		{map[string]bool{"a": true, "b": true}, ""},
		{map[string]bool{"a": true, "c": true}, "b.csv is not attached as it was judged"},
		{map[string]bool{"a": true, "b": true, "c": true}, "that the record does not name"},
	} {
		if err := attachedAsSaid(d, c.sums); (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v", c.sums, err)
		}
	}
}
