package parse

import (
	"io"
	"strings"
	"testing"
)

// A heading over two lines reads as one line with the units in it.
func TestUnitsBelow(t *testing.T) {
	const rows = "2026-11-02 08:14:03;20.1;19.8;1.01\n2026-11-02 08:14:04;20.2;19.9;1.02\n"
	one := oneRecord(t, "Time;Chamber temp [°C];Load temp [°C];Pressure [bar abs]\n"+rows)
	for _, head := range []string{
		"Time;Chamber temp;Load temp;Pressure\n;°C;°C;bar abs\n",
		"Time;Chamber temp;Load temp;Pressure\n;[°C];[°C];[bar abs]\n",
		"Time;Chamber temp [°C];Load temp;Pressure\n;;(degC);(bar a)\n",
	} {
		got := oneRecord(t, head+rows)
		a, b := one.Readings(), got.Readings()
		if got.Len() != 2 || b.Pressure == nil || b.Pressure.KPa[1] != a.Pressure.KPa[1] || b.Pressure.Reference != a.Pressure.Reference ||
			len(b.Channels) != 2 || b.Channels[0].Role != a.Channels[0].Role || b.Channels[1].Role != a.Channels[1].Role {
			t.Errorf("%s\ncame to %+v, expected %+v", head, b, a)
		}
	}
}

// The two lines again among the readings do not end the cycle; new readings behind them
// after a pause begin another.
func TestUnitsBelowRepeated(t *testing.T) {
	const head = "Time;Chamber temp;Pressure\n;°C;kPa abs\n"
	text := head + "2026-11-02 08:14:03;20.1;101\n" + head + "2026-11-02 08:14:04;20.2;101\n" + head + "2026-11-02 09:14:04;20.2;101\n"
	r, err := Open("a.csv", strings.NewReader(text), Options{})
	if err != nil {
		t.Fatal(err)
	}
	var lengths []int
	for {
		c, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil || c.Record == nil {
			t.Fatal(err, c.Problems)
		}
		lengths = append(lengths, c.Record.Len())
	}
	if len(lengths) != 2 || lengths[0] != 2 || lengths[1] != 1 {
		t.Errorf("cycles of %v readings, expected 2 and 1", lengths)
	}
}

func TestNoUnitsBelow(t *testing.T) {
	headings := []string{"Time", "Chamber temp", "Pressure"}
	for _, second := range [][]string{
		{"", "", ""}, {"Fault", "", ""}, {"", "°C", "ok"}, {"", "", "", "kPa"}, {"08:14", "°C", "kPa"}, {"s"}, {"", "134", "kPa"}, {"°C Fault 12", "°C", "kPa"},
	} {
		if got, ok := withUnits(headings, second); ok {
			t.Errorf("%q was taken for units: %q", second, got)
		}
	}
}
