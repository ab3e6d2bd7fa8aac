package surgery

import (
	"archive/zip"
	"bytes"
	"database/sql"
	"encoding/csv"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// baggedSite is the invented surgery with a day that was signed twice: a gap in its
// numbers is explained.
func baggedSite(t testing.TB) *site {
	t.Helper()
	s := signedSite(t)
	s.demoDay(t)
	s.note(t, Noting{Duty: dutyExplained, Cycle: "S1/1049", Explains: "number-gap", Text: "1048 was stopped before it heated"})
	s.prepared(t, monday)
	s.clock.Time = s.clock.Add(time.Minute)
	s.countersigned(t, monday)
	return s
}

func (s *site) bag(t testing.TB, name string, change ...func(*Bagging)) string {
	t.Helper()
	b := Bagging{From: "2026-11-02", To: "2026-11-08", Out: filepath.Join(t.TempDir(), name), By: by("mara")}
	for _, f := range change {
		f(&b)
	}
	if _, err := s.Bag(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	return b.Out
}

func (s *site) verified(t testing.TB, bag string, since ...string) VerifiedBag {
	t.Helper()
	v, err := VerifyBag(bag, Trusting{Roots: s.roots()}, since)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestBag(t *testing.T) {
	s := baggedSite(t)
	for _, name := range []string{"bag", "bag.zip"} {
		bag := s.bag(t, name)
		v := s.verified(t, bag)
		if !v.OK || !v.Trusted || v.Signer != "Mara Quill" || v.Records != 1 || v.Cycles != 15 || v.Entries != s.entries(t) || v.Exports == 0 || len(v.Remarks) != 1 || v.Covered != v.Entries {
			t.Errorf("%s: %+v", name, v)
		}
		if v, err := VerifyBag(bag, Trusting{}, nil); err != nil || !v.OK || v.Trusted || v.Fingerprint == "" {
			t.Errorf("%s without roots: %+v, %v", name, v, err)
		}
		other := signedSite(t)
		if v := other.verified(t, bag); v.OK || v.Trusted {
			t.Errorf("%s is believed from another surgery", name)
		}
		unsigned := s.verified(t, s.bag(t, "unsigned "+name, func(b *Bagging) { b.By = Proof{} }))
		if !unsigned.OK || unsigned.Trusted || unsigned.Signer != "" || len(unsigned.Remarks) != 2 {
			t.Errorf("%s, signed by nobody: %+v", name, unsigned)
		}
	}
}

// The same period of the same logbook gives the same bytes, at any time and place.
func TestBagTwice(t *testing.T) {
	s := baggedSite(t)
	one := read(t, s.bag(t, "one.zip"))
	s.clock.Time = s.clock.Add(100 * time.Hour)
	if two := read(t, s.bag(t, "two.zip")); !bytes.Equal(one, two) {
		t.Error("the same bag has other bytes")
	}
	if entries := s.entries(t); entries != s.verified(t, s.bag(t, "three.zip")).Entries {
		t.Error("packing wrote an entry")
	}
}

// The folder holds the files of the ZIP, exports byte for byte.
func TestBagFiles(t *testing.T) {
	s := baggedSite(t)
	folder := s.bag(t, "bag")
	z, err := zip.OpenReader(s.bag(t, "bag.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	n := 0
	for _, f := range z.File {
		name := strings.TrimPrefix(f.Name, "holdproof-2026-11-02-to-2026-11-08/")
		data, err := fs.ReadFile(z, f.Name)
		if err != nil || !bytes.Equal(data, read(t, filepath.Join(folder, name))) {
			t.Errorf("%s: %v", name, err)
		}
		if sum, is := strings.CutPrefix(name, "data/exports/"); is {
			n++
			if entry.Sum(data)+".csv" != sum {
				t.Errorf("%s has other bytes", name)
			}
		}
	}
	if n == 0 {
		t.Error("no export")
	}
	if got := read(t, filepath.Join(folder, "data/records/2026-11-02.pdf")); !bytes.Equal(got, read(t, s.recordPath("2026-11-02.pdf"))) {
		t.Error("the record has other bytes")
	}
}

// A bag of one steriliser has its cycles and exports, and all entries.
func TestBagOfOne(t *testing.T) {
	s := baggedSite(t)
	bag := s.bag(t, "s2", func(b *Bagging) { b.Steriliser = "S2" })
	v := s.verified(t, bag)
	if !v.OK || v.Steriliser != "S2" || v.Cycles != 6 || v.Exports != 1 || v.Entries != s.entries(t) {
		t.Errorf("%+v", v)
	}
	rows, err := csv.NewReader(bytes.NewReader(read(t, filepath.Join(bag, "data/cycles.csv")))).ReadAll()
	if err != nil || len(rows) != 7 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, r := range rows[1:] {
		if r[1] != "S2" {
			t.Errorf("%q", r)
		}
	}
	early := s.verified(t, s.bag(t, "early", func(b *Bagging) { b.From, b.To = "2026-10-01", "2026-10-31" }))
	if !early.OK || early.Cycles != 0 || early.Exports != 0 || early.Records != 0 {
		t.Errorf("of days before: %+v", early)
	}
}

func TestBagRefuses(t *testing.T) {
	s := baggedSite(t)
	out := t.TempDir()
	there := filepath.Join(out, "there.zip")
	if err := os.WriteFile(there, []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	good := Bagging{From: "2026-11-02", To: "2026-11-08", Out: filepath.Join(out, "new.zip"), By: by("mara")}
	for _, c := range []struct {
		change       func(*Bagging)
		why, instead string
	}{
		{func(b *Bagging) { b.From = "yesterday" }, `"yesterday" is no date`, "2026-11-02"},
		{func(b *Bagging) { b.To = "2026-11-31" }, `"2026-11-31" is no date`, ""},
		{func(b *Bagging) { b.To = "2026-11-01" }, "before it begins", "earlier day first"},
		{func(b *Bagging) { b.Out = "" }, "where the bag is to stand", "--out"},
		{func(b *Bagging) { b.Out = there }, "is there already", "Nothing is overwritten"},
		{func(b *Bagging) { b.Out = out }, "is there already", "Nothing is overwritten"},
		{func(b *Bagging) { b.Steriliser = "S9" }, `no steriliser is called "S9"`, "holdproof.yaml"},
		{func(b *Bagging) { b.By = by("lea") }, "lea may not sign the checkpoint of a bag", "lead"},
		{func(b *Bagging) { b.By = by("nobody") }, `nobody has the id "nobody"`, ""},
	} {
		b := good
		c.change(&b)
		_, err := s.Bag(t.Context(), b)
		refusedFor(t, err, c.why, c.instead)
	}
	wrong := good
	wrong.By.Passphrase = passphrase("not hers at all")
	if _, err := s.Bag(t.Context(), wrong); err == nil {
		t.Error("signed with a wrong passphrase")
	}
	nowhere := good
	nowhere.Out = filepath.Join(out, "not", "there.zip")
	if _, err := s.Bag(t.Context(), nowhere); err == nil || !strings.Contains(err.Error(), "cannot be written") {
		t.Errorf("into a folder that is not there: %v", err)
	}
	left, err := os.ReadDir(out)
	if err != nil || len(left) != 1 || string(read(t, there)) != "mine" {
		t.Errorf("left: %v, %v", left, err)
	}
}

// A record that is gone or was changed is left out and named; verify finds it missing.
func TestBagWithoutRecord(t *testing.T) {
	s := baggedSite(t)
	for _, damage := range []func(string) error{os.Remove, func(p string) error { return os.WriteFile(p, []byte("%PDF-1.7"), 0o666) }} {
		if err := damage(s.recordPath("2026-11-02.pdf")); err != nil {
			t.Fatal(err)
		}
		b := Bagging{From: "2026-11-02", To: "2026-11-02", Out: filepath.Join(t.TempDir(), "bag.zip")}
		out, err := s.Bag(t.Context(), b)
		if err != nil || len(out.Missing) != 1 || !strings.Contains(out.Missing[0], "records/2026-11-02.pdf") {
			t.Fatalf("%+v, %v", out, err)
		}
		v := s.verified(t, b.Out)
		if v.OK || len(v.Problems) != 1 || !strings.Contains(v.Problems[0], "data/records/2026-11-02.pdf is missing; it is named by an entry") {
			t.Errorf("%q", v.Problems)
		}
		if err := os.WriteFile(s.recordPath("2026-11-02.pdf"), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

// An export that is damaged in the logbook ends the packing, and nothing stands there.
func TestBagOfDamagedExport(t *testing.T) {
	s := baggedSite(t)
	s.sabotage(t, `UPDATE original_parts SET gzip = CAST(substr(gzip, 1, 200) || x'00' || substr(gzip, 202) AS BLOB) WHERE rowid = 3`)
	for _, name := range []string{"bag", "bag.zip"} {
		dir := t.TempDir()
		_, err := s.Bag(t.Context(), Bagging{From: "2026-11-02", To: "2026-11-08", Out: filepath.Join(dir, name)})
		if err == nil || !strings.Contains(err.Error(), "nothing was packed: data/exports/") {
			t.Errorf("packed: %v", err)
		}
		if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
			t.Errorf("left %v, %v", left, err)
		}
	}
}

// sabotage writes to the database past what refuses it.
func (s *site) sabotage(t testing.TB, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(s.dir, "holdproof.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, q := range []string{`DROP TRIGGER original_parts_update`, statement} {
		if _, err := db.ExecContext(t.Context(), q); err != nil {
			t.Fatal(err)
		}
	}
}

// The table is RFC 4180, and no cell of it runs in a spreadsheet.
func TestBagTable(t *testing.T) {
	s := baggedSite(t)
	text := read(t, filepath.Join(s.bag(t, "bag"), "data/cycles.csv"))
	if bytes.Count(text, []byte("\r\n")) != bytes.Count(text, []byte("\n")) {
		t.Error("lines do not end as RFC 4180 wants it")
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil || len(rows) != 16 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	at := func(row []string, heading string) string { return row[slices.Index(rows[0], heading)] }
	short := rows[slices.IndexFunc(rows, func(r []string) bool { return r[2] == "1045" })]
	for heading, want := range map[string]string{"outcome": "failed", "hold_s": "162.1", "start": "2026-11-02T11:20:16Z", "steriliser": "S1", "kind": "load",
		"signed_records": "records/2026-11-02.pdf"} {
		if got := at(short, heading); got != want {
			t.Errorf("%s: %q, expected %q", heading, got, want)
		}
	}
	for text, want := range map[string]string{"": "", "chair 1": "chair 1", "=1+1": "'=1+1", "+44": "'+44", "-1": "'-1", "@x": "'@x", "\t=1": "'\t=1", " =1": "' =1",
		"＝1": "'＝1", "a=1": "a=1", "\r=1": "' =1", "a\r\nb": "a\nb"} {
		if got := plainCell(text); got != want {
			t.Errorf("%q is written %q, expected %q", text, got, want)
		}
	}
}

// Earlier checkpoints: of the same history, of a newer one, of another.
func TestBagSince(t *testing.T) {
	s := baggedSite(t)
	kept := func(name string) string {
		return filepath.Join(s.bag(t, name, func(b *Bagging) { b.By = Proof{} }), "data/checkpoint.txt")
	}
	before := kept("before")
	bag := s.bag(t, "bag.zip")
	s.note(t, Noting{Duty: dutyClosed, Day: "2026-11-03", Text: "closed"})
	after := kept("after")
	other := baggedSite(t)
	elsewhere := filepath.Join(other.bag(t, "other"), "data/checkpoint.txt")
	for file, want := range map[string]string{before: "", after: "the bag is the older one, or entries were taken out", elsewhere: "The history was written anew"} {
		v := s.verified(t, bag, file)
		if v.OK != (want == "") || want != "" && !strings.Contains(strings.Join(v.Problems, "\n"), want) {
			t.Errorf("%s: %q, expected %q", file, v.Problems, want)
		}
		if said := strings.Join(v.Since, "\n"); (want == "") != (said == "It adds only to the checkpoint of 2 Nov 2026 18:01 UTC, with 36 entries") {
			t.Errorf("%s: said %q", file, said)
		}
	}
	older := filepath.Join(t.TempDir(), "older.txt")
	if err := os.WriteFile(older, bytes.Replace(read(t, before), []byte("time: 2026"), []byte("time: 2020"), 1), 0o666); err != nil {
		t.Fatal(err)
	}
	if v := s.verified(t, bag, older); v.OK || len(v.Since) > 0 || !strings.Contains(strings.Join(v.Problems, "\n"), "the checkpoint is not as it was made") {
		t.Errorf("another time: %q, %q", v.Problems, v.Since)
	}
	if _, err := VerifyBag(bag, Trusting{}, []string{"no such file"}); err == nil {
		t.Error("a checkpoint that is not there was passed over")
	}
	if _, err := VerifyBag("no such bag", Trusting{}, nil); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a bag that is not there: %v", err)
	}
}

// A number that nobody explained is found, also where the explanation was withdrawn or
// is of something else.
func TestBagGap(t *testing.T) {
	s := signedSite(t)
	s.demoDay(t)
	gap := "Cycle 1048 is missing on S1"
	if got := strings.Join(s.verified(t, s.bag(t, "bag")).Problems, "\n"); !strings.Contains(got, gap) || strings.Count(got, "\n") > 0 {
		t.Errorf("%q, expected %q", got, gap)
	}
	s.note(t, Noting{Duty: dutyExplained, Cycle: "S1/1049", Explains: "number-gap", Text: "1048 was stopped"})
	n := s.entries(t)
	if v := s.verified(t, s.bag(t, "bag")); !v.OK {
		t.Errorf("%q", v.Problems)
	}
	if got := s.verified(t, s.bag(t, "bag", func(b *Bagging) { b.Steriliser = "S2" })); !got.OK {
		t.Errorf("of S2: %q", got.Problems)
	}
	if _, err := s.Correct(t.Context(), Correcting{Entry: n, Withdraw: true, By: by("lea"), Reason: "it was another one"}); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(s.verified(t, s.bag(t, "bag")).Problems, "\n"); !strings.Contains(got, gap) {
		t.Errorf("%q, expected %q", got, gap)
	}
}
