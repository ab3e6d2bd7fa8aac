package surgery

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"holdproof/report/pdf"
	"holdproof/report/seal"
)

func (s *site) finds(t testing.TB, want string) {
	t.Helper()
	a, err := s.Audit(t.Context(), Auditing{})
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Problems) != 1 || !strings.Contains(a.Problems[0], want) {
		t.Errorf("found %q, expected %q", a.Problems, want)
	}
}

func TestAuditOfRecords(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	one := s.prepared(t, monday)
	first := read(t, one.File)
	s.countersigned(t, monday)
	both := read(t, one.File)
	s.clock.Time = s.clock.AddDate(0, 0, 1)
	two := s.prepared(t, "2026-11-03")
	other := read(t, two.File)
	sound(t, s.Records)
	put := func(path string, data []byte) {
		t.Helper()
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name, want string
		data       []byte
	}{
		{"cut back to the first signature", "holds the first signature only", first},
		{"another day's record", "not the one that was signed", other},
		{"a bit flipped", "not the one that was signed", flipped(both, len(first)/2)},
		{"something appended", "not the one that was signed", append(bytes.Clone(both), "\n%%EOF\n"...)},
	} {
		t.Run(c.name, func(t *testing.T) {
			put(one.File, c.data)
			s.finds(t, c.want)
		})
	}
	put(one.File, both)
	if err := os.Remove(two.File); err != nil {
		t.Fatal(err)
	}
	s.finds(t, "the file is not there")
	put(two.File, other)
	put(filepath.Join(s.dir, recordsFolder, "2026-11-04.pdf"), []byte("%PDF-1.7 of somebody"))
	s.finds(t, "no entry of the logbook names it. It was put there by somebody else")
}

func flipped(b []byte, at int) []byte {
	b = bytes.Clone(b)
	b[at] ^= 1
	return b
}

func TestCertificateOutsideTheLog(t *testing.T) {
	own := func(s *site) *seal.Key { return openedKey(t, s, "lea") }
	for _, c := range []struct {
		name, want string
		key        func(*site) *seal.Key
		before     func(*site, *DayRecord) // it is signed
		after      func(*site, *DayRecord) // it is signed, and entered next
	}{
		{name: "as it should be", key: own},
		{name: "issued beside the log", want: "is not in the log of certificates", key: func(s *site) *seal.Key {
			authority, err := seal.Open(read(t, keyFile(s.dir, authorityID)), "the authority of the quay")
			return issuedBy(t, s, authority, err)
		}},
		{name: "of another authority", want: "does not lead to an authority you trust", key: func(s *site) *seal.Key {
			authority, err := seal.NewAuthority("Tern Quay Surgery", s.Now())
			return issuedBy(t, s, authority, err)
		}},
		{name: "of somebody else in the log", want: `was issued to "noel", and the entry is of "lea"`, key: func(s *site) *seal.Key { return openedKey(t, s, "noel") }},
		{name: "ended", want: "had been ended by entry", key: func(s *site) *seal.Key {
			old := own(s)
			if err := s.Renew(t.Context(), Renewal{ID: "lea", Passphrase: by("lea").Passphrase, By: by("mara"), Authority: passphrase("the authority of the quay"), Reason: "lost"}); err != nil {
				t.Fatal(err)
			}
			return old
		}},
		{name: "entered when it was valid no more", want: "not at the time of signing", key: own,
			after: func(s *site, _ *DayRecord) { s.clock.Time = s.clock.AddDate(6, 0, 0) }},
		{name: "another root in the entry", want: "with another root than its entry says", key: own,
			after: func(_ *site, rec *DayRecord) { rec.Day.Record.LogRoot = strings.Repeat("0", 64) }},
		{name: "drawn from another log", want: "are not those it was drawn from", key: own,
			before: func(_ *site, rec *DayRecord) { rec.Day.Record.LogRoot = strings.Repeat("0", 64) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := signedSite(t)
			s.demoDay(t)
			key := c.key(s)
			rec, err := s.dayWith(t.Context(), monday, unfinished)
			if err != nil {
				t.Fatal(err)
			}
			p, err := s.prove(t.Context(), by("lea"), ActPrepare, s.Now())
			if err != nil {
				t.Fatal(err)
			}
			if c.before != nil {
				c.before(s, rec)
			}
			statement := s.statement(p)
			p.key = key
			data := signedWith(t, rec, key, statement)
			if c.after != nil {
				c.after(s, rec)
			}
			if _, err := s.enterPrepared(t.Context(), rec, p, statement, data); err != nil {
				t.Fatal(err)
			}
			if c.want == "" {
				sound(t, s.Records)
				return
			}
			s.finds(t, c.want)
		})
	}
}

func issuedBy(t testing.TB, s *site, authority *seal.Key, err error) *seal.Key {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	k, err := authority.Issue("Lea Brook", s.Now())
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func signedWith(t testing.TB, rec *DayRecord, key *seal.Key, s seal.Statement) []byte {
	t.Helper()
	plain, err := rec.PDF()
	if err != nil {
		t.Fatal(err)
	}
	prepared, reviewed := pdf.Blocks()
	second := seal.Place{Page: reviewed.Page, X: reviewed.X, Y: reviewed.Y, Width: reviewed.W, Height: reviewed.H}
	data, err := seal.Sign(plain, key, s, seal.Places{Reviewed: &second,
		Prepared: seal.Place{Page: prepared.Page, X: prepared.X, Y: prepared.Y, Width: prepared.W, Height: prepared.H}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return data
}
