package parse

import (
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"holdproof/parse/cycle"
)

var languages = []string{"en", "de", "fr", "es", "it", "pl"}

// Roles of which the trade has ten words in every language; the others are small by
// nature, such as minutes or absolute.
var richRoles = []string{"chamber", "drain", "load", "other", "temperature", "pressure", "time", "date", "elapsed", "start", "end",
	"cycle number", "programme", "result", "fault", "completed", "steriliser", "serial", "note", "neutral", "phase",
	"steam penetration test", "air leakage test", "control test", "not holding"}

// A word that two languages share stands once, with the language it was met in
// first; so a language may have a few words less of its own than it understands.
func TestWordsAreManyAndHaveOneRole(t *testing.T) {
	if _, err := readWords(wordsCSV); err != nil {
		t.Fatal(err) // among others: a word with two roles
	}
	rows, err := tableReader(wordsCSV).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	for _, r := range rows[1:] {
		for _, l := range strings.Fields(r[0]) {
			count[l+" "+r[1]]++
		}
	}
	for _, role := range richRoles {
		for _, l := range languages {
			if n := count[l+" "+role]; n < 10 {
				t.Errorf("%s, %s: %d words, want 10", l, role, n)
			}
		}
	}
}

func TestReadWordsRefuses(t *testing.T) {
	for _, c := range []struct{ why, in, say string }{
		{"a word with two roles", "language,role,word\nen,chamber,vessel\nen,load,Vessel\n", "again for load"},
		{"the same word twice", "language,role,word\nen,chamber,Kámmer\nde,chamber,kammer\n", "again"},
		{"an unknown role", "language,role,word\nen,chambre,vessel\n", "chambre"},
		{"no word", "language,role,word\nen,chamber,-\n", "say nothing"},
	} {
		if _, err := readWords([]byte(c.in)); err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: got %v, want %q", c.why, err, c.say)
		}
	}
}

// The units in kPa, typed a second time: NIST SP 811 (2008), appendix B.8 (memory);
// torr = 101325/760 Pa, psi = lbf/in² with lbf 4.4482216152605 N, mmHg and inHg
// conventional, of 13595.1 kg/m³ and 9.80665 m/s².
func TestUnitsAgainstNIST(t *testing.T) {
	for _, c := range []struct {
		spelling, kpa string
	}{
		{"kPa", "1"}, {"bar", "100"}, {"mbar", "0.1"}, {"hPa", "0.1"}, {"MPa", "1000"}, {"Pa", "0.001"},
		{"psi", "6.894757"}, {"inHg", "3.386389"}, {"mmHg", "0.1333224"}, {"Torr", "0.1333224"}, {"atm", "101.325"},
	} {
		u, _, ok := units().spelled(c.spelling)
		want, err := strconv.ParseFloat(c.kpa, 64)
		if err != nil {
			t.Fatal(err)
		}
		places := len(c.kpa) - 1 - strings.Index(c.kpa, ".")
		half := 0.5 * math.Pow(10, -float64(places))
		if !strings.Contains(c.kpa, ".") {
			half = 0
		}
		if v, _ := scaled("1", '.', u.tens); !ok || math.Abs(kilopascal(v, u)-want) > half {
			t.Errorf("1 %s = %v kPa, want %s", c.spelling, kilopascal(v, u), c.kpa)
		}
	}
	psi, _, _ := units().spelled("psi")
	if got, want := kilopascal(1, psi), 4.4482216152605/(0.0254*0.0254)/1000; math.Abs(got-want) > 1e-14 {
		t.Errorf("1 psi = %v kPa, want %v", got, want)
	}
	for _, c := range []struct {
		unit       string
		v, celsius float64
	}{{"degF", 32, 0}, {"degF", 212, 100}, {"degF", -40, -40}, {"K", 273.15, 0}, {"degC", 134.2, 134.2}} {
		u, _, ok := units().spelled(c.unit)
		if got := celsius(c.v, u); !ok || math.Abs(got-c.celsius) > 1e-12 {
			t.Errorf("%v %s = %v °C, want %v", c.v, c.unit, got, c.celsius)
		}
	}
}

