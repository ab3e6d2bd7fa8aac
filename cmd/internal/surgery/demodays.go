package surgery

import (
	"slices"

	"holdproof/report/logbook/entry"
)

// The places and products of the invented surgery. 3 % hydrogen peroxide for 10 min is
// common practice, no source; the product is invented.
const (
	lineRinse     = "Tern Quay line rinse (invented)"
	lineStrength  = "3 % hydrogen peroxide"
	suctionRinse  = "Tern Quay suction rinse (invented)"
	indicatorDark = "The strip turned dark along its whole length."
)

var demoChairs = []string{"chair 1", "chair 2"}

// opens is what is done before the first patient.
func (w *demoWeek) opens(clock, by string, machines ...string) []moment {
	var out []moment
	for _, m := range machines {
		out = append(out, w.note(clock, by, Noting{Duty: "reservoir filled", Steriliser: m, Outcome: "done"}),
			w.note(clock, by, Noting{Duty: "seal and chamber looked at", Steriliser: m, Outcome: "done"}))
	}
	two := 2.0
	for _, c := range demoChairs {
		out = append(out, w.note(clock, by, Noting{Duty: "water lines flushed", Place: c, Outcome: "done", Value: &two}),
			w.note(clock, by, Noting{Duty: "suction looked at", Place: c, Outcome: "done"}))
	}
	return out
}

// between is what was done between patients, counted up at the end of the day: loads is
// how many of them were looked at before they were packed, patients how many sat in each
// chair.
func (w *demoWeek) between(clock, by string, loads int, patients ...int) []moment {
	seconds := 25.0
	out := []moment{w.note(clock, by, Noting{Duty: "instruments inspected", Outcome: "done", Times: loads})}
	for i, c := range demoChairs {
		out = append(out, w.note(clock, by, Noting{Duty: dutyRinsed, Place: c, Outcome: "done", Value: &seconds, Times: patients[i]}),
			w.note(clock, by, Noting{Duty: "suction rinsed", Place: c, Outcome: "done", Times: patients[i]}))
	}
	return out
}

// examined enters from the papers of both machines what was done in the year before the
// logbook began. All of it is invented.
func (w *demoWeek) examined(clock, by string) []moment {
	const validation, vessel = dutyValidation, "pressure vessel examined"
	return []moment{
		w.note(clock, by, Noting{Duty: validation, Steriliser: "S1", Day: "2026-01-09", Outcome: "passed", Text: "Its sensors were calibrated, certificate C-11."}),
		w.note(clock, by, Noting{Duty: validation, Steriliser: "S2", Day: "2026-02-19", Outcome: "passed"}),
		w.note(clock, by, Noting{Duty: vessel, Steriliser: "S1", Day: "2026-02-17", Outcome: "passed"}),
		w.note(clock, by, Noting{Duty: vessel, Steriliser: "S2", Day: "2026-02-17", Outcome: "passed"}),
	}
}

// sporesIn puts the spores of a load and their control into incubation.
func (w *demoWeek) sporesIn(clock, by, load, in string, hours float64) moment {
	return w.note(clock, by, Noting{Duty: dutySporeIn, Cycle: load, From: w.at(w.day, in), Value: &hours})
}

// closes is what is done after the last patient: clock and in, out are local times.
func (w *demoWeek) closes(clock, in, out, by string, machines ...string) []moment {
	var list []moment
	two := 2.0
	for _, c := range demoChairs {
		list = append(list, w.note(clock, by, Noting{Duty: "water lines flushed at the end", Place: c, Outcome: "done", Value: &two}),
			w.note(out, by, Noting{Duty: dutyDisinfected, Place: c, Outcome: "done", Product: lineRinse, Strength: lineStrength,
				From: w.at(w.day, in), To: w.at(w.day, out)}),
			w.note(out, by, Noting{Duty: "suction disinfected", Place: c, Outcome: "done", Product: suctionRinse}))
	}
	for _, m := range machines {
		list = append(list, w.note(out, by, Noting{Duty: "steriliser drained", Steriliser: m, Outcome: "done"}))
	}
	return list
}

