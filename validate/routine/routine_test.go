package routine

import (
	"math"
	"slices"
	"strings"
	"testing"
)

func TestNames(t *testing.T) {
	want := []string{"australia", "england", "germany", "own", "scotland", "united-states"}
	if got := Names(); !slices.Equal(got, want) {
		t.Errorf("found %v, expected %v", got, want)
	}
	if _, ok := Named("atlantis"); ok {
		t.Error("an unknown routine was found")
	}
}

// published are figures and certainties typed a second time, from the documents' rows:
// routine, duty, how often, limit, source, certainty, certainty of the limit.
var published = [][7]string{
	{"england", "control test read", "1 day", "", "HTM 01-05", "second-hand", ""},
	{"england", "penetration test read", "1 day", "", "HTM 01-05", "second-hand", ""},
	{"england", "leak test read", "7 days", "..0.13 kPa/min", "HTM 01-05", "second-hand", "second-hand"},
	{"england", "water lines flushed", "1 day", "2.. min", "HTM 01-05", "second-hand", "second-hand"},
	{"england", "water lines rinsed", "as it occurs", "20.. s", "HTM 01-05", "second-hand", "second-hand"},
	{"england", "water count read", "3 months", "..200 CFU/mL", common, "memory", "second-hand"},
	{"england", "pressure vessel examined", "14 months", "", common, "memory", ""},
	{"scotland", "control test read", "7 days", "", "SHTM 01-05, April 2024", "read", ""},
	{"australia", "leak test read/vacuum steriliser without air detector", "1 day", "..0.13 kPa/min", "RACGP, 2023", "read", "second-hand"},
	{"australia", "leak test read/vacuum steriliser with air detector", "7 days", "..0.13 kPa/min", "RACGP, 2023", "read", "second-hand"},
	{"australia", "penetration test read", "1 day", "", "RACGP, 2023", "read", ""},
	{"united-states", "load released", "as it occurs", "", "CDC, MMWR 52(RR-17), 2003", "read", ""},
	{"united-states", "spore test read", "7 days", "", "CDC, MMWR 52(RR-17), 2003", "read", ""},
	{"united-states", "water lines rinsed", "as it occurs", "20.. s", "CDC, MMWR 52(RR-17), 2003", "second-hand", "second-hand"},
	{"united-states", "water count read", "3 months", "..500 CFU/mL", "Washington State WAC 246-817-660", "read", "second-hand"},
	{"germany", "penetration test read", "1 day", "", "KRINKO/BfArM, 2012", "memory", ""},
	{"own", "control test read", "1 day", "", common, "memory", ""},
}

const common = "common practice, no source"

func limits(l Line) string {
	if l.Low == nil && l.High == nil {
		return ""
	}
	text := ".."
	if l.Low != nil {
		text = figure(*l.Low, "") + text
	}
	if l.High != nil {
		text += figure(*l.High, "")
	}
	return strings.ReplaceAll(text, " ", "") + " " + l.Unit
}

func TestPublishedLines(t *testing.T) {
	sourced := 0
	for _, name := range Names() {
		r, _ := Named(name)
		for _, l := range r.Lines {
			i := slices.IndexFunc(published, func(p [7]string) bool { return p[0] == name && (p[1] == l.Duty || p[1] == l.Duty+"/"+l.Per) })
			if l.Sure == "read" || l.Sure == "second-hand" || l.LimitSure == "read" {
				sourced++
				if i < 0 {
					t.Errorf("%s, %s claims %s of %s and is not among the published lines", name, l.Duty, l.Sure, l.Source)
				}
			}
			if l.Source == common && l.Sure != "memory" {
				t.Errorf("%s, %s: common practice has no source to be %s", name, l.Duty, l.Sure)
			}
			if i < 0 {
				continue
			}
			if got := [7]string{name, published[i][1], l.Every.String(), limits(l), l.Source, l.Sure, l.LimitSure}; got != published[i] {
				t.Errorf("found %q, expected %q", got, published[i])
			}
		}
	}
	if sourced < 12 {
		t.Errorf("%d lines with a source, expected at least 12", sourced)
	}
	for _, p := range published {
		r, _ := Named(p[0])
		if !slices.ContainsFunc(r.Lines, func(l Line) bool { return p[1] == l.Duty || p[1] == l.Duty+"/"+l.Per }) {
			t.Errorf("%s has no line %s", p[0], p[1])
		}
	}
}