// Headings as recorders write them, in the order of the table: what becomes of each.
var headings = []struct {
	text string
	is   string
	unit string
	ref  cycle.Reference
}{
	{"Temp. chamber [°C]", "chamber temperature", "degC", 0},
	{"T load (degC)", "load temperature", "degC", 0},
	{"Pressure (bar abs)", "pressure", "bar", cycle.Absolute},
	{"P [kPa g]", "pressure", "kPa", cycle.Gauge},
	{"Druck (mbar)", "pressure", "mbar", 0},
	{"Température", "unknown", "", 0},
	{"Presión", "pressure", "", 0},
	{"CHAMBER  TEMPERATURE  °F", "chamber temperature", "degF", 0},
	{"Chamber °C", "chamber temperature", "degC", 0},
	{"°C chamber", "chamber temperature", "degC", 0},
	{"kPa Pressure", "pressure", "kPa", 0},
	{"ChamberTemp", "chamber temperature", "", 0},
	{"chamber_temp_C", "chamber temperature", "degC", 0},
	{"Chamber temperature 1 [K]", "chamber temperature", "K", 0},
	{"Kammertemperatur [°C]", "chamber temperature", "degC", 0},
	{"Kammer-Temperatur in °C", "chamber temperature", "degC", 0},
	{"Referenztemperatur [°C]", "unknown", "degC", 0},
	{"Manteltemperatur [°C]", "other temperature", "degC", 0},
	{"Temperatura komory (°C)", "chamber temperature", "degC", 0},
	{"Temperatura wsadu [°C]", "load temperature", "degC", 0},
	{"Temp. cámara (ºC)", "chamber temperature", "degC", 0},
	{"Temperatura carga (° C)", "load temperature", "degC", 0},
	{"Température cuve [°C]", "chamber temperature", "degC", 0},
	{"Température charge [°C]", "load temperature", "degC", 0},
	{"Temperatura camera [°C]", "chamber temperature", "degC", 0},
	{"Temperatura carico [°C]", "load temperature", "degC", 0},
	{"Drain temperature [deg C]", "drain temperature", "degC", 0},
	{"chamber drain temperature [°C]", "drain temperature", "degC", 0},
	{"Jacket temperature [°C]", "other temperature", "degC", 0},
	{"Chamber temperature set point [°C]", "other temperature", "degC", 0},
	{"Dampferzeuger [°C]", "other temperature", "degC", 0},
	{"Chamber temperature PT1 [°C]", "chamber temperature", "degC", 0},
	{"Nr", "ignored", "", 0},
	{"No.", "ignored", "", 0},
	{"Duration", "ignored", "", 0},
	{"DateTime", "time", "", 0},
	{"T° chambre", "chamber temperature", "", 0},
	{"Tª cámara (°C)", "chamber temperature", "degC", 0},
	{"Chamber zone temperature [°C]", "unknown", "degC", 0},
	{"Chamber temperature 134 [°C]", "unknown", "degC", 0},
	{"zone temperature X7 [°C]", "unknown", "degC", 0},
	{"load chamber temperature [°C]", "unknown", "degC", 0},
	{"X7 [°C]", "unknown", "degC", 0},
	{"Temperature [℃]", "unknown", "degC", 0},
	{"Pressione (bar ass)", "pressure", "bar", cycle.Absolute},
	{"Pressione assoluta [mbar]", "pressure", "mbar", cycle.Absolute},
	{"Druck [bar rel.]", "pressure", "bar", cycle.Gauge},
	{"Überdruck [bar]", "pressure", "bar", cycle.Gauge},
	{"Absolutdruck (hPa)", "pressure", "hPa", cycle.Absolute},
	{"Druck [bar ü]", "pressure", "bar", cycle.Gauge},
	{"Pression absolue (kPa)", "pressure", "kPa", cycle.Absolute},
	{"Ciśnienie [kPa]", "pressure", "kPa", 0},
	{"Pressure [psia]", "pressure", "psi", cycle.Absolute},
	{"Pressure (PSIG)", "pressure", "psi", cycle.Gauge},
	{"Chamber pressure inHg", "pressure", "inHg", 0},
	{"Pressure (mm Hg)", "pressure", "mmHg", 0},
	{"Pressure [Torr]", "pressure", "Torr", 0},
	{"Pressure MPa(a)", "pressure", "MPa", cycle.Absolute},
	{"Pressure, barg", "pressure", "bar", cycle.Gauge},
	{"P1 bara", "pressure", "bar", cycle.Absolute},
	{"chamber [bar]", "pressure", "bar", 0},
	{"Jacket pressure [bar]", "ignored", "", 0},
	{"Water pressure [bar]", "ignored", "", 0},
	{"Time", "time", "", 0},
	{"Date/Time", "time", "", 0},
	{"Timestamp", "time", "", 0},
	{"Uhrzeit", "time", "", 0},
	{"Heure", "time", "", 0},
	{"Godzina", "time", "", 0},
	{"Datum", "date", "", 0},
	{"Fecha", "date", "", 0},
	{"Time [s]", "elapsed", "s", 0},
	{"t [s]", "elapsed", "s", 0},
	{"Elapsed mm:ss", "elapsed", "mm:ss", 0},
	{"Zeit [min]", "elapsed", "min", 0},
	{"Laufzeit", "elapsed", "", 0},
	{"Time hh:mm:ss", "time", "hh:mm:ss", 0},
	{"Cycle", "cycle number", "", 0},
	{"Cycle No.", "cycle number", "", 0},
	{"Charge Nr", "cycle number", "", 0},
	{"Charge", "cycle number", "", 0},
	{"N° cycle", "cycle number", "", 0},
	{"Nº de ciclo", "cycle number", "", 0},
	{"Numer cyklu", "cycle number", "", 0},
	{"Program", "programme", "", 0},
	{"Typ cyklu", "programme", "", 0},
	{"Status", "recorder statement", "", 0},
	{"Ergebnis", "recorder statement", "", 0},
	{"Fault code", "recorder statement (faults)", "", 0},
	{"Störung", "recorder statement (faults)", "", 0},
	{"Serial No", "steriliser", "", 0},
	{"Phase", "ignored", "", 0},
	{"Conductivity [µS/cm]", "ignored", "", 0},
	{"", "ignored", "", 0},
}

