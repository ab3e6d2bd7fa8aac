package surgery

import (
	"strings"
	"testing"

	"holdproof/report/logbook/entry"
)

// What a load holds says which both is meant, and counts one pack.
func TestLoadInWords(t *testing.T) {
	six, one := int64(6), int64(1)
	for want, of := range map[string]entry.Release{
		", handpieces, 6 packs, wrapped and hollow": loadOf("handpieces", &six, "both"),
		", 1 pack, wrapped":                         loadOf("", &one, "wrapped"),
		"":                                          loadOf("", nil, "neither"),
	} {
		if got := loadWords(of); got != want {
			t.Errorf("%q, expected %q", got, want)
		}
	}
}

func loadOf(contents string, packs *int64, wrapping string) entry.Release {
	var b entry.Release
	b.Load.Contents, b.Load.Count, b.Load.Wrapping = contents, packs, wrapping
	return b
}

// Cycles with the same readings are named as people name them, and times as people write them.
func TestBetweenCyclesInWords(t *testing.T) {
	r, at := staffed(t)
	at.at = evening
	two := cycleAt("8", "10:00:00")
	_, found := imported(t, r, exported(t, t.TempDir(), "a.csv", cycleAt("7", "08:00:00"), two), exported(t, t.TempDir(), "b.csv", cycleAt("11", "12:00:00")))
	if len(found) == 0 {
		t.Fatal("nothing was found between the cycles")
	}
	for _, f := range found {
		if strings.Contains(f.Message, "2026-") || strings.Contains(f.Message, "S1-2026") {
			t.Errorf("%s: %q holds a raw id or date", f.Check, f.Message)
		}
	}
}