func TestRetention(t *testing.T) {
	var got []string
	for _, k := range Retentions() {
		got = append(got, strings.Join([]string{k.Jurisdiction, k.Of, k.Least, figure(float64(k.Years), "y"), "from " + k.From, k.Sure}, ", "))
	}
	want := []string{
		"England, all, at least, 2 y, from the record, read",
		"Scotland, all, at least, 25 y, from the end of the equipment's life, read",
		"Germany, all, at least, 5 y, from the record, memory",
		"Australia, all, at least, 7 y, from the last entry, read",
		"Ontario, all, at least, 10 y, from the last entry, second-hand",
		"Washington State, water lines, at least, 5 y, from the record, read",
		"United States, all, for example, 3 y, from the record, read",
	}
	if !slices.Equal(got, want) {
		t.Errorf("found\n%s", strings.Join(got, "\n"))
	}
}

// A copy is the caller's.
func TestNamedIsFresh(t *testing.T) {
	a, _ := Named("england")
	for i := range a.Lines {
		a.Lines[i].Duty = "spoilt"
		if a.Lines[i].Low != nil {
			*a.Lines[i].Low = -1
		}
	}
	b, _ := Named("england")
	if b.Lines[0].Duty == "spoilt" || slices.ContainsFunc(b.Lines, func(l Line) bool { return l.Low != nil && *l.Low < 0 }) {
		t.Error("the table of the program was changed through a copy")
	}
}

const heading = "routine,duty,when,every,per,before_first_load,proof,unit,low,high,needs,what,source,sure,limit_source,limit_sure,note\n"

func TestTableRefused(t *testing.T) {
	good := "own,d,weekly,7 days,steriliser,no,note,min,2,,figure,Do it.,us,read,us,memory,\n"
	if _, err := readRoutines([]byte(heading + good)); err != nil {
		t.Fatal(err)
	}
	for _, c := range [][2]string{
		{"weekly", "now and then"}, {"7 days", "7 weeks"}, {"7 days", "0 days"}, {"7 days", ""}, {"7 days", "999 days"}, {"steriliser", "oven"}, {",no,", ",,"},
		{",note,", ",word,"}, {",2,", ",NaN,"}, {",2,", ",2 min,"}, {",2,", ",-1,"}, {",2,", ",,"}, {",min,", ",,"}, {",figure,", ",maybe,"}, {"Do it.", " "}, {",us,read,", ",,read,"},
		{",read,", ",sure,"}, {"us,memory", "us,"}, {"us,memory", ",memory"}, {"own,d", "own,"}, {"own,d", ",d"},
	} {
		bad := strings.Replace(good, c[0], c[1], 1)
		if bad == good {
			t.Fatalf("%q is not in the line", c[0])
		}
		if _, err := readRoutines([]byte(heading + bad)); err == nil {
			t.Errorf("%q for %q passed", c[1], c[0])
		}
	}
	if _, err := readRoutines([]byte(heading + good + good)); err == nil {
		t.Error("a line that stands twice passed")
	}
	kept := "routine,jurisdiction,of,years,least,from,source,sure\n"
	for _, bad := range []string{",X,all,two,at least,y,z,read\n", ",X,some,2,at least,y,z,read\n", ",X,all,2,most,y,z,read\n", ",X,all,0,at least,y,z,read\n", ",X,all,2,at least,y,z,sure\n", ",,all,2,at least,y,z,read\n"} {
		if _, err := readRetention([]byte(kept + bad)); err == nil {
			t.Errorf("%q passed", bad)
		}
	}
}

func FuzzTable(f *testing.F) {
	f.Add([]byte(heading))
	f.Add([]byte("# a remark\n" + heading + "own,d,weekly,7 days,steriliser,no,note,min,2,,figure,Do it.,us,read,us,memory,\n"))
	f.Add([]byte(heading + "own,d,weekly,7 days,steriliser,no,note,min,0x1p7,,figure,Do it.,us,read,us,memory,\n"))
	// Whatever is read has a certainty, a sentence and sound limits.
	f.Fuzz(func(t *testing.T, src []byte) {
		rs, err := readRoutines(src)
		if err != nil {
			return
		}
		for _, r := range rs {
			for _, l := range r.Lines {
				if r.Name == "" || l.What == "" || !slices.Contains(sures, l.Sure) || (l.Low != nil || l.High != nil) && l.LimitSource == "" ||
					l.Low != nil && (math.IsNaN(*l.Low) || *l.Low < 0) || l.Every.Days < 0 || l.Every.Months < 0 {
					t.Errorf("read %+v", l)
				}
			}
		}
	})
}