func TestHeadings(t *testing.T) {
	for _, h := range headings {
		c := understand(1, h.text)
		unit := c.unit.name
		if c.use == useIgnored {
			unit = ""
		}
		ref := c.ref
		if c.use != usePressure {
			ref = 0
		}
		if c.name() != h.is || unit != h.unit || ref != h.ref {
			t.Errorf("%q: %s %q %v, want %s %q %v", h.text, c.name(), unit, ref, h.is, h.unit, h.ref)
		}
	}
}

func TestTheOnlyTemperature(t *testing.T) {
	for _, c := range []struct {
		heading, roles string
	}{
		{"time,Temperature [°C],P [kPa abs]", "chamber temperature"},
		{"time,X7 [°C],P [kPa abs]", "chamber temperature"},
		{"time,load [°C],P [kPa abs]", "chamber temperature"},
		{"time,jacket [°C],P [kPa abs]", "other temperature"},
		{"time,drain [°C],P [kPa abs]", "drain temperature"},
		{"time,Temperature [°C],load temperature [°C],P [kPa abs]", "unknown load temperature"},
		{"time,Temperature [°C],jacket temperature,P [kPa abs]", "unknown other temperature"},
	} {
		cells, err := csv.NewReader(strings.NewReader(c.heading)).Read()
		if err != nil {
			t.Fatal(err)
		}
		l, bad := newLayout(cells, 1, nil)
		if bad != nil {
			t.Errorf("%s: %v", c.heading, bad)
			continue
		}
		var roles []string
		for _, i := range l.temperatures {
			roles = append(roles, l.columns[i].role.String())
		}
		if got := strings.Join(roles, " "); got != c.roles {
			t.Errorf("%s: %s, want %s", c.heading, got, c.roles)
		}
	}
}