// counted is the machine's own counter.
func (w *demoWeek) counted(clock, by, machine string, n float64) moment {
	return w.note(clock, by, Noting{Duty: dutyCounter, Steriliser: machine, Value: &n})
}

// tested reads the tests of the morning on S1 when their records are there.
func (w *demoWeek) tested(clock, by, helix, control string) []moment {
	return []moment{
		{clock, func() error { return w.imports("S1-"+helix, "S1-"+control) }},
		w.note(clock, by, Noting{Duty: dutyPenetration, Cycle: "S1/" + helix, Outcome: "passed", Text: indicatorDark}),
		w.note(clock, by, Noting{Duty: dutyControl, Cycle: "S1/" + control, Outcome: "passed"}),
	}
}

// evening brings in the day of S2 and enters what its indicator showed in the morning.
func (w *demoWeek) evening(clock, by, helix, read string) []moment {
	return []moment{
		{clock, func() error { return w.imports("S2-" + w.day) }},
		w.note(clock, by, Noting{Duty: dutyPenetration, Cycle: "S2/" + helix, Outcome: "passed", Text: indicatorDark, At: w.at(w.day, read)}),
	}
}

func (w *demoWeek) monday() []moment {
	four, behind := 4.0, -11.0
	return slices.Concat(
		w.brings("06:55", "edda"),
		w.examined("06:57", "edda"),
		w.opens("07:05", "junie", "S1", "S2"),
		[]moment{
			{"08:00", func() error { return w.imports("S1-1040") }},
			w.note("08:00", "tobin", Noting{Duty: dutyLeak, Cycle: "S1/1040", Outcome: "passed"}),
			w.note("08:02", "tobin", Noting{Duty: "clock checked", Steriliser: "S1", Value: &four}),
			w.note("08:03", "tobin", Noting{Duty: "clock checked", Steriliser: "S2", Value: &behind}),
			w.note("08:05", "tobin", Noting{Duty: "seal and interlock tested", Steriliser: "S1", Outcome: "passed"}),
			w.note("08:07", "tobin", Noting{Duty: "seal and interlock tested", Steriliser: "S2", Outcome: "passed"}),
		},
		w.tested("08:51", "tobin", "1041", "1042"),
		w.onS1(demoLoad{clock: "09:36", number: "1043", contents: "examination sets", packs: 8},
			demoLoad{clock: "10:29", number: "1044", contents: "extraction sets", packs: 5},
			demoLoad{clock: "12:26", number: "1046", contents: "handpieces, the load of 1045", packs: 6, hollow: true},
			demoLoad{clock: "16:48", number: "1049", contents: "examination sets", packs: 7}),
		w.onS2(demoLoad{clock: "09:15", number: "417", contents: "examination sets", packs: 6},
			demoLoad{clock: "10:42", number: "418", contents: "handpieces", packs: 4, hollow: true},
			demoLoad{clock: "12:12", number: "419", contents: "surgical sets", packs: 3, wet: "The display went dark while it dried, and the packs are wet."},
			demoLoad{clock: "13:59", number: "420", contents: "surgical sets, the load of 419", packs: 3},
			demoLoad{clock: "16:22", number: "421", contents: "examination sets", packs: 6}),
		[]moment{
			w.sporesIn("10:36", "tobin", "S1/1044", "10:34", 48),
			w.note("12:50", "tobin", Noting{Duty: dutySample, Place: "chair 1", Text: "Sent off cooled."}),
			{"11:45", func() error { return w.imports("S1-1045") }},
			w.decide("11:48", "tobin", Deciding{Do: DoReprocess, Cycles: []string{"S1/1045"}, Reason: "Held too short. The packs are opened, packed anew and run again."}),
			w.decide("12:27", "tobin", Deciding{Do: DoReprocess, Cycles: []string{"S1/1045"}, Rerun: "S1/1046", Reason: "Run again."}),
			{"14:38", func() error { return w.imports("S1-1047") }},
			w.decide("14:41", "tobin", Deciding{Do: DoPropose, Cycles: []string{"S1/1047"}, Reason: "Held a little over 3 min, indicators changed, packs dry and sealed."}),
			w.decide("17:32", "edda", Deciding{Do: DoRelease, Cycles: []string{"S1/1047"}, Reason: "I looked at the curve: steam and chamber agree to the end of the hold."}),
		},
		w.between("17:00", "junie", 11, 7, 6),
		w.closes("17:00", "17:04", "17:14", "junie", "S1", "S2"),
		[]moment{w.counted("17:18", "junie", "S1", 1049), w.counted("17:19", "junie", "S2", 421)},
		w.evening("17:25", "tobin", "416", "08:06"),
		[]moment{
			w.note("17:27", "tobin", Noting{Duty: dutyExplained, Cycle: "S1/1049", Text: "1048 was stopped before it heated: the door was not closed to its end. The load went into 1049."}),
			w.decide("17:28", "tobin", Deciding{Do: DoReprocess, Cycles: []string{"S2/419"}, Rerun: "S2/420", Reason: "Packed anew and run again. The record ends before the load was dry."}),
			w.note("17:35", "edda", Noting{Duty: dutyExplained, Cycle: "S2/417", Text: "The control test of S2 was forgotten. Its penetration test had passed, and all loads were held as they must. From tomorrow a list hangs beside S2."}),
			w.sign("17:45", "tobin", w.day, "The control test of S2 was forgotten."),
			w.review("17:55", "edda", w.day),
		})
}

