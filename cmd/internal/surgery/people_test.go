package surgery

import (
	"bytes"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

func TestBegin(t *testing.T) {
	r, _ := staffed(t)
	rows, err := logbook.Find[entry.Body](t.Context(), r.book.View, logbook.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	var types []string
	for _, row := range rows[:4] {
		types = append(types, string(row.Type))
		if row.By != "" {
			t.Errorf("entry %d is by %s: nobody could prove to be anybody yet", row.Number, row.By)
		}
	}
	if !slices.Equal(types, []string{"configuration", "certificate", "certificate", "person"}) {
		t.Errorf("the first entries are %v", types)
	}
	text, err := r.AuthorityPEM(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	onDisk, err := os.ReadFile(filepath.Join(r.dir, "keys", "ca.pem"))
	if err != nil || string(onDisk) != string(text) {
		t.Errorf("the file is not what the logbook holds, %v", err)
	}
	if a, err := r.Audit(t.Context(), Auditing{}); err != nil || !a.OK() {
		t.Errorf("audit: %q, %v", a.Problems, err)
	}
	other, err := seal.NewAuthority("Tern Quay Surgery", evening)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(r.dir, "keys", "ca.pem")
	for _, c := range []struct {
		bytes []byte
		ok    bool
	}{
		{pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: other.Certificate().Raw}), false},
		{bytes.ReplaceAll(text, []byte("\n"), []byte("\r\n")), true},
		{append(bytes.Clone(text), text...), false},
		{text, true},
	} {
		if err := os.WriteFile(path, c.bytes, 0o600); err != nil {
			t.Fatal(err)
		}
		if a, err := r.Audit(t.Context(), Auditing{}); err != nil || a.OK() != c.ok || !c.ok && !strings.Contains(a.Problems[0], "keys/ca.pem is not") {
			t.Errorf("audit of another ca.pem: %q, %v", a.Problems, err)
		}
	}
	block, _ := pem.Decode(text)
	ca, err := x509.ParseCertificate(block.Bytes)
	if err != nil || !ca.IsCA || ca.Subject.CommonName != "Tern Quay Surgery" {
		t.Errorf("%+v, %v", ca, err)
	}
	for _, name := range []string{"ca.p12", "mara.p12", "lea.p12"} {
		info, err := os.Stat(filepath.Join(r.dir, "keys", name))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", name, info, err)
		}
	}
	sound(t, r)
}

func TestBeginRefuses(t *testing.T) {
	r, at := staffed(t)
	w := World{Now: at.now, Rounds: 1}
	in := Beginning{Dir: r.dir, Settings: r.settings, Lead: "mara", Name: "Mara Quill", Passphrase: wordOf("mara"), Authority: wordOf("authority")}
	before, _ := os.ReadFile(keyFile(r.dir, "mara"))
	var kept *logbook.Error
	if err := Begin(t.Context(), in, w); !errors.As(err, &kept) || !strings.Contains(err.Error(), "a logbook here already") {
		t.Errorf("a second beginning: %v", err)
	}
	if after, _ := os.ReadFile(keyFile(r.dir, "mara")); string(after) != string(before) {
		t.Error("the key was changed")
	}
	for _, c := range []struct {
		change       func(*Beginning)
		why, instead string
	}{
		{func(b *Beginning) { b.Lead = "Mara" }, `"Mara" cannot be the id`, "small letters"},
		{func(b *Beginning) { b.Lead = "ca" }, `"ca" cannot be the id`, ""},
		{func(b *Beginning) { b.Lead = "../x" }, "cannot be the id", ""},
		{func(b *Beginning) { b.Name = "" }, "name is empty", "another name"},
		{func(b *Beginning) { b.Settings.Value.Site.Name = "" }, "does not name the surgery", "site: name"},
		{func(b *Beginning) { b.Passphrase = func() (string, error) { return "12345678", nil } }, "the passphrase", "another passphrase"},
	} {
		b := in
		b.Dir = filepath.Join(t.TempDir(), "new")
		c.change(&b)
		refusedFor(t, Begin(t.Context(), b, w), c.why, c.instead)
		if _, err := os.Stat(filepath.Join(b.Dir, "holdproof.db")); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: something was made", c.why)
		}
	}
	// Keys whose logbook is gone are not replaced.
	b := in
	b.Dir = t.TempDir()
	if err := os.MkdirAll(filepath.Join(b.Dir, "keys"), 0o700); err != nil {
		t.Fatal(err)
	}
	wrote(t, filepath.Join(b.Dir, "keys"), "ca.p12", "an authority")
	refusedFor(t, Begin(t.Context(), b, w), "keys of another logbook", "holdproof restore")
}

