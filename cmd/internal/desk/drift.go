package desk

import (
	"html/template"
	"net/http"
	"strings"

	"holdproof/cmd/internal/surgery"
	"holdproof/report/figure"
)

// driftData is the page of what moves slowly.
type driftData struct {
	Moving   []driftMoving
	Quiet    []string
	Machines []driftMachine
}

// driftMoving is a chart with an open signal, drawn for a wide window and a narrow one.
type driftMoving struct {
	Name, Quantity, Says, Pace, Stands, ToDo string
	Wide, Narrow                             template.HTML
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
	narrowWidth, narrowHeight = 96, 50
)

func (d *Desk) drift(w http.ResponseWriter, r *http.Request, v visitor) error {
	all, err := d.records.Drift(r.Context(), "")
	if err != nil {
		return err
	}
	data := driftData{Quiet: all.Quiet()}
	for _, c := range all.Moving() {
		data.Moving = append(data.Moving, driftMoving{Name: c.Name(), Quantity: strings.ToLower(c.Quantity()), Says: capital(all.Says(c)) + ".", Pace: all.Pace(c), Stands: all.Stands(c), ToDo: c.ToDo(),
			Wide: trend(all, c, "wide", movingWidth, movingHeight), Narrow: trend(all, c, "narrow", narrowWidth, narrowHeight)})
	}
	for _, c := range all.Charts {
		if c.Standing != surgery.DriftSteady && c.Standing != surgery.DriftDrawn {
			continue
		}
		if n := len(data.Machines); n == 0 || data.Machines[n-1].Name != c.Name() {
			data.Machines = append(data.Machines, driftMachine{Name: c.Name()})
		}
		m := &data.Machines[len(data.Machines)-1]
		m.Charts = append(m.Charts, driftCalm{Quantity: c.Quantity(), Says: capital(all.Says(c)) + ".", Figure: trend(all, c, "still", narrowWidth, narrowHeight)})
	}
	return d.show(w, r, v, "drift", http.StatusOK, data)
}

// trend is a chart as a picture; what a person wrote in it is escaped by the drawing.
func trend(d surgery.Drift, c surgery.DriftChart, size string, w, h float64) template.HTML {
	return template.HTML(figure.TrendSVG(d.Drawn(c, driftGroups), c.Name()+" "+c.Field()+" "+size, w, h))
}
