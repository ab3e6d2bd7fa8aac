package surgery

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// Pack is a pack of a recalled load and what became of it.
type Pack = entry.Pack

// Load is what was entered of a load.
type Load = entry.Load

// Ready is a load and what is said of it.
type Ready struct{ Name, Key, Says string }

// AllReady are the conforming loads of a day.
type AllReady struct {
	Loads []Ready // that can be released now, with their figures
	Left  []Ready // that conform and cannot, with the reason
	Seen  []Sight // of Loads, for [Deciding]
}

// Conforming returns the conforming loads of a day that are not released yet.
func (r *Records) Conforming(ctx context.Context, day string) (AllReady, error) {
	var out AllReady
	if err := checkDay(day); err != nil {
		return out, err
	}
	err := r.book.Read(ctx, func(v *logbook.View) error {
		cycles, err := v.Cycles(ctx, logbook.CycleFilter{From: day, To: day, Outcome: Conforms.String(), Verdicts: true})
		if err != nil {
			return err
		}
		for _, c := range cycles {
			if isTest(c) || c.Decision == DoRelease || c.Release == "released" || c.Decision == DoUsed {
				continue
			}
			err := r.releasable(ctx, v, &Deciding{Do: DoRelease}, c)
			var no *Refusal
			switch {
			case errors.As(err, &no):
				out.Left = append(out.Left, Ready{r.nameOf(c), c.Key, strings.TrimPrefix(no.Why, r.nameOf(c)+" ")})
			case err != nil:
				return err
			default:
				out.Loads = append(out.Loads, Ready{r.nameOf(c), c.Key, r.figuresLine(c)})
				out.Seen = append(out.Seen, SightOf(c))
			}
		}
		return nil
	})
	return out, err
}

// figuresLine is what a person must have seen of a load before it is released.
func (r *Records) figuresLine(c logbook.Cycle) string {
	parts := []string{c.Start.In(r.zone).Format("2 Jan 2006 15:04"), c.Programme}
	m, _, err := said(c.Verdict)
	if err != nil {
		return strings.Join(parts, " · ")
	}
	if m.Hold != nil {
		s := int(*m.Hold + 1e-9)
		parts = append(parts, fmt.Sprintf("held %d min %d s", s/60, s%60))
	}
	if m.TemperatureMin != nil && m.TemperatureMax != nil {
		parts = append(parts, validate.AtLeast(*m.TemperatureMin, 1)+" to "+validate.AtMost(*m.TemperatureMax, 1)+" °C")
	}
	return strings.Join(parts, " · ")
}

// KeyFile is where a person's key lies.
func (r *Records) KeyFile(id string) string { return filepath.Clean(keyFile(r.dir, id)) }

// Moment reads when something was done: a time of day, on the given local date or
// today, or date and time; the zero time for "".
func (r *Records) Moment(text, day string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if day == "" {
		day = r.Today()
	}
	full := text
	if len(text) <= len("15:04") {
		full = day + " " + text
	}
	t, err := time.ParseInLocation("2006-01-02 15:04", full, r.zone)
	if err != nil {
		return t, &Refusal{Why: fmt.Sprintf("%q is not a time", text), Instead: "Write 09:20, or with its day \"2026-11-02 09:20\"."}
	}
	return t, nil
}
