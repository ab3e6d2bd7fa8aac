package parse

import (
	"fmt"
	"strings"
	"testing"

	"holdproof/parse/cycle"
)

// faultsOf returns the number of each cycle and what its recorder said of faults.
func faultsOf(in string) string {
	cycles, bad := readAll("x.csv", in, Options{})
	var out []string
	for _, c := range cycles {
		s := c.Header.Number
		for _, st := range c.Header.Statements {
			if st.Says == cycle.SaysFault {
				s += fmt.Sprintf(" (%d %s)", st.Line, st.Text)
			}
		}
		out = append(out, s)
	}
	if bad != nil {
		out = append(out, bad.Error())
	}
	return strings.Join(out, "; ")
}

// A fault below the readings belongs to the cycle above it, whatever stands between
// that no preamble needs.
func TestFaultsBelowReadings(t *testing.T) {
	const h = "time,chamber [°C],load [°C]\n"
	rows := minutes(11, 8, 0, 2, ",20.0")
	next := "Cycle No,8\n" + h + minutes(11, 9, 0, 2, ",20.0")
	for _, c := range []struct{ why, in, want string }{
		{"below the operator", "Cycle No,7\n" + h + rows + "Operator,N. N.\nResult,FAIL\n" + next, "7 (6 Result,FAIL); 8"},
		{"below a largest temperature", "Cycle No,7\n" + h + rows + "Max temperature: 135.5\nCycle failed\n\n" + next, "7 (6 Cycle failed); 8"},
		{"below the date of printing", "Cycle No,7\n" + h + rows + "Date printed: 2026-03-12\nResult: FAIL\n" + next, "7 (6 Result: FAIL); 8"},
		{"below a key of the next preamble", "Cycle No,7\n" + h + rows + "Programme,134\nFault,4\n" + next, "7; 8 (6 Fault,4)"},
		{"below what the file began with", "Site,Quay\nCycle No,7\n" + h + rows + "Site,Quay\nFault,4\n" + next, "7; 8 (7 Fault,4)"},
		{"in a row with its time and all cells", "Cycle No,7\n" + h + rows + "2026-03-11T08:02:00,ALARM 12,\n" + next, "7 (5 ALARM 12); 8"},
		{"a word for no value is none", "Cycle No,7\n" + h + rows + "2026-03-11T08:02:00,open,--\n" + next, "7; 8"},
		{"at a load probe, beside a temperature", "Cycle No,7\n" + h + rows + "2026-03-11T08:02:00,20.1,error\n" + next, "7; 8"},
	} {
		if got := faultsOf(c.in); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.why, got, c.want)
		}
	}
}

// Sterilizzazione, stérilisation, esterilización and sterylizacja are feminine, and
// so are the words that recorders put behind them.
func TestFaultsOfFeminineWords(t *testing.T) {
	for _, text := range []string{"Sterilizzazione non riuscita", "Sterilizzazione interrotta", "Stérilisation non réussie", "Stérilisation échouée",
		"Esterilización no válida", "Esterilización interrumpida", "Sterylizacja nieudana", "Sterylizacja przerwana", "Narzędzia niesterylne",
		"nicht i.O.", "n.o.k.", "ciclo non valido", "cycle non valide", "cykl nieprawidłowy", "mancanza corrente", "Ciclo incompleto"} {
		if got, _ := says(text); got != cycle.SaysFault {
			t.Errorf("%q: %v, want a fault", text, got)
		}
	}
}
