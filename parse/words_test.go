package parse

import (
	"fmt"
	"strings"
	"testing"

	"holdproof/parse/cycle"
)

func TestLabels(t *testing.T) {
	for _, c := range []struct {
		text    string
		numbers string
		seconds string
		kind    string
	}{
		{"134 B", "[{134 }]", "[]", ""},
		{"134C UNIV", "[{134 C}]", "[]", ""},
		{"Wrapped 121°C", "[{121 C}]", "[]", ""},
		{"270F", "[{270 F}]", "[]", ""},
		{"275 °F", "[{275 F}]", "[]", ""},
		{"250F gravity", "[{250 F}]", "[]", ""},
		{"134 long 18 min", "[{134 }]", "[1080]", ""},
		{"134 18'", "[{134 }]", "[1080]", ""},
		{"B134 3.5 min", "[{134 }]", "[210]", ""},
		{"134 °C, 3,5 min", "[{134 C}]", "[210]", ""},
		{"134 3 min 30 s", "[{134 }]", "[210]", ""},
		{"134 3:30 min", "[{134 }]", "[210]", ""},
		{"134 for 210 s", "[{134 }]", "[210]", ""},
		{"134 drying 20 min", "[{134 }]", "[]", ""},
		{"134 20 min drying", "[{134 }]", "[]", ""},
		{"134 5 min dry 20 min", "[{134 }]", "[300]", ""},
		{"134 5 min, 20 min Trocknung", "[{134 }]", "[300]", ""},
		{"134 5 min 20 min", "[{134 }]", "[300 1200]", ""},
		{"134 séchage: 20 min", "[{134 }]", "[]", ""},
		{"134 suszenie 10 minut", "[{134 }]", "[]", ""},
		{"121 textiles", "[{121 }]", "[]", ""},
		{"134.5", "[{134.5 }]", "[]", ""},
		{"1345", "[{1345 }]", "[]", ""},
		{"program 7 134", "[{7 } {134 }]", "[]", ""},
		{"Helix", "[]", "[]", "steam penetration test"},
		{"HELIX/BD 134", "[{134 }]", "[]", "steam penetration test"},
		{"Bowie & Dick", "[]", "[]", "steam penetration test"},
		{"Dampfdurchdringungstest", "[]", "[]", "steam penetration test"},
		{"Test de pénétration", "[]", "[]", "steam penetration test"},
		{"Vacuum test", "[]", "[]", "air leakage test"},
		{"Vakuumtest", "[]", "[]", "air leakage test"},
		{"LEAK", "[]", "[]", "air leakage test"},
		{"Test de vide", "[]", "[]", "air leakage test"},
		{"Prueba de vacío", "[]", "[]", "air leakage test"},
		{"Prova di vuoto", "[]", "[]", "air leakage test"},
		{"Test szczelności", "[]", "[]", "air leakage test"},
		{"Vacuum drying 134", "[{134 }]", "[]", ""},
		{"bleak", "[]", "[]", ""},
		{"Automatic control test", "[]", "[]", "control test"},
		{"Ciclo di controllo", "[]", "[]", "control test"},
		{"", "[]", "[]", ""},
	} {
		l := label(c.text, 1)
		if got := fmt.Sprint(l.Numbers); got != c.numbers {
			t.Errorf("%q: numbers %s, want %s", c.text, got, c.numbers)
		}
		if got := fmt.Sprint(l.Durations); got != c.seconds {
			t.Errorf("%q: seconds %s, want %s", c.text, got, c.seconds)
		}
		if l.Kind.String() != c.kind {
			t.Errorf("%q: kind %q, want %q", c.text, l.Kind, c.kind)
		}
	}
}

// A length of time beside a word for drying, cooling or pulses is counted, not kept.
func TestOtherDurations(t *testing.T) {
	for text, want := range map[string]int{
		"134 18 min": 0, "134 drying 20 min": 1, "134 5 min dry 20 min": 1, "134 18 min, drying: 10 min": 1, "134 4 min 3 pulses": 0, "134 5 min 20 min": 0,
	} {
		if got := label(text, 1).Others; got != want {
			t.Errorf("%q: %d others, want %d", text, got, want)
		}
	}
}

// Any label: no panic, and every number and duration stands in it.
func FuzzLabel(f *testing.F) {
	for _, s := range []string{"134 B", "134C UNIV", "275 °F", "134 long 18 min", "134 3:30 min", "134 5 min dry 20 min", "Helix", "Prueba de vacío", "18'", "1.2.3", "٣٤", "\xff134"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l := label(s, 1)
		if len(l.Numbers)+len(l.Durations) > 0 && !strings.ContainsAny(s, "0123456789") {
			t.Errorf("%q: %v", s, l)
		}
		for _, n := range l.Numbers {
			if n.Value < 0 || n.Value > 1e16 {
				t.Errorf("%q: %v", s, l)
			}
		}
		for _, d := range l.Durations {
			if !(d >= 0 && d < 1e6) {
				t.Errorf("%q: %v", s, l)
			}
		}
	})
}

