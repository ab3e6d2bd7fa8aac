package surgery

import (
	"testing"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// A certificate that was ended opens nothing any more, and what it signed stays; the
// last one of a lead is not ended.
func TestEndCertificates(t *testing.T) {
	r, _ := staffed(t)
	note := Noting{Duty: "hands and surfaces", Outcome: "done", By: as("lea")}
	if _, err := r.Note(t.Context(), note); err != nil {
		t.Fatal(err)
	}
	end := Ending{ID: "lea", By: as("mara"), Authority: wordOf("authority"), Reason: "left the surgery"}
	for _, c := range []struct {
		change func(*Ending)
		why    string
		help   string
	}{
		{func(e *Ending) { e.Reason = " " }, "needs a reason", "--reason"},
		{func(e *Ending) { e.By = as("tom") }, "tom may not change who may do what", "lead"},
		{func(e *Ending) { e.ID = "mara" }, "the only certificate of a lead", "somebody else lead"},
		{func(e *Ending) { e.ID = "nobody" }, "nobody has the id", "people"},
	} {
		bad := end
		c.change(&bad)
		refusedFor(t, r.EndCertificates(t.Context(), bad), c.why, c.help)
	}
	if err := r.EndCertificates(t.Context(), end); err != nil {
		t.Fatal(err)
	}
	_, err := r.Note(t.Context(), note)
	refusedFor(t, err, "no certificate of lea counts", "A lead makes one")
	refusedFor(t, r.EndCertificates(t.Context(), end), "no certificate of lea counts", "Nothing")
	rows, err := logbook.Find[entry.Certificate](t.Context(), r.book.View, logbook.Filter{Subject: "lea", Newest: true, Limit: 1})
	if err != nil || rows[0].Said.Act != "ended" || rows[0].Reason != "left the surgery" || rows[0].By != "mara" {
		t.Errorf("%+v %v", rows, err)
	}
	// A new one can be made afterwards.
	if err := r.Renew(t.Context(), Renewal{ID: "lea", By: as("mara"), Authority: wordOf("authority"), Passphrase: wordOf("lea"), Reason: "came back"}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.Note(t.Context(), note); err != nil {
		t.Error(err)
	}
	sound(t, r)
}