func TestApply(t *testing.T) {
	r, _ := Named("england")
	out, problems := r.Apply([]Change{
		{Duty: "water lines flushed", Low: num(3), Reason: "CQC"},
		{Duty: "water lines disinfected", Low: num(10), Reason: "the maker's figure, manual page 4"},
		{Duty: "protein test read", Drop: true, Reason: "done by the laboratory"},
		{Duty: "leak test read", Every: "1 day", When: "start of day", Reason: "an old seal"},
		{Duty: "lamp checked", What: "Check the lamp.", When: "weekly", Every: "7 days", Per: "water line", Unit: "lx", Low: num(500), Reason: "our rule"},
	})
	if problems != nil {
		t.Fatal(problems)
	}
	find := func(r Routine, duty string) *Line {
		i := slices.IndexFunc(r.Lines, func(l Line) bool { return l.Duty == duty })
		if i < 0 {
			return nil
		}
		return &r.Lines[i]
	}
	if l := find(out, "water lines flushed"); *l.Low != 3 || l.Changed != "CQC" || l.LimitSource != ofSurgery || l.LimitSure != "computed" || l.Source != "HTM 01-05" {
		t.Errorf("%+v", l)
	}
	if l := find(out, "leak test read"); l.Every != (Every{Days: 1}) || l.When != "start of day" || *l.High != 0.13 || l.LimitSure != "second-hand" {
		t.Errorf("%+v", l)
	}
	if l := find(out, "lamp checked"); l == nil || !l.NeedsFigure || l.Source != ofSurgery || l.Changed != "our rule" {
		t.Errorf("%+v", l)
	}
	if find(out, "protein test read") != nil || find(r, "protein test read") == nil || *find(r, "water lines flushed").Low != 2 {
		t.Error("a line was not dropped, or the routine itself was changed")
	}
	owed, err := Due(out, surgery(), monday, entries())
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range owed {
		if o.Duty == "water lines disinfected" && o.Place == "chair 1" && (o.State != Complete || o.Detail != "12 min, needs 10 min") {
			t.Errorf("contact time: %s, %q", o.State, o.Detail)
		}
	}
}

func TestChangesRefused(t *testing.T) {
	r, _ := Named("australia")
	for _, c := range []struct {
		field string
		c     Change
	}{
		{"reason", Change{Duty: "water lines flushed", Low: num(3)}},
		{"reason", Change{Duty: "water lines flushed", Low: num(3), Reason: "  "}},
		{"duty", Change{Reason: "r"}},
		{"duty", Change{Duty: "nobody's", Drop: true, Reason: "r"}},
		{"what", Change{Duty: "nobody's", Reason: "r"}},
		{"when", Change{Duty: "new", What: "w", Reason: "r"}},
		{"per", Change{Duty: "new", What: "w", When: "weekly", Every: "7 days", Reason: "r"}},
		{"unit", Change{Duty: "new", What: "w", When: "weekly", Every: "7 days", Per: "surgery", High: num(1), Reason: "r"}},
		{"every", Change{Duty: "new", What: "w", When: "weekly", Per: "surgery", Reason: "r"}},
		{"per", Change{Duty: "leak test read", Every: "7 days", Reason: "r"}},
		{"per", Change{Duty: "leak test read", Per: "oven", Reason: "r"}},
		{"low", Change{Duty: "water lines flushed", Low: num(math.NaN()), Reason: "r"}},
		{"low", Change{Duty: "water lines flushed", Low: num(5), High: num(4), Reason: "r"}},
		{"low", Change{Duty: "suction looked at", Low: num(5), Reason: "r"}},
		{"high", Change{Duty: "water count read", High: num(math.Inf(1)), Reason: "r"}},
		{"unit", Change{Duty: "water count read", High: num(1), Unit: "min", Reason: "r"}},
		{"every", Change{Duty: "clock checked", Every: "often", Reason: "r"}},
		{"every", Change{Duty: "clock checked", When: "by use", Reason: "r"}},
		{"when", Change{Duty: "clock checked", When: "often", Reason: "r"}},
	} {
		out, ps := r.Apply([]Change{{Duty: "suction rinsed", Drop: true, Reason: "r"}, c.c})
		if len(ps) != 1 || ps[0].Field != c.field || ps[0].Change != 1 || ps[0].Remedy == "" || ps[0].Error() == "" {
			t.Errorf("%+v: %+v, expected a problem of %s", c.c, ps, c.field)
		}
		if len(out.Lines) != len(r.Lines) {
			t.Errorf("%+v: half of the changes were made", c.c)
		}
	}
	twice := Change{Duty: "clock checked", Every: "1 month", Reason: "r"}
	if _, ps := r.Apply([]Change{twice, twice}); len(ps) != 1 {
		t.Errorf("one line changed twice: %+v", ps)
	}
}
