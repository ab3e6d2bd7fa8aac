package cli

import (
	"encoding/base64"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
)

// demoRecords opens the logbook of the demonstration's week.
func demoRecords(t *testing.T) *surgery.Records {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "week")
	demoIn(t, dir, 1)
	s, err := readSettings(world(nil), filepath.Join(dir, configurationFile))
	if err != nil {
		t.Fatal(err)
	}
	now := func() time.Time { return time.Date(2026, 11, 9, 7, 0, 0, 0, time.UTC) }
	r, err := surgery.OpenRecords(t.Context(), dir, surgery.Settings{Value: s.value, File: s.file, Text: s.bytes}, surgery.World{Now: now, Rounds: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

// asked is a question, the beginning of its answer, and rows that the answer must have,
// each as its cells with a stroke between; a mark stands as its word in brackets.
type asked struct {
	number  int
	outcome string
	short   string
	rows    []string
	never   []string // no row begins so
}

// The answers to the week of the demonstration, written out by hand from what happened in
// it (see what its people did, and its recordings). All of it is invented.
var weekAsked = []asked{
	{1, "conforms", "Yes: 70 cycles of 2 machines. 1 thing stands out between the numbers or the times, and is explained. The machines’ own counters were entered 11 times, and 11 agree with what is recorded.", []string{
		"2 Nov 2026 | S1 | 1040 to 1049 | 9 cycles | (conforms) 1049, 17:18, as recorded | (conforms) Cycle 1048 is missing on S1, between 1047 (2 Nov 2026 14:11) and 1049 (2 Nov 2026 16:24). Explained by Tobin Averley, 2 Nov 2026 17:27: 1048 was stopped before it heated: the door was not closed to its end. The load went into 1049.",
		"2 Nov 2026 | S2 | 416 to 421 | 6 cycles | (conforms) 421, 17:19, as recorded | ",
		"7 Nov 2026 | S1 | 1076 to 1080 | 5 cycles | (conforms) 1080, 12:38, as recorded | ",
	}, []string{"7 Nov 2026 | S2", "8 Nov 2026"}},
	{2, "not proven", "", []string{
		"S1 · 1043 | 2 Nov 2026 09:12 | 134; en | (conforms) conforms | Junie Pascombe; examination sets, 8 packs, wrapped | released at the machine by Tobin Averley, 2 Nov 2026 09:36; released by Tobin Averley, 2 Nov 2026 09:36",
		"S1 · 1047 | 2 Nov 2026 14:11 | 134; en | (borderline) borderline | not entered | released by Edda Marlick with Tobin Averley, 2 Nov 2026 17:32",
		"S1 · 1041 | 2 Nov 2026 08:01 | 134; en | (conforms) conforms | steam penetration test | read as passed by Tobin Averley, 2 Nov 2026 08:51",
		"S2 · 419 | 2 Nov 2026 11:47 | 134; en | (not proven) not proven | Junie Pascombe; surgical sets, 3 packs, wrapped | rejected at the machine by Tobin Averley, 2 Nov 2026 12:12; sent back to be processed again by Tobin Averley, 2 Nov 2026 17:28, and run again as S2 · 420",
	}, nil},
	{3, "not proven", "No. The tests passed before the first load on 10 of 11 days of use of a machine; 4 of 7 days are signed to the end.", []string{
		"2 Nov 2026 | S1 | (conforms) Yes: steam penetration test passed, control test passed, air leakage test passed | (conforms) prepared by Tobin Averley, 2 Nov 2026 17:45; reviewed by Edda Marlick, 2 Nov 2026 17:55; signed with something missing: The control test of S2 was forgotten",
		"2 Nov 2026 | S2 | (not proven) No: control test missing | (conforms) prepared by Tobin Averley, 2 Nov 2026 17:45; reviewed by Edda Marlick, 2 Nov 2026 17:55; signed with something missing: The control test of S2 was forgotten",
		"3 Nov 2026 | S2 | (conforms) Yes: steam penetration test passed, control test passed | (conforms) prepared by Tobin Averley, 4 Nov 2026 15:22; reviewed by Edda Marlick, 4 Nov 2026 15:32; revision 2",
		"6 Nov 2026 | S1 | (conforms) Yes: steam penetration test passed, control test passed | (not proven) prepared by Junie Pascombe, 6 Nov 2026 17:05; waits for the second signature",
		"7 Nov 2026 | S1 | (conforms) Yes: steam penetration test passed, control test passed | (not proven) not signed",
		"8 Nov 2026 |  | no load | (not proven) not signed",
	}, nil},
	{4, "not proven", "On 8 Nov 2026 2 things are open or overdue: seal and interlock tested, S1; seal and interlock tested, S2. Of 2 things no entry was made yet.", []string{
		"Seal and interlock tested | S1 | every 5 days | 2 Nov 2026, Tobin Averley | 7 Nov 2026 | (not proven) overdue; closed: Closed on Sundays.",
		"Leak test read | S1 | every 7 days | 2 Nov 2026, Tobin Averley | 9 Nov 2026 | (conforms) not due",
		"Leak test read | S2 | every 7 days | 4 Nov 2026, Tobin Averley | 11 Nov 2026 | (conforms) not due",
		"Clock checked | S1 | every 7 days | 2 Nov 2026, Tobin Averley | 9 Nov 2026 | (conforms) not due",
		"Engineer's visit | S2 | every 3 months | 4 Nov 2026, Tobin Averley | 4 Feb 2027 | (conforms) not due",
		"Engineer's visit | S1 | every 3 months | never entered | 2 Feb 2027 | (not assessed) never entered",
		"Water count read | chair 1 | every 3 months | 6 Nov 2026, Tobin Averley | 6 Feb 2027 | (conforms) not due",
		"Water count read | chair 2 | every 3 months | never entered | 2 Feb 2027 | (not assessed) never entered",
		"Validation | S1 | every 12 months | 9 Jan 2026, Edda Marlick | 9 Jan 2027 | (conforms) not due",
		"Pressure vessel examined | S1 | every 14 months | 17 Feb 2026, Edda Marlick | 17 Apr 2027 | (conforms) not due",
	}, []string{"Penetration test read", "Control test read", "Water lines rinsed"}}, // those are of each day
	{5, "", "S1: 40 cycles (27 loads, 13 tests): 2 failed, 2 borderline, 36 conform. S2: 30 cycles (20 loads, 10 tests): 1 failed, 1 not proven, 28 conform.", []string{
		"S1 | 1040 to 1080 | 27 | 13 | 2 failed, 2 borderline, 36 conform | 23 | 3 | 6 | 6 of 6 | 0",
		"S2 | 416 to 445 | 20 | 10 | 1 failed, 1 not proven, 28 conform | 17 | 0 | 5 | 4 of 5 | 0",
	}, nil},
	{6, "not proven", "3 failed, 1 not proven, 2 borderline; of 1 of them nothing was entered. 3 days are not signed to the end.", []string{
		"S1 · 1045 | 2 Nov 2026 11:20 | (failed) failed | Held 134 to 137 °C for 162.1 s (2 min 42 s) at one stretch, needs 180 s (3 min) | sent back to be processed again by Tobin Averley, 2 Nov 2026 12:27, and run again as S1 · 1046",
		"S2 · 425 | 3 Nov 2026 10:14 | (failed) failed | Held 134 to 137 °C for 0.0 s at one stretch, needs 180 s (3 min) | released at the machine by Tobin Averley, 3 Nov 2026 10:38; recall closed by Edda Marlick, 4 Nov 2026 08:55: " +
			"S2-425, pack 1: found sealed in the drawer of chair 1, packed anew; S2-425, pack 2: found sealed in the store, packed anew; S2-425, pack 3: used at chair 2 on 3 Nov 2026 at 14:20; the practitioner in charge was told at 17:40 and decides what follows; " +
			"sent back to be processed again by Tobin Averley, 4 Nov 2026 15:05, and run again as S2 · 431",
		"S1 · 1079 | 7 Nov 2026 10:33 | (borderline) borderline | Held 134 to 137 °C for 181.0 s (3 min 1 s) at one stretch, needs 180 s (3 min); only 179.0 s (2 min 59 s) if the sensors read as wrong as they may | put in quarantine by Junie Pascombe, 7 Nov 2026 11:02",
		"S1 · 1080 | 7 Nov 2026 11:46 | (failed) failed | Held 134 to 137 °C for 154.2 s (2 min 34 s) at one stretch, needs 180 s (3 min) | Nothing was entered.",
		"6 Nov 2026 | 13 cycles | (not proven) not signed | Prepared by Junie Pascombe, 6 Nov 2026 17:05; waits for the second signature. | ",
		"7 Nov 2026 | 5 cycles | (not proven) not signed | Not signed. | ",
		"8 Nov 2026 | 0 cycles | (not proven) not signed | Not signed. | ",
	}, []string{"S1 · 1046", "S1 · 1078", "5 Nov 2026"}},
	{7, "conforms", "No test was bad in this time; 23 tests were run.", []string{
		"S1 | steam penetration test | S1 · 1076, 7 Nov 2026 08:02 | 3",
		"S1 | air leakage test | S1 · 1040, 2 Nov 2026 07:34 | 27",
		"S2 | control test | S2 · 441, 6 Nov 2026 08:13 | 4",
	}, nil},
	{8, "", "On 8 Nov 2026: Edda Marlick: operate, release, lead; Junie Pascombe: operate; Tobin Averley: operate, release.", []string{
		"Edda Marlick | lead | 2 Nov 2026 | open", "Junie Pascombe | operate | 2 Nov 2026 | open", "Tobin Averley | release | 2 Nov 2026 | open",
	}, []string{"Junie Pascombe | release"}},
	{9, "", "", []string{
		"the period | chair 1 | 12 times, on 6 of 6 days of use | 40 times | on 6 of 6 days | 10 to 11 min | 40 CFU/mL, 6 Nov 2026; passed",
		"the period | chair 2 | 12 times, on 6 of 6 days of use | 38 times | on 6 of 6 days | 10 to 11 min | no count is recorded",
		"2 Nov 2026 | chair 1 | (conforms) 2 | 7 | (conforms) 1 time | 10 min | ",
		"3 Nov 2026 | chair 2 | (conforms) 2 | 8 | (conforms) 1 time | 11 min | ",
		"6 Nov 2026 | chair 1 | (conforms) 2 | 7 | (conforms) 1 time | 10 min | 40 CFU/mL, 6 Nov 2026; passed",
	}, []string{"8 Nov 2026"}},
	{10, "conforms", "Yes: 2 entries came after signing, and later revisions hold them. 1 entry was corrected before the day was signed.", []string{
		"3 Nov 2026 | Recall of S2 · 425 | followed | closed | Edda Marlick, 4 Nov 2026 08:55 | All packs are found. | after it was signed, in revision 2",
		"3 Nov 2026 | Decision on S2 · 425 |  | sent for reprocessing | Tobin Averley, 4 Nov 2026 15:05 | Packs 1 and 2 were run again. | after it was signed, in revision 2",
		"5 Nov 2026 | Cycle counter, S1 | 1086 cycles | 1068 cycles | Junie Pascombe, 5 Nov 2026 17:21 | Typed 1086. The display says 1068. | before it was signed",
	}, nil},
	{11, "not assessed", "The logbook holds ", nil, nil},
	{12, "conforms", "1 closed day; a machine was out of service once.", []string{
		"4 Nov 2026 13:05 to 4 Nov 2026 15:10 | S2 | out of service | Until its load probe has been looked at. The surgery sees nobody this afternoon. | Tobin Averley",
		"8 Nov 2026 | the surgery | closed | Closed on Sundays. | Junie Pascombe",
	}, nil},
}

func TestInspectorsQuestions(t *testing.T) {
	r := demoRecords(t)
	all, err := r.Replies(t.Context(), "2026-11-02", "2026-11-08", "")
	if err != nil || len(all) != 12 {
		t.Fatalf("%d answers, %v", len(all), err)
	}
	for _, want := range weekAsked {
		got := all[want.number-1]
		if got.Number != want.number || got.Question == "" || want.outcome != "" && got.Outcome.String() != want.outcome || !strings.HasPrefix(got.Short, want.short) || got.Short == "" {
			t.Errorf("question %d: [%s] %s\nexpected [%s] %s", want.number, got.Outcome, got.Short, want.outcome, want.short)
		}
		var rows []string
		for _, row := range got.Rows {
			var cells []string
			for _, c := range row {
				if c.Marked {
					c.Text = "(" + c.Outcome.String() + ") " + c.Text
				}
				cells = append(cells, c.Text)
			}
			if len(row) != len(got.Columns) {
				t.Errorf("question %d: %d cells in %d columns: %q", want.number, len(row), len(got.Columns), cells)
			}
			rows = append(rows, strings.Join(cells, " | "))
		}
		for _, row := range want.rows {
			if !slices.Contains(rows, row) {
				t.Errorf("question %d has no row\n%s\nin\n%s", want.number, row, strings.Join(rows, "\n"))
			}
		}
		for _, row := range rows {
			if slices.ContainsFunc(want.never, func(begin string) bool { return strings.HasPrefix(row, begin) }) {
				t.Errorf("question %d has a row that should not be there: %s", want.number, row)
			}
		}
	}
	root := all[10].Rows[0][3].Text
	if b, err := base64.StdEncoding.DecodeString(root); err != nil || len(b) != 32 || strings.Contains(all[10].Short, root) {
		t.Errorf("the root is %q", root)
	}
	if record := all[10].Rows[1]; record[1].To.Kind != "record" || record[1].To.ID != "2026-11-02.pdf" || len(record[3].Text) != 64 {
		t.Errorf("the first signed record is %+v", record)
	}
}

// A day is answered cycle by cycle, half a year by month with every exception; the same
// question gives the same answer each time.
func TestGrainOfAnswers(t *testing.T) {
	r := demoRecords(t)
	day, err := r.Replies(t.Context(), "2026-11-02", "2026-11-02", "S1")
	if err != nil {
		t.Fatal(err)
	}
	var numbers []string
	for _, row := range day[0].Rows {
		numbers = append(numbers, row[0].Text)
	}
	if got := strings.Join(numbers, ", "); got != "S1 · 1040, S1 · 1041, S1 · 1042, S1 · 1043, S1 · 1044, S1 · 1045, S1 · 1046, S1 · 1047, S1, S1 · 1049, S1" {
		t.Errorf("in the order of numbers, with the gap in its place and the counter at the end: %s", got)
	}
	long, err := r.Replies(t.Context(), "2026-05-01", "2026-11-08", "")
	if err != nil {
		t.Fatal(err)
	}
	// Six months with leak tests of S1, and November of two machines.
	if first := long[0]; len(first.Rows) != 6+2 || first.Rows[6][0].Text != "November 2026" || first.Rows[6][0].To.Kind != "month" || first.Rows[6][0].To.ID != "2026-11" {
		t.Errorf("half a year: %+v", first.Rows)
	}
	if bad := long[5]; !slices.ContainsFunc(bad.Rows, func(row []surgery.Cell) bool {
		return row[0].To.ID == "S1-20261102-112016" && row[0].To.Day == "2026-11-02"
	}) {
		t.Errorf("half a year leaves out an exception: %+v", bad.Rows)
	}
	again, err := r.Replies(t.Context(), "2026-05-01", "2026-11-08", "")
	if err != nil || len(again) != len(long) {
		t.Fatal(err)
	}
	for i := range again {
		if again[i].Short != long[i].Short || len(again[i].Rows) != len(long[i].Rows) {
			t.Errorf("question %d is answered otherwise the second time", i+1)
		}
	}
	for _, p := range [][2]string{{"2026-11-08", "2026-11-02"}, {"", "2026-11-02"}, {"2026-11-31", "2026-12-02"}} {
		if _, err := r.Replies(t.Context(), p[0], p[1], ""); err == nil {
			t.Errorf("the period %v is answered", p)
		}
	}
}

// Asked about one machine, what was changed on the other after signing is not answered.
func TestChangesOfOneMachine(t *testing.T) {
	r := demoRecords(t)
	for machine, want := range map[string]string{
		"S1": "No. 1 entry was corrected before the day was signed.",
		"S2": "Yes: 2 entries came after signing, and later revisions hold them.",
	} {
		all, err := r.Replies(t.Context(), "2026-11-02", "2026-11-08", machine)
		if err != nil {
			t.Fatal(err)
		}
		if got := all[9]; got.Short != want {
			t.Errorf("%s: %s\nexpected %s\n%+v", machine, got.Short, want, got.Rows)
		}
	}
}
