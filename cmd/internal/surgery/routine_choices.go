package surgery

import (
	"fmt"
	"slices"
	"strings"

	"holdproof/validate/routine"
)

// RoutineChoice is a routine that a site can follow, in a line.
type RoutineChoice struct {
	Name  string // as the settings have it
	Title string // as people say it
	Tests string // what tests it owes, and how often
	From  string // the documents behind it, each with how sure that is
}

// RoutineChoices are all that there are, in order of the alphabet.
func RoutineChoices() []RoutineChoice {
	var out []RoutineChoice
	for _, name := range routine.Names() {
		r, _ := routine.Named(name)
		c := RoutineChoice{Name: name, Title: routineTitle(name)}
		var tests, from []string
		for _, l := range r.Lines {
			if kind := testWords[l.Duty]; kind != "" {
				tests = append(tests, kind+" "+often(l))
			}
			for _, s := range [][2]string{{l.Source, l.Sure}, {l.LimitSource, l.LimitSure}} {
				words := fmt.Sprintf("%s (%s)", s[0], s[1])
				if s[0] != "" && !strings.HasPrefix(s[0], "common practice") && !slices.Contains(from, words) {
					from = append(from, words)
				}
			}
		}
		c.Tests, c.From = strings.Join(tests, ", "), strings.Join(from, "; ")
		if name == routine.Own {
			c.Tests += "; to be changed line by line"
		}
		out = append(out, c)
	}
	return out
}

// testWords are the tests that tell routines apart.
var testWords = map[string]string{dutyControl: "control test", dutyPenetration: "penetration test", dutyLeak: "leak test", "spore test read": "spore test"}

// often says how often a line is owed, and on which machines where it matters.
func often(l routine.Line) string {
	out := "every " + l.Every.String()
	switch l.Every.Days {
	case 1:
		out = "each day"
	case 7:
		out = "each week"
	}
	if strings.HasSuffix(l.Per, "with air detector") {
		out += " with an air detector"
	}
	return out
}

func routineTitle(name string) string {
	if name == routine.Own {
		return "my own"
	}
	words := strings.Split(name, "-")
	for i, w := range words {
		words[i] = capital(w)
	}
	return strings.Join(words, " ")
}
