package daily

import (
	"time"

	"holdproof/parse/cycle"
	"holdproof/validate"
)

// Cycle is a judged cycle of the day. A figure that was not measured is null.
type Cycle struct {
	ID          string    `json:"id"`
	Steriliser  string    `json:"steriliser"` // "" if nobody knows it
	Number      string    `json:"number"`
	Start       string    `json:"start"`
	Kind        string    `json:"kind"`
	Programme   string    `json:"programme"`
	ProgrammeBy string    `json:"programme_by"` // mapped, label, default, inferred
	Outcome     string    `json:"outcome"`
	Instruction string    `json:"instruction"`
	Load        Load      `json:"load"`
	Measured    Measured  `json:"measured"`
	Findings    []Finding `json:"findings"`
	Remarks     []string  `json:"remarks"`
	Limitations []string  `json:"limitations"`
	Sources     []Span    `json:"sources"`
}

// Load is what a person entered about the load. No patient is named.
type Load struct {
	Contents string `json:"contents"`
	Packing  string `json:"packing"` // wrapped, hollow, neither
	Packs    int    `json:"packs"`   // 0 if not said
	By       string `json:"by"`      // who loaded
}

// Span is a stretch of lines of a source, both ends included.
type Span struct {
	File      string `json:"file"`
	SHA256    string `json:"sha256"`
	FirstLine int    `json:"first_line"`
	LastLine  int    `json:"last_line"`
}

// Measured are the figures of a cycle; times in s, temperatures in °C, differences
// in K, F0 in min with Tref 121.1 °C and z 10 K, the leak rate in kPa/min.
type Measured struct {
	Hold           *float64 `json:"hold_s"`
	HoldGuarded    *float64 `json:"hold_guarded_s"`
	HoldMax        *float64 `json:"hold_max_s"`
	InBand         *float64 `json:"in_band_s"`
	Equilibration  *float64 `json:"equilibration_s"`
	TemperatureMin *float64 `json:"temperature_min_c"`
	TemperatureMax *float64 `json:"temperature_max_c"`
	Spread         *float64 `json:"spread_k"`
	SteamMean      *float64 `json:"steam_mean_k"`
	SteamGap       *float64 `json:"steam_gap_k"`
	F0             *float64 `json:"f0_min"`
	Sampling       *float64 `json:"sampling_s"`
	Leak           *float64 `json:"leak_kpa_per_min"`
}

// Finding is what one check came to.
type Finding struct {
	Check       string   `json:"check"`
	Outcome     string   `json:"outcome"`
	Measured    *float64 `json:"measured"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Uncertainty *float64 `json:"uncertainty"`
	Unit        string   `json:"unit"`
	At          *float64 `json:"at_s"` // seconds since the start
	Line        int      `json:"line"` // of the source, 0 where it has no place
	Flag        int      `json:"flag"` // its number on the figure, 0 if it has none
	Source      string   `json:"source"`
	Sure        string   `json:"sure"`
	Message     string   `json:"message"`
	Remedy      string   `json:"remedy"`
}

// Judged makes a Cycle of a record, its verdict and the instruction to the person
// at the machine. flags are the numbers of the findings on the figure; nil: none.
func Judged(r *cycle.Record, v validate.Verdict, instruction string, flags []int) Cycle {
	h := r.Header()
	c := Cycle{
		ID: r.ID(), Steriliser: h.Steriliser, Number: h.Number, Start: h.Start.Format(time.RFC3339),
		Kind: v.Kind.String(), Programme: v.Programme.Name, ProgrammeBy: v.ProgrammeBy,
		Outcome: v.Outcome().String(), Instruction: instruction,
		Measured: measured(v.Measured), Remarks: v.Remarks, Limitations: v.Limitations,
		Sources: []Span{{File: h.Source.File, SHA256: h.Source.SHA256, FirstLine: h.Source.FirstLine, LastLine: h.Source.LastLine}},
	}
	for i, f := range v.Findings {
		out := Finding{
			Check: f.Check, Outcome: f.Outcome.String(), Measured: figure(f.Measured),
			Low: figure(f.Low), High: figure(f.High), Uncertainty: figure(f.Uncertainty),
			Unit: f.Unit, At: figure(f.At), Line: f.Line,
			Source: f.Source.Text, Sure: f.Source.Sure.String(), Message: f.Message, Remedy: f.Remedy,
		}
		if i < len(flags) {
			out.Flag = flags[i]
		}
		c.Findings = append(c.Findings, out)
	}
	return c
}

func measured(m validate.Measured) Measured {
	return Measured{
		Hold: figure(m.Hold), HoldGuarded: figure(m.HoldGuarded), HoldMax: figure(m.HoldMax), InBand: figure(m.InBand),
		Equilibration: figure(m.Equilibration), TemperatureMin: figure(m.TemperatureMin), TemperatureMax: figure(m.TemperatureMax),
		Spread: figure(m.Spread), SteamMean: figure(m.SteamMean), SteamGap: figure(m.SteamGap),
		F0: figure(m.F0), Sampling: figure(m.Sampling), Leak: figure(m.Leak),
	}
}

func figure(f validate.Figure) *float64 {
	if !f.Known {
		return nil
	}
	v := f.Value
	return &v
}

// Result returns the worst of the findings and never reads the word beside them.
func (c Cycle) Result() validate.Outcome {
	v := validate.Verdict{Findings: make([]validate.Finding, len(c.Findings))}
	for i, f := range c.Findings {
		v.Findings[i].Outcome, _ = validate.OutcomeNamed(f.Outcome) // no such word is not proven
	}
	return v.Outcome()
}

// Conforms tells whether nothing about the cycle needs a person.
func (c Cycle) Conforms() bool { return c.Result() == validate.Conforms }

// Name is what people call the cycle: "S1 · 1042".
func (c Cycle) Name() string {
	s := c.Steriliser
	if s == "" {
		s = "unassigned"
	}
	if c.Number == "" {
		return s
	}
	return s + " · " + c.Number
}
