package figure

import "math"

// allowedLeak is the largest rise in kPa/min, drawn as a slope to compare with.
// The limit of the finding is drawn if it has one.
func (d *drawing) allowedLeak() (float64, bool) {
	for _, f := range d.Verdict.Findings {
		if f.Check == "air-leakage" && f.High.Known {
			return f.High.Value, true
		}
	}
	return 0, false
}

// leak draws an air leakage test: the whole record of pressure, and the measured
// minutes with the largest rise that is allowed.
func (d *drawing) leak(s Surface, left, right Box) {
	if d.pressure.values == nil {
		d.overview(s, left)
		return
	}
	below := roomBelow + d.flagRoom()
	all := panel{Box: d.plot(left), time: d.all()}
	all.lo, all.hi = d.pressures()
	all.scale(s, nice(all.hi-all.lo, 5), d.pressureUnit())
	d.poles(s, all)
	all.curve(s, d, d.pressure)
	if at, ok := all.end(d, d.pressure.values); ok {
		all.names(s, []tag{{at: at, text: "pressure", ink: InkLine}})
	}
	d.dimension(s, all, false)
	all.minutes(s, d.flagRoom())
	d.flags(s, all)
	d.rise(s, Box{right.X + axisRoom, right.Y + roomAbove, right.W - axisRoom - 15, right.H - roomAbove - below})
}

// rise draws the measured minutes, the pressure solid and the allowed rise in
// short dashes from the same start.
func (d *drawing) rise(s Surface, b Box) {
	w, ok := d.hold()
	if !ok || w.length() <= 0 {
		s.Text(Point{b.X + b.W/2, b.Y + b.H/2}, "no rise was measured", label(InkLine, Middle))
		return
	}
	margin := w.length() / 12
	p := panel{Box: b, time: window{w.from - margin, w.to + margin}}
	from, to := d.at(w.from), d.at(w.to)
	limit, known := d.allowedLeak()
	top := max(from, to)
	if known {
		top = max(top, from+limit*w.length()/60)
	}
	room := max(0.2, (top-from)*0.15)
	p.lo, p.hi = min(from, to)-room, top+room
	p.scale(s, nice(p.hi-p.lo, 5), d.pressureUnit())
	d.poles(s, p)
	tags := []tag{}
	if known {
		end := Point{p.x(w.to), p.y(from + limit*w.length()/60)}
		s.Polyline([]Point{{p.x(w.from), p.y(from)}, end}, allowed)
		tags = append(tags, tag{at: end, text: "allowed", ink: InkLine, style: allowed})
	}
	p.curve(s, d, d.pressure)
	tags = append(tags, tag{at: Point{p.x(w.to), p.y(to)}, text: "pressure", ink: InkLine, style: solid})
	p.names(s, tags)
	d.lengthOf(s, p, w)
	p.minutes(s, d.flagRoom())
	d.flags(s, p)
}

// lengthOf draws the dimension of the measured minutes with the rate on it.
func (d *drawing) lengthOf(s Surface, p panel, w window) {
	y := p.Y - 1.8
	for _, t := range [...]float64{w.from, w.to} {
		x := p.x(t)
		s.Polyline([]Point{{x, y - 1}, {x, p.bottom()}}, Stroke{Ink: InkLine, Width: 0.1})
		s.Polyline([]Point{{x - 0.7, y + 0.7}, {x + 0.7, y - 0.7}}, Stroke{Ink: InkLine, Width: 0.35})
	}
	s.Polyline([]Point{{p.x(w.from), y}, {p.x(w.to), y}}, measured)
	text := Duration(w.length())
	if r := d.Verdict.Measured.Leak; r.Known {
		text += ": " + Rate(r.Value) + " kPa/min"
	}
	t := label(InkLine, Middle)
	t.Bold = true
	s.Text(Point{p.X + p.W/2, y - 1.2}, text, t)
}

// at returns the pressure at a time by a straight line between its neighbours.
func (d *drawing) at(t float64) float64 {
	for i, v := range d.seconds {
		if v < t || math.IsNaN(d.pressure.values[i]) {
			continue
		}
		if i == 0 || v == t {
			return d.pressure.values[i]
		}
		a, b := d.pressure.values[i-1], d.pressure.values[i]
		if math.IsNaN(a) {
			return b
		}
		return a + (b-a)*(t-d.seconds[i-1])/(v-d.seconds[i-1])
	}
	return d.pressure.values[len(d.pressure.values)-1]
}

// Rate writes a rate of rise in kPa/min with three decimals, rounded up so that it
// never flatters.
func Rate(kpaPerMin float64) string {
	return decimal(math.Ceil(kpaPerMin*1000-1e-9)/1000, 3)
}
