package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"
)

// Guessing is slowed for each id by itself, and as much for an id that nobody has.
func TestGuessingIsSlowed(t *testing.T) {
	s := newSite(t)
	var answers []string
	for _, id := range []string{"lea", "nobody-at-all"} {
		c := s.caller()
		for i := range 6 {
			r := c.post("/sign-in", "person", id, "passphrase", fmt.Sprint("guess ", i))
			answers = append(answers, fmt.Sprint(r.code, r.text()))
		}
		if !strings.HasPrefix(answers[len(answers)-1], "429") {
			t.Errorf("%s: the sixth guess gives %.60s", id, answers[len(answers)-1])
		}
	}
	for i := range 6 {
		if answers[i] != answers[6+i] {
			t.Errorf("guess %d tells that one id is there and the other not:\n%s\n%s", i+1, answers[i], answers[6+i])
		}
	}
	c := s.caller()
	if r := c.post("/sign-in", "person", "lea", "passphrase", word("lea")); r.code != http.StatusTooManyRequests {
		t.Errorf("the right passphrase opens while the id is slowed: %d", r.code)
	}
	s.as("ben") // others are not slowed
	s.clock.move(longestLag)
	s.as("lea")
}

// The passphrase of a second person is not guessed either.
func TestSecondPersonIsSlowed(t *testing.T) {
	s := newSite(t).full()
	c := s.as("lea")
	s.readTests(c)
	key := s.key("S1", "1047")
	fields := []string{"do", "release", "reason", "looked at", "second", "mara", "seen", s.seen(c, key), "second-passphrase"}
	for range freeTries {
		if r := c.post("/cycle/"+key, append(fields, "wrong")...); r.code != http.StatusForbidden {
			t.Fatalf("%d %s", r.code, r.text())
		}
	}
	if r := c.post("/cycle/"+key, append(fields, word("mara"))...); r.code != http.StatusBadRequest || !strings.Contains(r.text(), "did not fit several times") {
		t.Errorf("%d %s", r.code, r.text())
	}
}

// The wait doubles, and ends at a quarter of an hour.
func TestBrake(t *testing.T) {
	at := &clock{at: time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)}
	b := newBrake(at.now)
	var waits []time.Duration
	for range 16 {
		b.failed("lea")
		waits = append(waits, b.wait("lea"))
	}
	if waits[1] != 0 || waits[2] != time.Second || waits[3] != 2*time.Second || waits[5] != 8*time.Second || waits[15] != longestLag {
		t.Error(waits)
	}
	for i := range 3 * mostIDs {
		b.failed(fmt.Sprint("id ", i))
	}
	if len(b.of) > mostIDs+1 {
		t.Errorf("%d ids are kept in memory", len(b.of))
	}
	if b.wait("one more") == 0 {
		t.Error("whoever tries very many ids is not slowed")
	}
}

// Guessing from one computer is slowed whatever ids are tried, and the code of an inspector
// as well; it is not shut out for longer than a minute.
func TestGuessingIsSlowedByComputer(t *testing.T) {
	s := newSite(t)
	c := s.caller()
	codes := map[int]int{}
	for i := range callerFree + 5 {
		r := c.post("/sign-in", "person", fmt.Sprint("somebody-", i), "passphrase", "a guess")
		codes[r.code]++
	}
	if codes[http.StatusUnauthorized] != callerFree || codes[http.StatusTooManyRequests] != 5 {
		t.Errorf("%v, expected %d guesses before it is slowed", codes, callerFree)
	}
	if r := c.post("/inspect", "code", "aaaa-aaaa-aaaa"); r.code != http.StatusTooManyRequests {
		t.Errorf("a code is still tried: %d", r.code)
	}
	s.clock.move(callerLag)
	s.as("lea")
	if r := c.post("/sign-in", "person", "somebody-else", "passphrase", "a guess"); r.code != http.StatusUnauthorized {
		t.Errorf("after a sign-in that fits: %d", r.code)
	}
}

// An id that nobody has takes as long as one that somebody has: the key of a person is
// opened with as many rounds as are spent on nobody.
func TestAnswersTakeAsLong(t *testing.T) {
	const many = 60_000
	s := newSiteOf(t, many, func(o *Options) { o.Rounds = many })
	middle := func(id string) time.Duration {
		var all []time.Duration
		for range 7 {
			s.desk.brake, s.desk.callers = newBrake(s.clock.now), newCallers(s.clock.now)
			before := computed()
			s.caller().post("/sign-in", "person", id, "passphrase", "a guess")
			all = append(all, computed()-before)
		}
		slices.Sort(all)
		return all[len(all)/2]
	}
	there, nobody := middle("lea"), middle("nobody-at-all")
	t.Logf("%s for somebody, %s for nobody", there, nobody)
	if there > 2*nobody || nobody > 2*there {
		t.Errorf("%s for somebody, %s for nobody: it shows who is here", there, nobody)
	}
}
