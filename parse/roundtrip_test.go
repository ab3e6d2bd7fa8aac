package parse

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"holdproof/parse/cycle"
)

// printed is one way to print records: everything an exporter may choose.
type printed struct {
	name        string
	comma       string
	decimal     string
	end         string
	encode      func(string) (string, error)
	quote       bool
	stamp       string // layout of time and date in one cell; "" for two columns
	date, clock string // layouts of two columns
	celsius     func(float64) float64
	pressure    float64 // kPa in one unit
	digits      int
	headings    map[string]string // of time, date, chamber temperature ...
	order       []string          // of columns
	numbered    bool              // a column of cycle numbers; else a preamble and a heading a cycle
	preamble    [3]string         // cycle number, programme, steriliser
}

func same(v float64) float64       { return v }
func fahrenheit(v float64) float64 { return v*9/5 + 32 }
func kelvin(v float64) float64     { return v + 273.15 }
func utf8As(s string) (string, error) {
	return s, nil
}

var english = map[string]string{"time": "Time", "date": "Date", "chamber temperature": "Chamber temperature [°C]", "load temperature": "Load temperature [°C]", "pressure": "Pressure [kPa abs]", "number": "Cycle No"}

var ways = []printed{
	{name: "plain", comma: ",", decimal: ".", end: "\n", encode: utf8As, stamp: "2006-01-02T15:04:05", celsius: same, pressure: 1, digits: -1, headings: english,
		order: []string{"time", "chamber temperature", "load temperature", "pressure"}, preamble: [3]string{"Cycle No", "Programme", "Steriliser"}},
	{name: "columns turned round, quoted, one table", comma: ",", decimal: ".", end: "\r\n", encode: utf8As, quote: true, stamp: "2006-01-02 15:04:05", celsius: same, pressure: 1, digits: -1, headings: english,
		order: []string{"pressure", "load temperature", "number", "chamber temperature", "time"}, numbered: true, preamble: [3]string{"", "Programme", "Steriliser"}},
	{name: "German, Windows-1252, decimal comma, bar", comma: ";", decimal: ",", end: "\r\n", encode: charmap.Windows1252.NewEncoder().String, date: "02.01.2006", clock: "15:04:05", celsius: same, pressure: 100, digits: 9,
		headings: map[string]string{"time": "Uhrzeit", "date": "Datum", "chamber temperature": "Kammertemperatur °C", "load temperature": "Beladungstemperatur (°C)", "pressure": "Druck [bar abs]", "number": "Charge Nr"},
		order:    []string{"date", "time", "chamber temperature", "load temperature", "pressure"}, preamble: [3]string{"Chargennummer", "Programm", "Sterilisator"}},
	{name: "French, UTF-16, tab, mbar", comma: "\t", decimal: ",", end: "\n", encode: unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String, date: "2006-01-02", clock: "15:04:05", celsius: same, pressure: 0.1, digits: 9,
		headings: map[string]string{"time": "Heure", "date": "Jour", "chamber temperature": "Température cuve [°C]", "load temperature": "Température charge [°C]", "pressure": "Pression absolue (mbar)", "number": "N° de cycle"},
		order:    []string{"load temperature", "date", "time", "pressure", "chamber temperature"}, preamble: [3]string{"Numéro de cycle", "Type de cycle", "Stérilisateur"}},
	{name: "American, °F, psia", comma: ",", decimal: ".", end: "\r\n", encode: utf8As, date: "2006/01/02", clock: "3:04:05 PM", celsius: fahrenheit, pressure: 6.894757293168361, digits: 9,
		headings: map[string]string{"time": "TIME", "date": "DATE", "chamber temperature": "CHAMBER TEMP (°F)", "load temperature": "LOAD TEMP (°F)", "pressure": "PRESSURE (PSIA)", "number": "CYCLE NUMBER"},
		order:    []string{"date", "time", "pressure", "chamber temperature", "load temperature"}, preamble: [3]string{"Cycle Number", "Cycle Type", "Sterilizer"}},
	{name: "Polish, K, MPa", comma: ";", decimal: ",", end: "\r", encode: utf8As, stamp: "2006-01-02 15:04:05", celsius: kelvin, pressure: 1000, digits: 9,
		headings: map[string]string{"time": "Data i godzina", "chamber temperature": "Temperatura komory [K]", "load temperature": "Temperatura wsadu [K]", "pressure": "Ciśnienie bezwzględne [MPa]", "number": "Nr cyklu"},
		order:    []string{"time", "pressure", "chamber temperature", "load temperature", "number"}, numbered: true, preamble: [3]string{"", "Typ cyklu", "Sterylizator"}},
	{name: "Spanish, hPa", comma: ";", decimal: ".", end: "\n", encode: utf8As, stamp: "2006-01-02T15:04:05Z07:00", celsius: same, pressure: 0.1, digits: 9,
		headings: map[string]string{"time": "Fecha/hora", "chamber temperature": "Temperatura cámara [°C]", "load temperature": "Temperatura carga [°C]", "pressure": "Presión absoluta hPa", "number": "Nº de ciclo"},
		order:    []string{"time", "pressure", "chamber temperature", "load temperature"}, preamble: [3]string{"Número de ciclo", "Programa", "Esterilizador"}},
	{name: "Italian, Torr", comma: ";", decimal: ",", end: "\n", encode: utf8As, stamp: "02.01.2006 15:04:05", celsius: same, pressure: 101.325 / 760, digits: 9,
		headings: map[string]string{"time": "Data e ora", "chamber temperature": "Temperatura camera [°C]", "load temperature": "Temperatura carico [°C]", "pressure": "Pressione [Torr ass]", "number": "Numero ciclo"},
		order:    []string{"time", "pressure", "chamber temperature", "load temperature"}, preamble: [3]string{"Numero ciclo", "Programma", "Sterilizzatrice"}},
}

