package desk

import (
	"net/http"
	"strings"
	"testing"

	"holdproof/cmd/internal/surgery"
)

// A lead adds a person, changes roles, makes and ends certificates, each with the
// passphrases that the act asks for; no passphrase comes back in a page or the log.
func TestPeopleActs(t *testing.T) {
	s := newSite(t)
	mara := s.as("mara")
	authority, own := []string{"authority-passphrase", word("authority")}, []string{"passphrase", word("mara"), "reason", "it is so"}
	fresh := []string{"new-passphrase", word("nell"), "new-passphrase-again", word("nell")}
	join := func(parts ...[]string) []string {
		var out []string
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	nell := []string{"name", "Nell Sandrock", "new-id", "nell", "role", "operate", "role", "release", "since", "2026-11-02"}
	for _, try := range []struct {
		path   string
		fields []string
		code   int
		says   string
	}{
		{"/people/add", join(nell, fresh, own), 403, "site’s authority does not fit"},
		{"/people/add", join(nell, fresh, authority, []string{"passphrase", "wrong"}), 403, "Your passphrase does not fit"},
		{"/people/add", join(nell, authority, own, []string{"new-passphrase", "one thing 77", "new-passphrase-again", "another 777"}), 400, "typed in two ways"},
		{"/people/add", join(nell, authority, own, []string{"new-passphrase", "short", "new-passphrase-again", "short"}), 409, "Choose another passphrase"},
		{"/people/add", join([]string{"new-id", "nell", "role", "operate"}, fresh, authority, own), 400, "name is missing"},
		{"/people/add", join([]string{"new-id", "nell", "name", "Nell"}, fresh, authority, own), 409, "No role is named"},
		{"/people/add", join([]string{"new-id", "lea", "name", "Nell", "role", "operate"}, fresh, authority, own), 409, "belongs to Lea Marsh"},
		{"/people/add", join(nell, fresh, authority, own), 303, ""},
		{"/person/nell/roles", join([]string{"role", "release", "do", "end"}, own), 400, "last day is missing"},
		{"/person/nell/roles", join([]string{"do", "end", "day", "2026-11-02"}, own), 400, "choose a role"},
		{"/person/nell/roles", join([]string{"role", "release", "do", "end", "day", "2026-11-02", "reason", "x", "passphrase", "no"}), 403, "Your passphrase"},
		{"/person/nell/roles", join([]string{"role", "release", "do", "end", "day", "2026-11-02"}, own), 303, ""},
		{"/person/nell/roles", join([]string{"role", "lead", "do", "begin", "day", "2026-12-01"}, own), 303, ""},
		{"/person/mara/roles", join([]string{"role", "lead", "do", "end", "day", "2026-11-02"}, own), 303, ""}, // nell is lead then
		{"/person/mara/end", join(authority, own), 409, "the only certificate of a lead"},
		{"/person/nobody/end", join(authority, own), 404, ""},
		{"/person/ben/certificate", join(fresh, authority, own), 303, ""},
		{"/person/ben/end", join(authority, []string{"passphrase", word("mara")}), 409, "needs a reason"},
		{"/person/ben/end", join(authority, own), 303, ""},
	} {
		r := mara.post(try.path, try.fields...)
		if r.code != try.code || !strings.Contains(r.text(), try.says) {
			t.Errorf("%s %v: %d %s, expected %d %q", try.path, try.fields, r.code, r.text(), try.code, try.says)
		}
		if strings.Contains(r.body, "passphrase 7") {
			t.Errorf("%s: a passphrase comes back", try.path)
		}
	}
	text := mara.get("/people").text()
	for _, want := range []string{"Nell Sandrock", "release since 2 Nov 2026, until 2 Nov 2026", "lead from 1 Dec 2026"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q: %s", want, text)
		}
	}
	s.as("nell")
	if r := s.caller().post("/sign-in", "person", "ben", "passphrase", word("nell")); r.code != http.StatusUnauthorized {
		t.Errorf("an ended certificate opens: %d", r.code)
	}
	if strings.Contains(strings.Join(s.logged, "\n"), "passphrase 7") {
		t.Error("a passphrase was logged")
	}
	if a, err := s.records.Audit(t.Context(), surgery.Auditing{}); err != nil || !a.OK() {
		t.Errorf("%v %v", a.Problems, err)
	}
}

// A lead who lost the own passphrase proves by the authority's; guesses at that are
// slowed.
func TestAuthorityIsGuessedSlowly(t *testing.T) {
	s := newSite(t)
	mara := s.as("mara")
	var last answer
	for range 5 {
		last = mara.post("/person/lea/end", "reason", "x", "passphrase", word("mara"), "authority-passphrase", "guess")
	}
	if last.code != http.StatusTooManyRequests {
		t.Errorf("the fifth guess: %d %s", last.code, last.text())
	}
	if r := s.as("mara").get("/people"); r.code != http.StatusOK {
		t.Errorf("the lead is locked out with it: %d", r.code)
	}
	s.clock.move(9 * 60e9)
	if r := mara.post("/person/mara/certificate", "reason", "lost", "new-passphrase", "a tern on a post 9", "new-passphrase-again", "a tern on a post 9", "authority-passphrase", word("authority")); r.code != http.StatusSeeOther {
		t.Errorf("%d %s", r.code, r.text())
	}
	if r := s.caller().post("/sign-in", "person", "mara", "passphrase", "a tern on a post 9"); r.code != http.StatusSeeOther {
		t.Errorf("the new passphrase does not open: %d", r.code)
	}
}