func (w *demoWeek) tuesday() []moment {
	return slices.Concat(
		w.opens("07:05", "junie", "S1", "S2"),
		w.tested("08:29", "tobin", "1050", "1051"),
		w.onS1(demoLoad{clock: "09:15", number: "1052", contents: "examination sets", packs: 8},
			demoLoad{clock: "10:27", number: "1053", contents: "handpieces", packs: 6, hollow: true},
			demoLoad{clock: "11:50", number: "1054", contents: "extraction sets", packs: 5},
			demoLoad{clock: "14:06", number: "1055", contents: "examination sets", packs: 8},
			demoLoad{clock: "15:45", number: "1056", contents: "examination sets", packs: 7}),
		w.onS2(demoLoad{clock: "09:21", number: "424", contents: "examination sets", packs: 6},
			demoLoad{clock: "10:38", number: "425", contents: "surgical sets", packs: 3},
			demoLoad{clock: "12:15", number: "426", contents: "handpieces", packs: 4, hollow: true},
			demoLoad{clock: "14:12", number: "427", contents: "examination sets", packs: 6},
			demoLoad{clock: "16:00", number: "428", contents: "examination sets", packs: 5}),
		w.between("17:00", "junie", 10, 9, 8),
		w.closes("17:00", "17:04", "17:15", "junie", "S1", "S2"),
		[]moment{w.counted("17:18", "junie", "S1", 1056), w.counted("17:19", "junie", "S2", 428)},
		w.evening("17:24", "tobin", "422", "08:09"),
		[]moment{
			w.note("17:26", "tobin", Noting{Duty: dutyControl, Cycle: "S2/423", Outcome: "passed", At: w.at(w.day, "08:37")}),
			w.decide("17:31", "tobin", Deciding{Do: DoFollow, Cycles: []string{"S2/425"}, Reason: "All three packs are looked for.",
				Packs: []entry.Pack{{Pack: "S2-425, pack 1"}, {Pack: "S2-425, pack 2"}, {Pack: "S2-425, pack 3"}}}),
			w.sign("17:44", "tobin", w.day, ""),
			w.review("17:52", "edda", w.day),
		})
}

