package pdf

import (
	"encoding/binary"
	"math"
	"testing"
)

// The colorants of sRGB under D50, as Bruce Lindbloom publishes them (memory):
// rounded to four digits, X Y Z of red, green and blue. He rounds the two whites
// otherwise (D65 Z 1.08883, D50 Z 0.82521), which moves the third digit by 0.0004.
var published = [3]vector{{0.4361, 0.2225, 0.0139}, {0.3851, 0.7169, 0.0971}, {0.1431, 0.0606, 0.7142}}

func TestColorants(t *testing.T) {
	m := colorants()
	for j, want := range published {
		for i := range 3 {
			if math.Abs(m[i][j]-want[i]) > 0.0004 {
				t.Errorf("colour %d, coordinate %d: %.5f, published %.4f", j, i, m[i][j], want[i])
			}
		}
	}
	for i := range 3 { // the three together are the white of D50
		if sum := m[i][0] + m[i][1] + m[i][2]; math.Abs(sum-d50[i]) > 1e-9 {
			t.Errorf("white %d is %v, want %v", i, sum, d50[i])
		}
	}
}

// The profile is a table of nine tags that stand inside it, on multiples of four.
func TestProfile(t *testing.T) {
	p := profile()
	if n := int(binary.BigEndian.Uint32(p)); n != len(p) || n > 700 || string(p[36:40]) != "acsp" || string(p[12:24]) != "mntrRGB XYZ " || p[8] != 2 || p[9] != 0x10 {
		t.Fatalf("header of a profile of %d bytes: % x", len(p), p[:40])
	}
	count := int(binary.BigEndian.Uint32(p[128:]))
	if count != 9 {
		t.Fatalf("%d tags", count)
	}
	for i := range count {
		row := p[132+12*i:]
		at, size := int(binary.BigEndian.Uint32(row[4:])), int(binary.BigEndian.Uint32(row[8:]))
		if at%4 != 0 || at < 132+12*count || at+size > len(p) || size < 8 {
			t.Errorf("tag %s at %d, %d bytes", row[:4], at, size)
		}
		kind := map[string]string{"desc": "desc", "cprt": "text"}[string(row[:4])]
		if kind == "" {
			kind = map[byte]string{'X': "XYZ ", 'T': "curv", 't': "XYZ "}[row[1]]
		}
		if string(p[at:at+4]) != kind {
			t.Errorf("tag %s holds %s", row[:4], p[at:at+4])
		}
	}
}
