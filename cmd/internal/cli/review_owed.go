package cli

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"holdproof/cmd/internal/surgery"
)

// owed writes what the routine still owes today: a line a duty, by its time, then in one
// sentence what nobody ever entered.
func (p *page) owed(all surgery.Review) {
	todo, never := owedGroups(all.Owed, false), owedGroups(all.Owed, true)
	if len(todo) > 0 {
		p.line(span{"  Still to do today, " + personsDay(all.Today), strong})
		p.gap()
		when := ""
		for _, g := range todo {
			at := ""
			if g[0].When != when {
				when, at = g[0].When, g[0].When
			}
			p.para("  "+padded(at, 18), owedWords(g), plain)
		}
		p.gap()
	}
	if len(never) > 0 {
		var words []string
		for _, g := range never {
			words = append(words, g[0].Duty+placesOf(g)+" by "+personsDay(g[0].Next))
		}
		p.para("  Never entered:    ", strings.Join(words, "; ")+". Enter when each was last done, or do it by then.", plain)
		p.gap()
	}
}

// nothing says that nothing waits beside what is owed today.
func nothing(all surgery.Review) string {
	if len(owedGroups(all.Owed, false)) > 0 {
		return "Nothing else waits."
	}
	return "Nothing waits."
}

// owedGroups joins lines of one duty that stand alike.
func owedGroups(lines []surgery.Owed, never bool) [][]surgery.Owed {
	type same struct {
		duty, detail, next string
		state              surgery.OwedState
		before             surgery.OwedBefore
	}
	place := map[same]int{}
	var out [][]surgery.Owed
	for _, l := range lines {
		if never != (l.State == surgery.OwedNeverEntered) {
			continue
		}
		key := same{l.Duty, l.Detail, l.Next, l.State, l.Before}
		i, there := place[key]
		if !there {
			i = len(out)
			place[key], out = i, append(out, nil)
		}
		out[i] = append(out[i], l)
	}
	slices.SortStableFunc(out, func(a, b []surgery.Owed) int {
		return cmp.Compare(slices.Index(whens, a[0].When), slices.Index(whens, b[0].When))
	})
	return out
}

// whens are the times of a day, then those of a year.
var whens = []string{"start of day", "between patients", "by use", "end of day", "weekly", "quarterly", "yearly"}

func placesOf(g []surgery.Owed) string {
	var places []string
	for _, l := range g {
		if l.Where() != "" && !slices.Contains(places, l.Where()) {
			places = append(places, l.Where())
		}
	}
	if len(places) == 0 {
		return ""
	}
	return " (" + strings.Join(places, ", ") + ")"
}

func owedWords(g []surgery.Owed) string {
	l := g[0]
	name, words := l.Duty+placesOf(g), []string{}
	if l.State == surgery.OwedFailed {
		words = append(words, "failed")
	}
	if l.Detail != "" {
		words = append(words, l.Detail)
	}
	if !l.Daily() {
		words = append(words, "due today")
		if l.Last != "" {
			words = append(words, "last done "+personsDay(l.Last))
		}
	}
	if l.Before != surgery.OwedNoGate {
		words = append(words, l.Before.String())
	}
	if len(words) == 0 {
		return name
	}
	return name + ": " + strings.Join(words, ", ")
}

// owedJSON are the lines as other programs read them.
func owedJSON(lines []surgery.Owed) []map[string]any {
	out := []map[string]any{}
	for _, l := range lines {
		var at *string
		if !l.At.IsZero() {
			at = textOrNull(l.At.Format(time.RFC3339))
		}
		out = append(out, map[string]any{"duty": l.Duty, "what": l.What, "when": l.When, "steriliser": textOrNull(l.Steriliser), "place": textOrNull(l.Place),
			"state": l.State.String(), "before_first_load": textOrNull(l.Before.String()), "unit": textOrNull(l.Unit), "low": l.Low, "high": l.High,
			"due_by": textOrNull(l.Next), "last": textOrNull(l.Last), "last_by": textOrNull(l.LastByName), "at": at, "detail": textOrNull(l.Detail),
			"source": l.Source, "sure": l.Sure, "changed_because": textOrNull(l.Changed)})
	}
	return out
}