func (w *demoWeek) wednesday() []moment {
	return slices.Concat(
		w.opens("07:05", "junie", "S1", "S2"),
		w.tested("08:28", "tobin", "1057", "1058"),
		w.onS1(demoLoad{clock: "09:14", number: "1059", contents: "examination sets", packs: 8},
			demoLoad{clock: "10:45", number: "1060", contents: "handpieces", packs: 6, hollow: true},
			demoLoad{clock: "12:12", number: "1061", contents: "examination sets", packs: 6}),
		w.onS2(demoLoad{clock: "09:47", number: "431", contents: "surgical sets, two of them of 425", packs: 4},
			demoLoad{clock: "11:21", number: "432", contents: "examination sets", packs: 6}),
		[]moment{w.decide("08:55", "edda", Deciding{Do: DoClose, Cycles: []string{"S2/425"}, Reason: "All packs are found.", Packs: []entry.Pack{
			{Pack: "S2-425, pack 1", Became: "found sealed in the drawer of chair 1, packed anew"},
			{Pack: "S2-425, pack 2", Became: "found sealed in the store, packed anew"},
			{Pack: "S2-425, pack 3", Became: "used at chair 2 on 3 Nov 2026 at 14:20; the practitioner in charge was told at 17:40 and decides what follows"},
		}})},
		[]moment{w.note("11:05", "tobin", Noting{Duty: dutySporeRead, Steriliser: "S1", Outcome: "passed", Control: controlGrew, Text: "No growth in the vial of the load; the control changed colour."})},
		w.between("12:40", "junie", 5, 5, 4),
		w.closes("12:40", "12:44", "12:55", "junie", "S1"),
		[]moment{
			w.note("13:05", "tobin", Noting{Duty: dutyOutOfUse, Steriliser: "S2", Text: "Until its load probe has been looked at. The surgery sees nobody this afternoon."}),
			w.note("14:15", "tobin", Noting{Duty: dutyVisit, Steriliser: "S2", Tests: []string{"air leakage test"}, Text: "Load probe seated anew, door seal replaced. The recorder writes German from now on; nobody minds."}),
			w.note("14:50", "junie", Noting{Duty: "steriliser drained", Steriliser: "S2", Outcome: "done"}),
			w.counted("14:52", "junie", "S1", 1061), w.counted("14:53", "junie", "S2", 433),
		},
		w.evening("15:00", "tobin", "429", "08:09"),
		[]moment{
			w.note("15:02", "tobin", Noting{Duty: dutyControl, Cycle: "S2/430", Outcome: "passed", At: w.at(w.day, "08:36")}),
			w.note("15:03", "tobin", Noting{Duty: dutyLeak, Cycle: "S2/433", Outcome: "passed"}),
			w.decide("15:05", "tobin", Deciding{Do: DoReprocess, Cycles: []string{"S2/425"}, Rerun: "S2/431", Reason: "Packs 1 and 2 were run again."}),
			w.note("15:10", "edda", Noting{Duty: dutyBackInUse, Steriliser: "S2", Text: "The leakage test passed with the new seal."}),
			w.sign("15:20", "tobin", w.day, ""),
			w.sign("15:22", "tobin", "2026-11-03", "The recall of S2 425 was closed on Wednesday, and its load was run again."),
			w.review("15:30", "edda", w.day),
			w.review("15:32", "edda", "2026-11-03"),
		})
}

func (w *demoWeek) thursday() []moment {
	return slices.Concat(
		w.opens("07:05", "junie", "S1", "S2"),
		w.tested("08:27", "tobin", "1062", "1063"),
		w.onS1(demoLoad{clock: "09:13", number: "1064", contents: "examination sets", packs: 8},
			demoLoad{clock: "10:31", number: "1065", contents: "handpieces", packs: 6, hollow: true},
			demoLoad{clock: "11:55", number: "1066", contents: "extraction sets", packs: 5},
			demoLoad{clock: "14:08", number: "1067", contents: "examination sets", packs: 8},
			demoLoad{clock: "16:21", number: "1068", contents: "examination sets", packs: 7}),
		w.onS2(demoLoad{clock: "09:20", number: "436", contents: "examination sets", packs: 6},
			demoLoad{clock: "10:49", number: "437", contents: "surgical sets", packs: 3},
			demoLoad{clock: "12:25", number: "438", contents: "handpieces", packs: 4, hollow: true, wet: "Two packs are wet."},
			demoLoad{clock: "14:39", number: "439", contents: "handpieces, the load of 438", packs: 4, hollow: true}),
		w.between("17:00", "junie", 9, 8, 9),
		w.closes("17:00", "17:04", "17:14", "junie", "S1", "S2"),
		[]moment{w.counted("17:18", "junie", "S1", 1086), w.counted("17:19", "junie", "S2", 439),
			{"17:21", w.corrects}},
		w.evening("17:24", "tobin", "434", "08:08"),
		[]moment{
			w.note("17:26", "tobin", Noting{Duty: dutyControl, Cycle: "S2/435", Outcome: "passed", At: w.at(w.day, "08:35")}),
			w.decide("17:28", "tobin", Deciding{Do: DoReprocess, Cycles: []string{"S2/438"}, Rerun: "S2/439", Reason: "Two packs were wet. Packed anew and run again."}),
			w.sign("17:42", "junie", w.day, ""),
			w.review("17:50", "edda", w.day),
		})
}

