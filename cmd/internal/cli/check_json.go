package cli

import (
	"bufio"
	"encoding/json"
	"io"
	"math"
	"time"

	"holdproof/cmd/internal/surgery"
)

// The shapes of check --json, part of the contract with scripts. A pointer is null
// where a figure is unknown or does not apply; it is never 0 for that.

type fileJSON struct {
	Name       string        `json:"name"`
	SHA256     *string       `json:"sha256"`
	Cycles     int           `json:"cycles"`
	Problems   []problemJSON `json:"problems"`
	Understood []string      `json:"understood,omitempty"` // with --explain
}

type problemJSON struct {
	Line    *int   `json:"line"`
	Column  *int   `json:"column"`
	Message string `json:"message"`
	Remedy  string `json:"remedy"`
}

type cycleJSON struct {
	ID          string        `json:"id"`
	File        string        `json:"file"`
	FirstLine   *int          `json:"first_line"`
	LastLine    *int          `json:"last_line"`
	Steriliser  *string       `json:"steriliser"`
	Number      *string       `json:"number"`
	Start       string        `json:"start"`
	Kind        *string       `json:"kind"`
	Programme   *string       `json:"programme"`
	Outcome     string        `json:"outcome"`
	Instruction string        `json:"instruction"`
	Measured    *measuredJSON `json:"measured"`
	Findings    []findingJSON `json:"findings"`
}

type measuredJSON struct {
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

type findingJSON struct {
	Check       string   `json:"check"`
	Outcome     string   `json:"outcome"`
	Measured    *float64 `json:"measured"`
	Low         *float64 `json:"low"`
	High        *float64 `json:"high"`
	Uncertainty *float64 `json:"uncertainty"`
	Unit        string   `json:"unit"`
	At          *float64 `json:"at_s"`
	Source      string   `json:"source"`
	Sure        string   `json:"sure"`
	Message     string   `json:"message"`
	Remedy      string   `json:"remedy"`
}

type acrossJSON struct {
	Check   string   `json:"check"`
	Cycles  []string `json:"cycles"`
	Message string   `json:"message"`
	Remedy  string   `json:"remedy"`
}

// jsonWriter writes one object whose list of cycles may be longer than memory: the
// cycles wait in a spool until the files, which stand first, are known.
type jsonWriter struct {
	explain bool
	files   []fileJSON
	cycles  surgery.Spool
	buffer  *bufio.Writer // before cycles
	encoder *json.Encoder
	any     bool
}

func newJSONWriter(explain bool) *jsonWriter {
	w := &jsonWriter{explain: explain, files: []fileJSON{}}
	w.buffer = bufio.NewWriterSize(&w.cycles, 64<<10)
	w.encoder = plainEncoder(w.buffer)
	return w
}

// plainEncoder leaves < and & as they are: nothing here is put into a page.
func plainEncoder(to io.Writer) *json.Encoder {
	e := json.NewEncoder(to)
	e.SetEscapeHTML(false)
	return e
}

func (w *jsonWriter) Cycle(j surgery.Judged) error {
	if w.any {
		w.buffer.WriteByte(',')
	}
	w.any = true
	return w.encoder.Encode(cycleOf(j))
}

func (w *jsonWriter) File(f surgery.FileRead) error {
	out := fileOf(f)
	if w.explain {
		out.Understood = f.Reading()
	}
	w.files = append(w.files, out)
	return nil
}

func fileOf(f surgery.FileRead) fileJSON {
	out := fileJSON{Name: f.Name, SHA256: textOrNull(f.SHA256), Cycles: f.Cycles, Problems: []problemJSON{}}
	for _, p := range f.Problems {
		out.Problems = append(out.Problems, problemJSON{countOrNull(p.Line), countOrNull(p.Column), p.Message, p.Remedy})
	}
	return out
}

func acrossOf(across []surgery.Between) []acrossJSON {
	list := []acrossJSON{}
	for _, a := range across {
		list = append(list, acrossJSON{a.Check, a.Cycles, a.Message, a.Remedy})
	}
	return list
}

// finish writes the object.
func (w *jsonWriter) finish(out io.Writer, across []surgery.Between) error {
	if err := w.buffer.Flush(); err != nil {
		return err
	}
	cycles, err := w.cycles.Reader()
	if err != nil {
		return err
	}
	list := acrossOf(across)
	to := bufio.NewWriterSize(out, 64<<10)
	e := plainEncoder(to)
	io.WriteString(to, `{"holdproof":"`+surgery.Version+`","files":`)
	if err := e.Encode(w.files); err != nil {
		return err
	}
	io.WriteString(to, `,"cycles":[`)
	if _, err := io.Copy(to, cycles); err != nil {
		return err
	}
	io.WriteString(to, `],"across":`)
	if err := e.Encode(list); err != nil {
		return err
	}
	io.WriteString(to, "}\n")
	return to.Flush()
}

func cycleOf(j surgery.Judged) cycleJSON {
	v, h := j.Verdict, j.Header
	out := cycleJSON{
		ID: j.ID(), File: j.File,
		FirstLine: countOrNull(h.Source.FirstLine), LastLine: countOrNull(h.Source.LastLine),
		Steriliser: textOrNull(h.Steriliser), Number: textOrNull(h.Number),
		Start: h.Start.Format(time.RFC3339), Kind: textOrNull(v.Kind.String()),
		Programme: textOrNull(v.Programme.Name), Outcome: j.Outcome().String(),
		Instruction: j.Instruction.Sentence, Findings: []findingJSON{},
	}
	if j.HasFigures() {
		m := v.Measured
		out.Measured = &measuredJSON{
			Hold: figureOf(m.Hold), HoldGuarded: figureOf(m.HoldGuarded), HoldMax: figureOf(m.HoldMax), InBand: figureOf(m.InBand),
			Equilibration: figureOf(m.Equilibration), TemperatureMin: figureOf(m.TemperatureMin), TemperatureMax: figureOf(m.TemperatureMax),
			Spread: figureOf(m.Spread), SteamMean: figureOf(m.SteamMean), SteamGap: figureOf(m.SteamGap),
			F0: figureOf(m.F0), Sampling: figureOf(m.Sampling), Leak: figureOf(m.Leak),
		}
	}
	for _, f := range v.Findings {
		out.Findings = append(out.Findings, findingJSON{
			Check: f.Check, Outcome: f.Outcome.String(), Measured: figureOf(f.Measured), Low: figureOf(f.Low), High: figureOf(f.High),
			Uncertainty: figureOf(f.Uncertainty), Unit: f.Unit, At: figureOf(f.At),
			Source: f.Source.Text, Sure: f.Source.Sure.String(), Message: f.Message, Remedy: f.Remedy,
		})
	}
	return out
}

// figureOf returns nil for a figure that is not known, and for one that is no number.
func figureOf(f surgery.Figure) *float64 {
	if !f.Known || math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
		return nil
	}
	return &f.Value
}

func textOrNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func countOrNull(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// Close forgets what was kept aside.
func (w *jsonWriter) Close() error { return w.cycles.Close() }
