package desk

import (
	"net/url"
	"slices"
	"strconv"

	"holdproof/cmd/internal/surgery"
)

// sheetRow is one duty at one place, with the way in which it is entered.
type sheetRow struct {
	surgery.SheetRow
	Duty surgery.SheetDuty
	Part string // anchor of its duty
	Acts bool   // the visitor may enter it
	Way  string // one of the ways below
}

// The ways in which a row of the sheet is entered.
const (
	wayNone   = ""       // it is done, or the visitor only reads
	wayTap    = "tap"    // one button: done now
	wayCount  = "count"  // one button, as often as it happens
	wayPassed = "passed" // two buttons, for what it showed
	wayFigure = "figure" // a figure and a button
	wayTreat  = "treat"  // in now or done now, with a product of the whole duty
	wayOut    = "out"    // it is in: out now
	wayForm   = "form"   // it needs more than fits here: a page of its own
	wayLoad   = "load"   // by releasing a load
	wayDay    = "day"    // by signing the day
)

// rowOf finds the way for a row.
func rowOf(part sheetPart, i int, duty surgery.SheetDuty, row surgery.SheetRow, who visitor) sheetRow {
	out := sheetRow{SheetRow: row, Duty: duty, Part: part.Anchor() + "-" + strconv.Itoa(i), Acts: who.Staff() && (duty.Form.Act == "" || who.May(duty.Form.Act))}
	f := duty.Form
	switch {
	case row.In != 0:
		out.Detail = "In since " + row.Since.Format("15:04") + ", " + strconv.Itoa(row.Minutes) + " min so far"
	case row.Proof == "release" && row.Count == 0 && row.State != surgery.OwedOpen:
		out.Detail = "" // no load was run yet
	case row.Proof == "release" && row.Detail != "":
		out.Detail += " loads released or rejected"
	}
	switch {
	case !out.Acts:
	case duty.Proof == "release":
		out.Way = wayLoad
	case duty.Proof == "signature":
		out.Way = wayDay
	case row.In != 0:
		out.Way = wayOut
	case f.Times:
		out.Way = wayCount
	case !row.Wanted() && row.State != surgery.OwedNeverEntered || row.State == surgery.OwedFailed && row.Count > 0:
	case f.Product:
		out.Way = wayTreat
	case f.Sampled, f.Control, f.Tests, f.In, f.Text, f.Of != "", f.File:
		out.Way = wayForm
	case f.Value:
		out.Way = wayFigure
	case slices.Contains(f.Outcomes, "passed"):
		out.Way = wayPassed
	default:
		out.Way = wayTap
	}
	return out
}

// Says is the outcome that one tap enters.
func (r sheetRow) Says() string {
	if slices.Contains(r.Duty.Form.Outcomes, "done") {
		return "done"
	}
	return ""
}

// Stated is the figure that the button names and enters, in the unit of the duty: the
// least that the routine asks for. A person who did less or more enters that instead.
func (r sheetRow) Stated() string {
	if r.Low == nil || r.Unit != r.Duty.Form.Unit || r.Unit == "" {
		return ""
	}
	return trim(*r.Low)
}

// Asks is what the field of a figure says while it is empty: of a clock also which way
// the figure counts, since a recorder that is behind is minus.
func (r sheetRow) Asks() string {
	if r.Duty.Form.Name == "clock checked" {
		return "s, ahead +, behind −"
	}
	return r.Duty.Form.Unit
}

// Label is what the button of one tap says.
func (r sheetRow) Label() string {
	text := "Done now"
	if r.Way == wayCount {
		text = "One more"
	}
	if s := r.Stated(); s != "" {
		text += ", " + s + " " + r.Unit
	}
	return text
}

// Other is the page on which the same is entered with another time or result.
func (r sheetRow) Other() string {
	q := url.Values{"duty": {r.Owed.Duty}, "back": {"/sheet"}}
	if r.Steriliser != "" {
		q.Set("machine", r.Steriliser)
	}
	if r.Place != "" {
		q.Set("place", r.Place)
	}
	return "/note?" + q.Encode()
}

// Change is the page of the entry that decides, "" for none.
func (r sheetRow) Change() string {
	if r.Entry == 0 {
		return ""
	}
	return "/entry/" + strconv.FormatInt(r.Entry, 10)
}