// corrects puts right the last counter of S1: two figures were swapped.
func (w *demoWeek) corrects() error {
	n, err := w.lastCounter("S1")
	if err != nil {
		return err
	}
	right := 1068.0
	_, err = w.r.Correct(w.ctx, Correcting{Entry: n, Note: Noting{Value: &right}, By: w.by("junie"), Reason: "Typed 1086. The display says 1068."})
	return err
}

func (w *demoWeek) friday() []moment {
	forty := 40.0 // CFU/mL
	return slices.Concat(
		w.opens("07:05", "junie", "S1", "S2"),
		w.tested("08:30", "tobin", "1069", "1070"),
		w.onS1(demoLoad{clock: "09:16", number: "1071", contents: "examination sets", packs: 8},
			demoLoad{clock: "10:36", number: "1072", contents: "handpieces", packs: 6, hollow: true},
			demoLoad{clock: "11:54", number: "1073", contents: "extraction sets", packs: 5},
			demoLoad{clock: "14:02", number: "1074", contents: "examination sets", packs: 8},
			demoLoad{clock: "15:33", number: "1075", contents: "examination sets", packs: 6}),
		w.onS2(demoLoad{clock: "09:25", number: "442", contents: "examination sets", packs: 6},
			demoLoad{clock: "10:57", number: "443", contents: "surgical sets", packs: 3},
			demoLoad{clock: "14:16", number: "444", contents: "handpieces", packs: 4, hollow: true},
			demoLoad{clock: "15:51", number: "445", contents: "examination sets", packs: 6}),
		[]moment{w.note("11:15", "tobin", Noting{Duty: dutyCount, Place: "chair 1", Value: &forty, Text: "By the laboratory's letter of today."})},
		w.between("16:30", "junie", 9, 7, 8),
		w.closes("16:30", "16:34", "16:44", "junie", "S1", "S2"),
		[]moment{w.counted("16:48", "junie", "S1", 1075), w.counted("16:49", "junie", "S2", 445),
			w.note("16:50", "junie", Noting{Duty: "protein test read", Outcome: "passed", Text: "Three instruments of the washer of that morning."})},
		w.evening("16:54", "tobin", "440", "08:11"),
		[]moment{
			w.note("16:56", "tobin", Noting{Duty: dutyControl, Cycle: "S2/441", Outcome: "passed", At: w.at(w.day, "08:37")}),
			w.sign("17:05", "junie", w.day, ""), // edda has left: it waits for her
		})
}

// saturday has one person in, who may not release a load.
func (w *demoWeek) saturday() []moment {
	return slices.Concat(
		w.opens("07:40", "junie", "S1"),
		w.tested("08:54", "junie", "1076", "1077"),
		[]moment{
			{"09:42", func() error { return w.imports("S1-1078") }},
			{"10:58", func() error { return w.imports("S1-1079") }},
			w.decide("11:02", "junie", Deciding{Do: DoQuarantine, Cycles: []string{"S1/1079"}, Reason: "Nobody who may release is here before Monday."}),
			{"12:10", func() error { return w.imports("S1-1080") }},
		},
		w.between("12:20", "junie", 3, 4, 3),
		w.closes("12:20", "12:24", "12:35", "junie", "S1"),
		[]moment{w.counted("12:38", "junie", "S1", 1080),
			w.note("12:45", "junie", Noting{Duty: dutyClosed, Day: "2026-11-08", Text: "Closed on Sundays."})})
}
