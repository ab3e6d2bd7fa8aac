package validate

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"math"
	"testing"

	"holdproof/parse/cycle"
)

// invented is a record of n readings, one a second, with invented figures.
func invented(t *testing.T, n int, change func(*cycle.Readings)) *cycle.Record {
	t.Helper()
	r := cycle.Readings{Channels: []cycle.Channel{{Role: cycle.Chamber, Heading: "T"}}, Pressure: &cycle.Pressure{Reference: cycle.Absolute}}
	for i := range n {
		r.Seconds = append(r.Seconds, float64(i))
		r.Lines = append(r.Lines, i+2)
		r.Channels[0].Celsius = append(r.Channels[0].Celsius, cycle.Celsius(20+float64(i*i%97)/10))
		r.Pressure.KPa = append(r.Pressure.KPa, 101.3+float64(i*7%11)/10)
	}
	if change != nil {
		change(&r)
	}
	rec, err := cycle.New(cycle.Header{Steriliser: "S1"}, r)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func TestNoonAndEveningExport(t *testing.T) {
	evening := invented(t, 50, nil)
	for n := 1; n <= 50; n++ {
		noon := invented(t, n, nil)
		if !Extends(evening, DigestOf(noon)) {
			t.Fatalf("cut after %d readings it is another cycle", n)
		}
		if n < 50 && Extends(noon, DigestOf(evening)) {
			t.Fatalf("%d readings hold all 50", n)
		}
	}
	// Every digest of a prefix is its own.
	seen := map[Digest]int{}
	for n := 1; n <= 50; n++ {
		d, ok := PrefixDigest(evening, n)
		if before, twice := seen[d]; !ok || twice || d.N != n {
			t.Fatalf("%d readings: %v, as %d", n, ok, before)
		}
		seen[d] = n
	}
	for _, n := range []int{-1, 0, 51} {
		if d, ok := PrefixDigest(evening, n); ok || d != (Digest{}) {
			t.Errorf("%d readings of 50 have a digest", n)
		}
	}
	if Extends(evening, Digest{}) {
		t.Error("the zero digest names a record")
	}
}

func TestWhatMakesOtherReadings(t *testing.T) {
	one := DigestOf(invented(t, 50, nil))
	for _, c := range []struct {
		why    string
		same   bool
		change func(*cycle.Readings)
	}{
		{"a temperature", false, func(r *cycle.Readings) { r.Channels[0].Celsius[7] += 0.1 }},
		{"the last pressure", false, func(r *cycle.Readings) { r.Pressure.KPa[49] += 0.1 }},
		{"a second", false, func(r *cycle.Readings) { r.Seconds[49] = 50 }},
		{"no number", false, func(r *cycle.Readings) { r.Channels[0].Celsius[7] = cycle.Celsius(math.NaN()) }},
		{"no pressure", false, func(r *cycle.Readings) { r.Pressure = nil }},
		{"pressure as a second temperature", false, func(r *cycle.Readings) {
			second := cycle.Channel{}
			for _, p := range r.Pressure.KPa {
				second.Celsius = append(second.Celsius, cycle.Celsius(p))
			}
			r.Channels, r.Pressure = append(r.Channels, second), nil
		}},
		{"another heading and role", true, func(r *cycle.Readings) { r.Channels[0].Heading, r.Channels[0].Role = "X", cycle.Unknown }},
		{"another reference", true, func(r *cycle.Readings) { r.Pressure.Reference = cycle.Gauge }},
		{"other lines", true, func(r *cycle.Readings) { r.Lines[49] = 900 }},
		{"within the second", true, func(r *cycle.Readings) { r.Seconds[49] += 0.4 }},
	} {
		if got := DigestOf(invented(t, 50, c.change)) == one; got != c.same {
			t.Errorf("%s: the same readings %v, want %v", c.why, got, c.same)
		}
	}
	odd := func(v float64) Digest {
		return DigestOf(invented(t, 5, func(r *cycle.Readings) { r.Pressure.KPa[2] = v }))
	}
	if odd(math.NaN()) != odd(math.Float64frombits(0x7ff8000000000123)) || odd(0) != odd(math.Copysign(0, -1)) {
		t.Error("equal values give other bytes")
	}
}

func FuzzDigestText(f *testing.F) {
	good, _ := Digest{N: 12, Sum: [32]byte{1, 2, 3}}.MarshalText()
	for _, s := range []string{string(good), "", "12", "12:", "-1:" + string(good[3:]), "012:" + string(good[3:]), string(good) + "00", "12:XY"} {
		f.Add(s)
	}
	// Whatever is accepted is written back as the same bytes.
	f.Fuzz(func(t *testing.T, s string) {
		var d Digest
		if err := d.UnmarshalText([]byte(s)); err != nil {
			if d != (Digest{}) {
				t.Errorf("%q was refused and left %v", s, d)
			}
			return
		}
		if back, err := d.MarshalText(); err != nil || string(back) != s {
			t.Errorf("%q came back as %q, %v", s, back, err)
		}
	})
}

func TestDigestText(t *testing.T) {
	want := DigestOf(invented(t, 50, nil))
	text, _ := want.MarshalText()
	var got Digest
	if err := got.UnmarshalText(text); err != nil || got != want {
		t.Errorf("%s came back as %v, %v", text, got, err)
	}
	for _, bad := range []string{"", "50", "-1" + string(text[2:]), "050" + string(text[2:]), string(text) + "00", string(text[:len(text)-2]), " " + string(text)} {
		if err := got.UnmarshalText([]byte(bad)); err == nil || got != want {
			t.Errorf("%q was accepted or changed the digest", bad)
		}
	}
}

// What is hashed is documented; a kept digest must not change with the program.
func TestDigestBytes(t *testing.T) {
	words := []any{uint64(1), uint64(0), 20.0, 101.3, uint64(1), 20.1, 102.0}
	var b bytes.Buffer
	for _, w := range words {
		if err := binary.Write(&b, binary.BigEndian, w); err != nil {
			t.Fatal(err)
		}
	}
	if got, want := DigestOf(invented(t, 2, nil)), (Digest{N: 2, Sum: sha256.Sum256(b.Bytes())}); got != want {
		t.Errorf("got %x, want %x", got, want)
	}
}
