package desk

import (
	"html/template"
	"net/http"

	"holdproof/cmd/internal/surgery"
	"holdproof/report/figure"
)

// driftData is the page of what moves slowly.
type driftData struct {
	Moving   []driftMoving
	Quiet    []string
	Machines []driftMachine
}

// driftMoving is a chart with an open signal.
type driftMoving struct {
	Name, Says, Pace, ToDo string
	Figure                 template.HTML
}

// driftMachine holds the other charts of one programme of one machine.
type driftMachine struct {
	Name   string
	Charts []driftCalm
}

// driftCalm is a chart on which nothing moves, or that only draws.
type driftCalm struct {
	Quantity, Says string
	Figure         template.HTML
}

// How many groups of cycles a figure shows, and its size in mm.
const (
	driftGroups               = 160
	movingWidth, movingHeight = 170, 62
	steadyWidth, steadyHeight = 120, 40
)

func (d *Desk) drift(w http.ResponseWriter, r *http.Request, v visitor) error {
	all, err := d.records.Drift(r.Context(), "")
	if err != nil {
		return err
	}
	data := driftData{Quiet: all.Quiet()}
	for _, c := range all.Moving() {
		data.Moving = append(data.Moving, driftMoving{Name: c.Name(), Says: capital(all.Says(c)) + ".", Pace: all.Pace(c), ToDo: c.ToDo(),
			Figure: trend(all, c, movingWidth, movingHeight)})
	}
	for _, c := range all.Charts {
		if c.Standing != surgery.DriftSteady && c.Standing != surgery.DriftDrawn {
			continue
		}
		if n := len(data.Machines); n == 0 || data.Machines[n-1].Name != c.Name() {
			data.Machines = append(data.Machines, driftMachine{Name: c.Name()})
		}
		m := &data.Machines[len(data.Machines)-1]
		m.Charts = append(m.Charts, driftCalm{Quantity: c.Quantity(), Says: capital(all.Says(c)) + ".", Figure: trend(all, c, steadyWidth, steadyHeight)})
	}
	return d.show(w, r, v, "drift", http.StatusOK, data)
}

// trend is a chart as a picture; what a person wrote in it is escaped by the drawing.
func trend(d surgery.Drift, c surgery.DriftChart, w, h float64) template.HTML {
	return template.HTML(figure.TrendSVG(d.Drawn(c, driftGroups), c.Name()+" "+c.Field(), w, h))
}
