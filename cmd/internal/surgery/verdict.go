package surgery

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"holdproof/parse/cycle"
	"holdproof/report/daily"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
	"holdproof/validate"
)

// figures is what a verdict entry keeps beside its findings: the figures of the
// cycle by the names of day.json, and what was said with them.
type figures struct {
	daily.Measured
	HoldFrom    *float64 `json:"hold_from_s"` // of the hold that a figure draws, since the first reading
	HoldTo      *float64 `json:"hold_to_s"`
	PlateauMean *float64 `json:"plateau_mean_c,omitempty"` // these four are for charts over many cycles
	Heating     *float64 `json:"heating_s,omitempty"`
	Vacuum      *float64 `json:"vacuum_s,omitempty"`
	Gauge       bool     `json:"gauge,omitempty"` // the weather is in steam_mean_k
	ProgrammeBy string   `json:"programme_by"`
	Remarks     []string `json:"remarks,omitempty"`
	Limitations []string `json:"limitations,omitempty"`
}

// verdictOn lays a judged cycle out as an entry. Key, sources, release and what waits
// are the caller's to add.
func (r *Records) verdictOn(j Judged) (entry.Verdict, error) {
	h, v := j.Header, j.Verdict
	start := h.Start.In(r.zone)
	_, offset := start.Zone()
	s := j.summary()
	out := entry.Verdict{
		Steriliser: h.Steriliser, Configured: h.Configured, Number: h.Number,
		Start: entry.At(s.Start), End: entry.At(s.End), OffsetS: int64(offset), Day: start.Format(time.DateOnly),
		Label: h.Label.Text, Programme: v.Programme.Name, Kind: v.Kind.String(), Outcome: j.Outcome().String(),
		Instruction: validate.Instruct(v, false).Sentence,
		Readings:    int64(j.readings.N), HoldS: known(v.Measured.Hold),
		Limits: r.settings.Value.LimitsInForce(), Configuration: r.sum, Holdproof: r.world.Version,
	}
	if j.readings.N > 0 {
		out.Digest = hex.EncodeToString(j.readings.Sum[:])
	}
	var err error
	if out.Measured, err = plainJSON(figuresOf(j)); err != nil {
		return out, err
	}
	out.Findings, err = plainJSON(findingsOf(v))
	out.Sketch = r.sketchOf(j)
	return out, err
}

func figuresOf(j Judged) figures {
	m := j.Verdict.Measured
	return figures{
		Measured: daily.Measured{
			Hold: known(m.Hold), HoldGuarded: known(m.HoldGuarded), HoldMax: known(m.HoldMax), InBand: known(m.InBand),
			Equilibration: known(m.Equilibration), TemperatureMin: known(m.TemperatureMin), TemperatureMax: known(m.TemperatureMax),
			Spread: known(m.Spread), SteamMean: known(m.SteamMean), SteamGap: known(m.SteamGap),
			F0: known(m.F0), Sampling: known(m.Sampling), Leak: known(m.Leak),
		},
		HoldFrom: known(m.HoldFrom), HoldTo: known(m.HoldTo),
		PlateauMean: known(m.PlateauMean), Heating: known(m.Heating), Vacuum: known(m.Vacuum), Gauge: m.GaugeScale,
		ProgrammeBy: j.Verdict.ProgrammeBy, Remarks: j.Remarks(), Limitations: j.Limitations(),
	}
}

// keptFinding is a finding as a verdict entry keeps it: the fields of day.json, those
// left out that say nothing.
type keptFinding struct {
	Check       string   `json:"check"`
	Outcome     string   `json:"outcome"`
	Measured    *float64 `json:"measured,omitempty"`
	Low         *float64 `json:"low,omitempty"`
	High        *float64 `json:"high,omitempty"`
	Uncertainty *float64 `json:"uncertainty,omitempty"`
	Unit        string   `json:"unit,omitempty"`
	At          *float64 `json:"at_s,omitempty"`
	Line        int      `json:"line,omitempty"`
	Source      string   `json:"source"`
	Sure        string   `json:"sure"`
	Message     string   `json:"message"`
	Remedy      string   `json:"remedy,omitempty"`
	Key         string   `json:"key,omitempty"` // of holdproof.yaml that would settle it
}

func findingsOf(v validate.Verdict) []keptFinding {
	out := make([]keptFinding, 0, len(v.Findings))
	for _, f := range v.Findings {
		out = append(out, keptFinding{
			Check: f.Check, Outcome: f.Outcome.String(), Measured: known(f.Measured),
			Low: known(f.Low), High: known(f.High), Uncertainty: known(f.Uncertainty),
			Unit: f.Unit, At: known(f.At), Line: f.Line,
			Source: f.Source.Text, Sure: f.Source.Sure.String(), Message: f.Message, Remedy: f.Remedy, Key: f.Key,
		})
	}
	return out
}

// known returns nil for a figure that is not known or is no number.
func known(f validate.Figure) *float64 {
	if !f.Known || math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
		return nil
	}
	return &f.Value
}

func plainJSON(v any) (json.RawMessage, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}

// said reads back what verdictOn kept of a cycle.
func said(v *entry.Verdict) (figures, []keptFinding, error) {
	var m figures
	var f []keptFinding
	if err := json.Unmarshal(v.Measured, &m); err != nil {
		return m, f, fmt.Errorf("figures of %s: %w", v.Cycle, err)
	}
	if err := json.Unmarshal(v.Findings, &f); err != nil {
		return m, f, fmt.Errorf("findings of %s: %w", v.Cycle, err)
	}
	return m, f, nil
}

// day is the finding as a day record has it.
func (f keptFinding) day() daily.Finding {
	return daily.Finding{Check: f.Check, Outcome: f.Outcome, Measured: f.Measured, Low: f.Low, High: f.High, Uncertainty: f.Uncertainty,
		Unit: f.Unit, At: f.At, Line: f.Line, Source: f.Source, Sure: f.Sure, Message: f.Message, Remedy: f.Remedy}
}

// digestOf names the readings of a kept cycle; the zero digest for one that could
// not be read.
func digestOf(c logbook.Cycle) validate.Digest {
	d := validate.Digest{N: int(c.Readings)}
	if raw, err := hex.DecodeString(c.Digest); err != nil || copy(d.Sum[:], raw) != len(d.Sum) {
		return validate.Digest{}
	}
	return d
}

// summaryOf is what is needed of a kept cycle to lay it beside others.
func (r *Records) summaryOf(c logbook.Cycle) validate.Summary {
	outcome, _ := validate.OutcomeNamed(c.Outcome) // no such word is not proven
	return validate.Summary{ID: c.Key, Steriliser: c.Steriliser, Number: c.Number,
		Start: c.Start.In(r.zone), End: c.End.In(r.zone), Kind: cycle.KindNamed(c.Kind), Outcome: outcome, Readings: digestOf(c)}
}

// worse tells whether outcome a is worse than b.
func worse(a, b string) bool { return rank(a) > rank(b) }

// rank orders the words of outcomes: failed > not proven > borderline > conforms. A
// word that is none counts as not proven.
func rank(outcome string) int {
	switch outcome {
	case Conforms.String():
		return 0
	case Borderline.String():
		return 1
	case Failed.String():
		return 3
	}
	return 2
}