// print prints records one after the other.
func (p printed) print(t *testing.T, records []*cycle.Record) string {
	t.Helper()
	var b strings.Builder
	for i, r := range records {
		h := r.Header()
		if !p.numbered || i == 0 {
			for k, value := range []string{h.Number, h.Label.Text, h.Steriliser} {
				if p.preamble[k] != "" {
					b.WriteString(p.preamble[k] + p.comma + value + p.end)
				}
			}
			p.row(&b, p.cellsOf(func(c string) string { return p.headings[c] }))
		}
		rd := r.Readings()
		for j := range rd.Seconds {
			at := h.Start.Add(time.Duration(math.Round(rd.Seconds[j] * 1e9)))
			p.row(&b, p.cellsOf(func(c string) string {
				switch c {
				case "time":
					if p.stamp != "" {
						return at.Format(p.stamp)
					}
					return at.Format(p.clock)
				case "date":
					return at.Format(p.date)
				case "number":
					return h.Number
				case "pressure":
					return p.number(rd.Pressure.KPa[j] / p.pressure)
				}
				for _, ch := range rd.Channels {
					if ch.Role.String() == c {
						return p.number(p.celsius(float64(ch.Celsius[j])))
					}
				}
				return ""
			}))
		}
	}
	out, err := p.encode(b.String())
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func (p printed) cellsOf(cell func(string) string) []string {
	var cells []string
	for _, c := range p.order {
		cells = append(cells, cell(c))
	}
	return cells
}

func (p printed) row(b *strings.Builder, cells []string) {
	if p.quote {
		for i, c := range cells {
			cells[i] = `"` + c + `"`
		}
	}
	b.WriteString(strings.Join(cells, p.comma) + p.end)
}

func (p printed) number(v float64) string {
	s := strconv.FormatFloat(v, 'f', p.digits, 64)
	return strings.ReplaceAll(s, ".", p.decimal)
}

// original reads the cycles that are printed again.
func original(t *testing.T) []*cycle.Record {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(exportsDir, "c07-day.csv"))
	if err != nil {
		t.Fatal(err)
	}
	cycles, bad := readAll("c07-day.csv", "Steriliser: S1\n"+string(text), Options{})
	if bad != nil || len(cycles) != 4 {
		t.Fatalf("%d cycles, %v", len(cycles), bad)
	}
	var records []*cycle.Record
	for _, c := range cycles {
		records = append(records, c.Record)
	}
	return records
}

// compare says where two records differ; values may differ by what nine printed
// decimals leave open, and by nothing at all where the unit is the same.
func compare(a, b *cycle.Record, within float64) string {
	ha, hb, ra, rb := a.Header(), b.Header(), a.Readings(), b.Readings()
	if ha.Number != hb.Number || ha.Steriliser != hb.Steriliser || !ha.Start.Equal(hb.Start) || ha.Label.Text != hb.Label.Text || !reflect.DeepEqual(ha.Label.Numbers, hb.Label.Numbers) {
		return fmt.Sprintf("%+v and %+v", ha, hb)
	}
	if !reflect.DeepEqual(ra.Seconds, rb.Seconds) || len(ra.Channels) != len(rb.Channels) || ra.Pressure.Reference != rb.Pressure.Reference {
		return "times, channels or reference differ"
	}
	near := func(x, y float64) bool { return math.Abs(x-y) <= within }
	for i := range ra.Seconds {
		if !near(ra.Pressure.KPa[i], rb.Pressure.KPa[i]) {
			return fmt.Sprintf("pressure %d: %v and %v", i, ra.Pressure.KPa[i], rb.Pressure.KPa[i])
		}
		for _, ca := range ra.Channels {
			for _, cb := range rb.Channels {
				if ca.Role == cb.Role && !near(float64(ca.Celsius[i]), float64(cb.Celsius[i])) {
					return fmt.Sprintf("%v %d: %v and %v", ca.Role, i, ca.Celsius[i], cb.Celsius[i])
				}
			}
		}
	}
	return ""
}

func TestPrintedAndReadAgain(t *testing.T) {
	want := original(t)
	for _, p := range ways {
		within := 1e-6 // half of the ninth decimal of a MPa is 0.5e-6 kPa
		if p.digits < 0 {
			within = 0
		}
		for _, split := range []bool{false, true} {
			parts := [][]*cycle.Record{want}
			if split {
				parts = nil
				for _, r := range want {
					parts = append(parts, []*cycle.Record{r})
				}
			}
			var got []Cycle
			for _, records := range parts {
				cycles, bad := readAll("again.csv", p.print(t, records), Options{})
				if bad != nil {
					t.Errorf("%s: %v", p.name, bad)
				}
				got = append(got, cycles...)
			}
			if len(got) != len(want) {
				t.Errorf("%s, split %v: %d cycles, want %d", p.name, split, len(got), len(want))
				continue
			}
			for i := range got {
				if got[i].Record == nil {
					t.Errorf("%s, split %v, cycle %d: %v", p.name, split, i, got[i].Problems)
					continue
				}
				if diff := compare(got[i].Record, want[i], within); diff != "" {
					t.Errorf("%s, split %v, cycle %d: %s", p.name, split, i, diff)
				}
			}
		}
	}
}
