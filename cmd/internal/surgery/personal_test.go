package surgery

import (
	"testing"
)

// Invented texts. The heuristic asks; what it misses and what it asks in vain are both
// here, so that a change of it shows.
func TestLooksPersonal(t *testing.T) {
	known := []string{"Tern", "Quay", "Mara", "Quill"}
	for text, want := range map[string]string{
		"":                                        "",
		"after Mrs Miller":                        "Mrs Miller",
		"für Frau Dr. Weber":                      "Frau Dr",
		"for patient Okafor":                      "patient Okafor",
		"Patient Anna Berg was next":              "Patient Anna Berg",
		"Anna Berg, room 2":                       "Anna Berg",
		"the set of John Smith":                   "John Smith",
		"John A. Smith":                           "John A. Smith",
		"Smith, John":                             "Smith, John",
		"implant of Weber, A.":                    "Weber, A",
		"dob 3.4.61":                              "dob 3.4.61",
		"born in 1961":                            "born in 1961",
		"geb. 03.04.1961":                         "geb. 03.04.1961",
		"03/04/1961, left lower jaw":              "03/04/1961",
		"1961-04-03":                              "1961-04-03",
		"3 April 1961":                            "3 April 1961",
		"certificate of 2026-01-10":               "", // of this year
		"Serviced on 12.03.2025 by the engineer":  "",
		"Mara Quill looked at it":                 "", // a member of the staff
		"Tern Quay line rinse":                    "",
		"Door seal replaced. Load probe seated":   "",
		"The Helix was dark along its length":     "",
		"Closed on Sundays. Christmas Eve":        "",
		"S1 · 1042 and 1043, L-9":                 "",
		"Load probe seated anew, Seal of S2 new":  "",
		"extraction sets, 5 packs, hollow":        "",
		"müller":                                  "", // small letters are not looked at
		"the load of 1045":                        "",
		"Packed anew and run again. New Machine.": "",
		"We found Miller's glove":                 "", // one name alone is not seen
	} {
		if got := looksPersonal(text, 2026, known); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