func TestWhatRecordersSay(t *testing.T) {
	fault, done, unknown := cycle.SaysFault, cycle.SaysCompleted, cycle.SaysUnknown
	for _, c := range []struct {
		text string
		want cycle.Says
	}{
		{"Fault 12", fault}, {"ABORTED", fault}, {"Cycle aborted by user", fault}, {"Failed", fault}, {"failure of pump", fault}, {"Incomplete", fault},
		{"error E04", fault}, {"ALARM: door", fault}, {"Cancelled", fault}, {"canceled", fault}, {"Interrupted", fault}, {"stopped", fault}, {"unsuccessful", fault},
		{"not sterile", fault}, {"NOT COMPLETED", fault}, {"not passed", fault}, {"not ok", fault}, {"NOK", fault}, {"power loss", fault},
		{"Abbruch", fault}, {"Störung 7", fault}, {"Temperaturfehler", fault}, {"nicht steril", fault}, {"Stromausfall", fault},
		{"Défaut capteur", fault}, {"non stérile", fault}, {"coupure de courant", fault}, {"Annulé", fault},
		{"Fallo de corriente", fault}, {"no estéril", fault}, {"abortado", fault}, {"Errore 3", fault}, {"non completato", fault}, {"interrotto", fault},
		{"Błąd 5", fault}, {"nie zakończony", fault}, {"przerwano", fault}, {"brak zasilania", fault},
		{"Cycle completed", done}, {"Passed", done}, {"OK", done}, {"End of cycle", done}, {"Programm beendet", done}, {"Cycle terminé", done}, {"Ciclo completado", done}, {"Cykl zakończony", done},
		{"no fault", done}, {"without error", done}, {"ohne Störung", done}, {"sans défaut", done}, {"sin errores", done}, {"senza errori", done}, {"bez błędu", done},
		{"faults: 0", done}, {"Alarms none", done}, {"error: -", done}, {"Alarm --", done}, {"errors: no", done}, {"fault ok", done}, {"Fehler: keine", done}, {"Alarm: 000", done},
		{"completed with fault 3", fault}, {"no fault; door alarm", fault},
		{"last fault: E04", unknown}, {"faults since service: 3", unknown}, {"previous cycle aborted", unknown}, {"total errors 12", unknown},
		{"faulty", unknown}, {"Fo 22.1 min", unknown}, {"Herr Fehlerich", unknown}, {"fehlerfrei", unknown}, {"", unknown},
	} {
		if got, _ := says(c.text); got != c.want {
			t.Errorf("%q: %v, want %v", c.text, got, c.want)
		}
	}
	for value, want := range map[string]bool{"": false, "0": false, "none": false, "no": false, "OK": false, "-": false, " — ": false, "00": false, "keine": false,
		"E04": true, "12": true, "door": true, "yes": true, "no water": true, "?": true} {
		if got := faultValue(value); got != want {
			t.Errorf("under a heading for faults, %q: %v, want %v", value, got, want)
		}
	}
}

func statements(h cycle.Header) string {
	var out []string
	for _, s := range h.Statements {
		out = append(out, fmt.Sprintf("%d %s %d", s.Line, s.Text, s.Says))
	}
	return strings.Join(out, "; ")
}

