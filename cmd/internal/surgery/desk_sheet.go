package surgery

import (
	"context"
	"slices"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// SheetPart is a time of the day on the sheet, with what the routine asks for then.
type SheetPart struct {
	When   string // start of day, between patients, end of day, or less often
	Duties []SheetDuty
	Open   int // rows that a person must still do something about
}

// SheetDuty is one line of the routine with the places it is owed for.
type SheetDuty struct {
	Form              DutyForm
	What              string   // a sentence
	Proof             string   // what shows that it was done: note, release, signature
	Product, Strength string   // that were entered last, or the only one of the settings, for treatments; never entered by themselves
	Products          []string // of the settings, to choose from
	Rows              []SheetRow
}

// SheetRow is a duty at its place.
type SheetRow struct {
	Owed
	Test string // key of the test that it reads, if its record is here; "" for none
	In   int64  // entry of what went in and did not come out yet; 0 for none

	Since   time.Time // when that went in
	Minutes int       // how long that is ago, whole minutes
}

// partRare is the part of the sheet for what is owed less often than each day.
const partRare = "less often"

// sheetParts are the parts in their order.
var sheetParts = []string{"start of day", "between patients", "end of day", partRare}

// Sheet lays out what the routine asks for today: every duty of the day, and of those
// that are owed less often what is due or was done today. As of one moment.
func (r *Records) Sheet(ctx context.Context) ([]SheetPart, error) {
	today := r.Today()
	var out []SheetPart
	err := r.book.Read(ctx, func(v *logbook.View) error {
		o, err := r.owing(ctx, v, today)
		if err != nil {
			return err
		}
		lines, err := o.lines()
		if err != nil {
			return err
		}
		out = make([]SheetPart, len(sheetParts))
		for i, when := range sheetParts {
			out[i].When = when
		}
		for _, l := range lines {
			i := slices.Index(sheetParts, l.When)
			switch {
			case l.When == "by use" && l.Proof == "release":
				i = slices.Index(sheetParts, "between patients")
			case i < 0 || !l.Daily() && l.When != "between patients":
				i = len(sheetParts) - 1
			}
			if i == len(sheetParts)-1 && !l.Wanted() && l.Last != today && l.State != OwedNeverEntered {
				continue
			}
			out[i].add(o.row(l), o)
		}
		return nil
	})
	return slices.DeleteFunc(out, func(p SheetPart) bool { return len(p.Duties) == 0 }), err
}

// add puts a row under its duty.
func (p *SheetPart) add(row SheetRow, o *owing) {
	if row.Wanted() && row.Proof == "note" { // signing comes when all is done, and is not counted
		p.Open++
	}
	i := slices.IndexFunc(p.Duties, func(d SheetDuty) bool { return d.Form.Name == row.Duty && d.What == row.What })
	if i < 0 {
		form, _ := DutyNamed(row.Duty)
		form.Name = row.Duty
		d := SheetDuty{Form: form, What: row.What, Proof: row.Proof}
		if form.Product {
			d.Product, d.Strength = o.lastProduct(row.Duty)
			if form.Strength { // those of the settings are line treatments
				d.offer(o.r.settings.Value.Products)
			}
		}
		i = len(p.Duties)
		p.Duties = append(p.Duties, d)
	}
	p.Duties[i].Rows = append(p.Duties[i].Rows, row)
}

// offer names the products of the settings, and fills in one that is the only one, with
// the concentration its figure is for: it is read on the page before it is entered.
func (d *SheetDuty) offer(products []Product) {
	for _, p := range products {
		d.Products = append(d.Products, p.Name)
	}
	if d.Product != "" || len(products) != 1 {
		return
	}
	d.Product = products[0].Name
	if c := products[0].ConcentrationPercent; c != nil {
		d.Strength = number(*c) + " %"
	}
}

// row completes a line with what can be entered on it.
func (o *owing) row(l Owed) SheetRow {
	out := SheetRow{Owed: l}
	if form, known := DutyNamed(l.Duty); known && form.Test != "" {
		var newest time.Time
		for key, c := range o.tests {
			if c.Steriliser == l.Steriliser && c.Kind == form.Test && c.Day == o.day && !c.Start.Before(newest) {
				out.Test, newest = key, c.Start.Time
			}
		}
	}
	for n, row := range o.notes {
		s := row.Said
		if s.Duty == l.Duty && s.Place == l.Place && s.Steriliser == l.Steriliser && s.Outcome != "not done" && !s.From.IsZero() && s.To.IsZero() && n > out.In {
			if form, _ := DutyNamed(s.Duty); form.Out {
				out.In, out.Since = n, o.r.local(s.From.Time)
				out.Minutes = int(o.r.Now().Sub(out.Since).Minutes())
			}
		}
	}
	return out
}

// lastProduct is what was entered last as product and concentration of a duty.
func (o *owing) lastProduct(duty string) (product, strength string) {
	newest := int64(0)
	for n, row := range o.notes {
		if d := dataOf(row.Said); row.Said.Duty == duty && d.Product != "" && n > newest {
			newest, product, strength = n, d.Product, d.Strength
		}
	}
	return product, strength
}

// TakeOut says of something that went in that it came out now.
//
// Errors: as [Records.Correct].
func (r *Records) TakeOut(ctx context.Context, n int64, by Proof) (Noted, error) {
	return r.Correct(ctx, Correcting{Entry: n, Note: Noting{To: r.Now()}, By: by})
}

// Told is a note in the words by which a person knows it again: duty, place, time.
func (r *Records) Told(ctx context.Context, n int64) (string, error) {
	rows, err := logbook.Find[entry.Note](ctx, r.book.View, logbook.Filter{Entry: n})
	if err != nil || len(rows) == 0 {
		return "", err
	}
	s := rows[0].Said
	parts := []string{s.Duty}
	if s.Outcome != "" && s.Outcome != "done" {
		parts = append(parts, s.Outcome)
	}
	for _, where := range []string{s.Steriliser, s.Place} {
		if where != "" {
			parts = append(parts, where)
		}
	}
	return strings.Join(append(parts, rows[0].At.In(r.zone).Format("15:04")), ", "), nil
}
