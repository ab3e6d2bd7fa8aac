package logbook

import (
	"context"
	"database/sql"
	"encoding/json"

	"holdproof/report/logbook/entry"
)

// Charted are the figures of a verdict that are followed over many cycles; nil where
// the verdict does not have one.
type Charted struct {
	Cycle      string
	Steriliser string
	Kind       string
	Programme  string
	Start      entry.Time

	SteamMean     *float64 // K, reference less steam temperature
	Equilibration *float64 // s
	Leak          *float64 // kPa/min
	PlateauMean   *float64 // °C
	Heating       *float64 // s
	Vacuum        *float64 // s
	Gauge         bool     // the pressure was a gauge's
}

// ChartedFilter narrows what [View.Charted] returns. An empty field narrows nothing.
type ChartedFilter struct {
	Steriliser string
	Outcome    string
	To         string // last day, included
}

// Charted returns the figures of cycles as they stand, in the order of their start.
// It reads one table and no entry: 20,000 cycles take a fraction of a second.
func (v *View) Charted(ctx context.Context, f ChartedFilter) ([]Charted, error) {
	var w where
	w.is("steriliser", f.Steriliser)
	w.is("outcome", f.Outcome)
	if f.To != "" {
		w.add("day <= ", f.To)
	}
	w.terms = append(w.terms, "continued_by = ''")
	var out []Charted
	err := each(ctx, v.q, `SELECT cycle, steriliser, kind, programme, start, steam_mean_k, equilibration_s, leak_kpa_per_min,
		plateau_mean_c, heating_s, vacuum_s, gauge FROM cycles`+w.clause()+` ORDER BY start, cycle`, w.args, func(r *sql.Rows) error {
		var c Charted
		var start string
		err := r.Scan(&c.Cycle, &c.Steriliser, &c.Kind, &c.Programme, &start, &c.SteamMean, &c.Equilibration, &c.Leak,
			&c.PlateauMean, &c.Heating, &c.Vacuum, &c.Gauge)
		if err == nil {
			c.Start, err = entry.ParseTime(start)
		}
		out = append(out, c)
		return err
	})
	return out, explain(v.path, err)
}

// chartedOf reads the figures out of the measured object of a verdict. What is no
// number there is no figure here: the object belongs to whoever judged.
func chartedOf(measured json.RawMessage) Charted {
	var m map[string]json.RawMessage
	if json.Unmarshal(measured, &m) != nil {
		return Charted{}
	}
	number := func(name string) *float64 {
		var v *float64
		if json.Unmarshal(m[name], &v) != nil {
			return nil
		}
		return v
	}
	c := Charted{SteamMean: number("steam_mean_k"), Equilibration: number("equilibration_s"), Leak: number("leak_kpa_per_min"),
		PlateauMean: number("plateau_mean_c"), Heating: number("heating_s"), Vacuum: number("vacuum_s")}
	if json.Unmarshal(m["gauge"], &c.Gauge) != nil {
		c.Gauge = false
	}
	return c
}