func TestStatements(t *testing.T) {
	const f, d, u = cycle.SaysFault, cycle.SaysCompleted, cycle.SaysUnknown
	for _, c := range []struct{ why, in, want string }{
		{"nothing said", head + row0 + row1, ""},
		{"site and operator are no statements", "Site: Quay\nOperator: N. Fault-Moore\n" + head + row0 + row1, ""},
		{"a result before the readings", "Result: passed\n" + head + row0, fmt.Sprintf("1 Result: passed %d", d)},
		{"a fault before the readings", "Fault: door\n" + head + row0, fmt.Sprintf("1 Fault: door %d", f)},
		{"a fault with its number", head + row0 + row1 + "Fault 12: 0\n", fmt.Sprintf("4 Fault 12: 0 %d", f)},
		{"a fault with its place", head + row0 + row1 + "Aborted at step: 0\n", fmt.Sprintf("4 Aborted at step: 0 %d", f)},
		{"a count of faults", head + row0 + row1 + "Fault code: 0\n", fmt.Sprintf("4 Fault code: 0 %d", d)},
		{"no fault before the readings", "Fault: none\n" + head + row0, fmt.Sprintf("1 Fault: none %d", d)},
		{"a line that is no pair says a fault", "CYCLE ABORTED\n" + head + row0, fmt.Sprintf("1 CYCLE ABORTED %d", f)},
		{"a line nobody knows before the readings", "Tern Quay Surgery\n" + head + row0, ""},
		{"footers", head + row0 + "End of cycle\nFo value,22.1\nStatus,Fault 3\n", fmt.Sprintf("3 End of cycle %d; 4 Fo value,22.1 %d; 5 Status,Fault 3 %d", d, u, f)},
		{"largest values under the readings", head + row0 + row1 + "Max,135.6,316\n", fmt.Sprintf("4 Max,135.6,316 %d", u)},
		{"a line of dashes under the readings", head + row0 + row1 + "-----,,\n---,---,---\n------------\nCycle aborted\n", fmt.Sprintf("7 Cycle aborted %d", f)},
		{"a note among the readings", head + row0 + "door opened\n" + row1, fmt.Sprintf("3 door opened %d", u)},
		{"an event with a time", head + row0 + "2026-03-11T08:14:03,Sterilising\n" + row1, fmt.Sprintf("3 2026-03-11T08:14:03,Sterilising %d", u)},
		{"a status column", "time,chamber [°C],status\n2026-03-11T08:14:03,20,heating\n2026-03-11T08:14:04,20,Abort\n2026-03-11T08:14:05,20,Abort\n", fmt.Sprintf("3 status: Abort %d", f)},
		{"an alarm column", "time,chamber [°C],alarm\n2026-03-11T08:14:03,20,0\n2026-03-11T08:14:04,20,17\n2026-03-11T08:14:05,20,0\n", fmt.Sprintf("2 alarm: 0 %d; 3 alarm: 17 %d; 4 alarm: 0 %d", d, f, d)},
		{"a column nobody knows", "time,chamber [°C],X\n2026-03-11T08:14:03,20,idle\n2026-03-11T08:14:04,20,power loss\n", fmt.Sprintf("3 X: power loss %d", f)},
		{"a preamble that no heading follows", head + row0 + row1 + "Operator: N. N.\nCycle aborted\n", fmt.Sprintf("5 Cycle aborted %d", f)},
	} {
		cycles, bad := readAll("x.csv", c.in, Options{})
		if bad != nil || len(cycles) != 1 || cycles[0].Record == nil {
			t.Errorf("%s: %v %v", c.why, cycles, bad)
			continue
		}
		if got := statements(cycles[0].Record.Header()); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.why, got, c.want)
		}
	}
}

func TestKeys(t *testing.T) {
	for _, c := range []struct {
		in    string
		key   key
		value string
	}{
		{"Serial No: 0417", keySerial, "0417"}, {"Serial No;0417", keySerial, "0417"}, {"Seriennummer;TQ-0417;;", keySerial, "TQ-0417"},
		{"Cycle: 73", keyNumber, "73"}, {"Cycle: 134 wrapped", keyProgramme, "134 wrapped"}, {"Cycle No.: A-73", keyNumber, "A-73"}, {"Charge: 1042", keyNumber, "1042"},
		{"Programme: 134", keyProgramme, "134"}, {"Typ cyklu: 134", keyProgramme, "134"}, {"Date: 11.03.2026", keyDate, "11.03.2026"},
		{"Start: 2026-03-11 08:14:03", keyStart, "2026-03-11 08:14:03"}, {"Start time;08:14:03", keyStart, "08:14:03"}, {"Datum/Uhrzeit: 11.03.2026 08:14", keyStart, "11.03.2026 08:14"},
		{"Start,2026-03-11 08:14:03", keyStart, "2026-03-11 08:14:03"}, {"Start date/time\t08:14", keyStart, "08:14"}, {"Site,Quay: 2", keyIgnored, "Quay: 2"},
		{"Beginn der Charge;11.03.2026 08:14", keyStart, "11.03.2026 08:14"}, {"Data rozpoczęcia;11.03.2026", keyStart, "11.03.2026"},
		{"Time: 08:14:03", keyTime, "08:14:03"}, {"Steriliser;B2", keySteriliser, "B2"}, {"Autoclave: Nr 2", keySteriliser, "Nr 2"},
		{"Operator: N. N.", keyIgnored, "N. N."}, {"Site;Tern Quay; Surgery", keyIgnored, "Tern Quay; Surgery"}, {"End: 08:50", keyLate, "08:50"},
		{"Result: passed", keyResult, "passed"}, {"Error code: E04", keyFault, "E04"}, {"Last error: E04", keyIgnored, "E04"},
		{"Tern Quay Surgery", keyNone, ""}, {"Fo value: 22", keyNone, "22"}, {"08:14:03;20.1", keyNone, ""}, {"", keyNone, ""}, {": x", keyNone, "x"},
	} {
		if k, v := keyOf(strings.Split(c.in, ";"), ";"); k != c.key || v != c.value {
			t.Errorf("%q: %v %q, want %v %q", c.in, k, v, c.key, c.value)
		}
	}
}
