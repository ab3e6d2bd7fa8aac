package surgery

import (
	"context"
	"errors"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// The passphrase is asked for last, and a wrong one keeps nothing.
func TestProof(t *testing.T) {
	r, at := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	asked := 0
	d := Deciding{Do: DoRelease, Cycles: []string{good}, By: Proof{Person: "lea", Passphrase: func() (string, error) { asked++; return "lea sails at noon", nil }}}
	before, _ := r.book.Checkpoint(t.Context())
	if _, err := r.Decide(t.Context(), d); !errors.Is(err, seal.ErrPassphrase) {
		t.Errorf("a wrong passphrase: %v", err)
	}
	d.Cycles = []string{short}
	if _, err := r.Decide(t.Context(), d); err == nil || asked != 1 {
		t.Errorf("asked %d times, %v", asked, err)
	}
	if after, _ := r.book.Checkpoint(t.Context()); after != before {
		t.Error("something was kept")
	}
	d.Cycles, d.By = []string{good}, as("ghost")
	_, err := r.Decide(t.Context(), d)
	refusedFor(t, err, `nobody has the id "ghost"`, "holdproof people")
	d.By = as("")
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "nobody is named", "--by")
	d.By, d.At = as("lea"), evening.Add(time.Hour)
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "lies ahead", "clock")

	// Another person's key under the name does not count.
	if err := os.Rename(keyFile(r.dir, "lea"), keyFile(r.dir, "x")); err != nil {
		t.Fatal(err)
	}
	d.At = time.Time{}
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "is not in", "backup")
	bytes, _ := os.ReadFile(keyFile(r.dir, "mara"))
	if err := os.WriteFile(keyFile(r.dir, "lea"), bytes, 0o600); err != nil {
		t.Fatal(err)
	}
	d.By.Passphrase = wordOf("mara")
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "not of a certificate that counts", "holdproof keys")
	if err := os.Rename(keyFile(r.dir, "x"), keyFile(r.dir, "lea")); err != nil {
		t.Fatal(err)
	}
	d.By = as("lea")
	at.set(evening.AddDate(6, 0, 0))
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "certificate of lea is valid from", "people certificate lea")
	at.set(evening)
	if _, err := r.Decide(t.Context(), d); err != nil {
		t.Error(err)
	}
}

// A role counts on the day of the act and on the day it is entered.
func TestEndedRole(t *testing.T) {
	r, at := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	if err := r.ChangeRoles(t.Context(), RoleChange{ID: "lea", Roles: []string{"release"}, Until: "2026-11-02", By: as("mara")}); err != nil {
		t.Fatal(err)
	}
	at.set(evening.AddDate(0, 0, 1))
	d := Deciding{Do: DoRelease, Cycles: []string{good}, By: as("lea")}
	_, err := r.Decide(t.Context(), d)
	refusedFor(t, err, "the role release ended on 2 Nov 2026", "Ask somebody")
	d.At = evening
	_, err = r.Decide(t.Context(), d)
	refusedFor(t, err, "the role release ended on 2 Nov 2026", "")
	at.set(evening)
	if _, err := r.Decide(t.Context(), d); err != nil {
		t.Errorf("on its last day: %v", err)
	}
	if err := r.ChangeRoles(t.Context(), RoleChange{ID: "tom", Roles: []string{"release"}, Since: "2026-11-03", By: as("mara")}); err != nil {
		t.Fatal(err)
	}
	_, err = r.Decide(t.Context(), Deciding{Do: DoRelease, Cycles: []string{other}, By: as("tom")})
	refusedFor(t, err, "the role release begins on 3 Nov 2026", "")
}

// Of two decisions on one load at once, one is kept and the other is told.
func TestTwoAtOnce(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	// Both have seen the load and are typing their passphrases.
	var ready sync.WaitGroup
	ready.Add(2)
	typing := func(who string) Proof {
		return Proof{Person: who, Passphrase: func() (string, error) { ready.Done(); ready.Wait(); return words[who], nil }}
	}
	errs := make(chan error, 2)
	for who, do := range map[string]string{"lea": DoRelease, "tom": DoQuarantine} {
		go func() {
			_, err := r.Decide(context.WithoutCancel(t.Context()), Deciding{Do: do, Cycles: []string{good}, By: typing(who)})
			errs <- err
		}()
	}
	won, told := 0, 0
	for range 2 {
		switch err := <-errs; {
		case err == nil:
			won++
		case IsStale(err) && strings.Contains(Remedy(err), "decide again"):
			told++
		default:
			t.Error(err)
		}
	}
	if won != 1 || told != 1 {
		t.Errorf("%d won, %d were told", won, told)
	}
	rows, _ := logbook.Find[entry.Decision](t.Context(), r.book.View, logbook.Filter{})
	if len(rows) != 1 {
		t.Errorf("%d decisions", len(rows))
	}
}

// A verdict that came after the person looked stops the act.
func TestSeenNoLonger(t *testing.T) {
	r, _ := staffed(t)
	aDay(t, r)
	readTest(t, r, "passed")
	ready, err := r.Conforming(t.Context(), "2026-11-02")
	if err != nil || len(ready.Loads) != 2 {
		t.Fatalf("%+v, %v", ready, err)
	}
	judgedAgain(t, r, good)
	d := Deciding{Do: DoRelease, Seen: ready.Seen, By: as("lea")}
	for _, l := range ready.Loads {
		d.Cycles = append(d.Cycles, l.Key)
	}
	if _, err := r.Decide(t.Context(), d); !IsStale(err) {
		t.Errorf("as seen before: %v", err)
	}
	if ready, err = r.Conforming(t.Context(), "2026-11-02"); err != nil {
		t.Fatal(err)
	}
	d.Seen = ready.Seen
	done, err := r.Decide(t.Context(), d)
	if err != nil || len(done) != 2 || done[1].Entry != done[0].Entry+1 {
		t.Errorf("%+v, %v", done, err)
	}
}