// A beginning that was cut off before its entries is finished by the next.
func TestBeginAgain(t *testing.T) {
	dir := t.TempDir()
	w := World{Now: (&setClock{at: evening}).now, Rounds: 1}
	book, err := logbook.Create(t.Context(), dir, logbook.Options{Now: w.Now})
	if err != nil {
		t.Fatal(err)
	}
	book.Close()
	if err := os.MkdirAll(filepath.Join(dir, "keys"), 0o700); err != nil {
		t.Fatal(err)
	}
	wrote(t, filepath.Join(dir, "keys"), "ca.p12", "half a try")
	s := Settings{Value: machines(), File: filepath.Join(dir, "holdproof.yaml"), Text: []byte("x")}
	if err := Begin(t.Context(), Beginning{Dir: dir, Settings: s, Lead: "mara", Name: "Mara Quill", Passphrase: wordOf("mara"), Authority: wordOf("authority")}, w); err != nil {
		t.Fatal(err)
	}
	r, err := OpenRecords(t.Context(), dir, s, w)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := r.Note(t.Context(), Noting{Duty: "hands and surfaces", Outcome: "done", By: as("mara")}); err != nil {
		t.Error(err)
	}
}

func TestPeopleRefused(t *testing.T) {
	r, _ := staffed(t)
	j := Joining{ID: "noel", Name: "Noel Hart", Roles: []string{"operate"}, Passphrase: func() (string, error) { return "noel at the quay", nil }, By: as("mara"), Authority: wordOf("authority")}
	for _, c := range []struct {
		change       func(*Joining)
		why, instead string
	}{
		{func(j *Joining) { j.ID = "lea" }, "the id lea belongs to", "people certificate"},
		{func(j *Joining) { j.ID = "authority" }, "cannot be the id", ""},
		{func(j *Joining) { j.Roles = nil }, "no role is named", "operate, release or lead"},
		{func(j *Joining) { j.Roles = []string{"owner"} }, `"owner" is no role`, "operate"},
		{func(j *Joining) { j.Since = "2 Nov" }, "is not a day", "2026-11-02"},
		{func(j *Joining) { j.By = as("lea") }, "lea may not change who may do what", "lead"},
		{func(j *Joining) { j.Passphrase = func() (string, error) { return "short", nil } }, "shorter than 8", "another passphrase"},
	} {
		bad := j
		c.change(&bad)
		refusedFor(t, r.AddPerson(t.Context(), bad), c.why, c.instead)
	}
	bad := j
	bad.Authority = wordOf("mara")
	if err := r.AddPerson(t.Context(), bad); !errors.Is(err, seal.ErrPassphrase) || !strings.Contains(err.Error(), "the authority") {
		t.Errorf("a wrong passphrase of the authority: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(r.dir, "keys", "noel*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if err := r.AddPerson(t.Context(), j); err != nil {
		t.Error(err)
	}
	refusedFor(t, r.ChangeRoles(t.Context(), RoleChange{ID: "mara", Until: "2026-12-31", By: as("mara")}), "nobody would be lead any more", "somebody else first")
	refusedFor(t, r.ChangeRoles(t.Context(), RoleChange{ID: "noel", Roles: []string{"operate"}, By: as("mara")}), "has the role operate already", "")
	refusedFor(t, r.ChangeRoles(t.Context(), RoleChange{ID: "noel", Roles: []string{"lead"}, Until: "2026-12-31", By: as("mara")}), "no such role", "holdproof people")
	if err := r.ChangeRoles(t.Context(), RoleChange{ID: "noel", Roles: []string{"lead"}, By: as("mara")}); err != nil {
		t.Fatal(err)
	}
	if err := r.ChangeRoles(t.Context(), RoleChange{ID: "mara", Until: "2026-12-31", By: as("mara")}); err != nil {
		t.Error(err)
	}
	people, err := r.People(t.Context())
	if err != nil || len(people) != 4 || people[1].ID != "mara" || people[1].Roles[2] != (Role{"lead", "2026-11-01", "2026-12-31"}) {
		t.Errorf("%+v, %v", people, err)
	}
}

// After a lost passphrase there is a new certificate; the old key opens nothing more,
// and the log keeps both.
func TestNewCertificate(t *testing.T) {
	r, _ := staffed(t)
	oldKey, _ := os.ReadFile(keyFile(r.dir, "lea"))
	renewed := Renewal{ID: "lea", By: as("mara"), Authority: wordOf("authority"), Reason: "passphrase lost",
		Passphrase: func() (string, error) { return "lea comes home late", nil }}
	bad := renewed
	bad.By = as("tom")
	refusedFor(t, r.Renew(t.Context(), bad), "tom may not change who may do what", "lead")
	if err := r.Renew(t.Context(), renewed); err != nil {
		t.Fatal(err)
	}
	note := Noting{Duty: "hands and surfaces", Outcome: "done", By: as("lea")}
	if _, err := r.Note(t.Context(), note); !errors.Is(err, seal.ErrPassphrase) {
		t.Errorf("with the old passphrase: %v", err)
	}
	note.By.Passphrase = renewed.Passphrase
	if _, err := r.Note(t.Context(), note); err != nil {
		t.Error(err)
	}
	// The old file put back, such as from a backup, does not count.
	newKey, _ := os.ReadFile(keyFile(r.dir, "lea"))
	if err := os.WriteFile(keyFile(r.dir, "lea"), oldKey, 0o600); err != nil {
		t.Fatal(err)
	}
	note.By = as("lea")
	_, err := r.Note(t.Context(), note)
	refusedFor(t, err, "not of a certificate that counts", "newest key file")
	// A key that did not reach its place yet counts all the same.
	if err := os.WriteFile(nextKeyFile(r.dir, "lea"), newKey, 0o600); err != nil {
		t.Fatal(err)
	}
	note.By.Passphrase = renewed.Passphrase
	if _, err := r.Note(t.Context(), note); err != nil {
		t.Error(err)
	}
	keys, err := r.Keys(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ended, counts := 0, 0
	for _, k := range keys {
		switch {
		case k.Person != "lea":
		case k.Ended.IsZero():
			counts++
		case k.EndedBy == "mara" && k.Reason == "passphrase lost":
			ended++
		}
	}
	if ended != 1 || counts != 1 {
		t.Errorf("%d ended, %d count", ended, counts)
	}
	// A lead who lost their own proves by the authority.
	own := Renewal{ID: "mara", By: as("mara"), Authority: wordOf("authority"), Passphrase: func() (string, error) { return "mara finds the way", nil }}
	own.By.Passphrase = func() (string, error) { t.Error("asked for what was lost"); return "", nil }
	if err := r.Renew(t.Context(), own); err != nil {
		t.Fatal(err)
	}
	rows, _ := logbook.Find[entry.Certificate](t.Context(), r.book.View, logbook.Filter{Subject: "mara", Newest: true, Limit: 1})
	if !strings.HasPrefix(rows[0].Proved, "passphrase of the site's authority ") {
		t.Errorf("proved by %q", rows[0].Proved)
	}
	sound(t, r)
}

// A certificate from outside takes the place of one's own.
func TestOutsideCertificate(t *testing.T) {
	r, at := staffed(t)
	other, err := seal.NewAuthority("Harbour Trust", at.now())
	if err != nil {
		t.Fatal(err)
	}
	k, err := other.Issue("Lea Brook", at.now())
	if err != nil {
		t.Fatal(err)
	}
	p12, err := k.PackRounds("lea has two keys", 1)
	if err != nil {
		t.Fatal(err)
	}
	n := Renewal{ID: "lea", By: as("mara"), Authority: wordOf("authority"), KeyFile: wrote(t, t.TempDir(), "lea.p12", string(p12)), Passphrase: func() (string, error) { return "lea has two keys", nil }}
	if err := r.Renew(t.Context(), n); err != nil {
		t.Fatal(err)
	}
	note := Noting{Duty: "hands and surfaces", Outcome: "done", By: Proof{Person: "lea", Passphrase: n.Passphrase}}
	if _, err := r.Note(t.Context(), note); err != nil {
		t.Error(err)
	}
	keys, _ := r.Keys(t.Context())
	last := keys[len(keys)-1]
	if !last.Outside || last.Issuer != "Harbour Trust" || keys[0].Outside || keys[1].Outside {
		t.Errorf("%+v", last)
	}
}

func TestKeyWarnings(t *testing.T) {
	r, _ := staffed(t)
	keys, err := r.Keys(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	k := keys[1]
	for _, c := range []struct {
		days int // before the end
		want string
	}{{61, ""}, {59, "It ends on"}, {-1, "It has ended."}} {
		if got := k.Warning(k.NotAfter.AddDate(0, 0, -c.days)); !strings.HasPrefix(got, c.want) || (c.want == "") != (got == "") {
			t.Errorf("%d days before its end: %q", c.days, got)
		}
	}
}

// Of two who add the same id at once, one is told, and the key of the other stays.
func TestSameIDTwice(t *testing.T) {
	r, _ := staffed(t)
	j := Joining{ID: "noel", Name: "Noel Hart", Roles: []string{"operate"}, By: as("mara"), Authority: wordOf("authority")}
	first := j
	first.Passphrase = func() (string, error) { return "noel at the quay", nil }
	j.Passphrase = func() (string, error) { return "noel on the pier", r.AddPerson(t.Context(), first) }
	refusedFor(t, r.AddPerson(t.Context(), j), "the id noel belongs to", "another id")
	if left, _ := filepath.Glob(filepath.Join(r.dir, "keys", "noel*")); !slices.Equal(left, []string{keyFile(r.dir, "noel")}) {
		t.Errorf("left behind: %v", left)
	}
	if _, err := r.Note(t.Context(), Noting{Duty: "hands and surfaces", Outcome: "done", By: Proof{Person: "noel", Passphrase: first.Passphrase}}); err != nil {
		t.Error(err)
	}
}
