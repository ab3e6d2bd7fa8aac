package pdf

import (
	"encoding/binary"
	"math"
)

// The primaries and the white of sRGB as chromaticities x, y (IEC 61966-2-1; memory),
// and the white that profiles refer to, D50 as XYZ (ICC.1, memory).
var (
	primaries = [3][2]float64{{0.64, 0.33}, {0.30, 0.60}, {0.15, 0.06}}
	white     = [2]float64{0.3127, 0.3290}
	d50       = vector{0.9642, 1, 0.8249}
)

type vector [3]float64
type matrix [3]vector

func (m matrix) times(v vector) (out vector) {
	for i := range 3 {
		for k := range 3 {
			out[i] += m[i][k] * v[k]
		}
	}
	return out
}

func (m matrix) by(n matrix) (out matrix) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out[i][j] += m[i][k] * n[k][j]
			}
		}
	}
	return out
}

// inverse by cofactors; the matrices here are far from singular.
func (m matrix) inverse() (out matrix) {
	co := func(i, j int) float64 {
		a, b, c, d := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return m[a][c]*m[b][d] - m[a][d]*m[b][c]
	}
	det := m[0][0]*co(0, 0) + m[0][1]*co(0, 1) + m[0][2]*co(0, 2)
	for i := range 3 {
		for j := range 3 {
			out[j][i] = co(i, j) / det
		}
	}
	return out
}

// bradford is the matrix of the linear Bradford transformation (ICC.1, annex E; memory).
var bradford = matrix{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}

func xyz(c [2]float64) vector { return vector{c[0] / c[1], 1, (1 - c[0] - c[1]) / c[1]} }

// colorants returns the red, green and blue of sRGB as XYZ under D50, in columns.
func colorants() matrix {
	var m matrix
	for j, p := range primaries {
		v := xyz(p)
		for i := range 3 {
			m[i][j] = v[i]
		}
	}
	share := m.inverse().times(xyz(white))
	for i := range 3 {
		for j := range 3 {
			m[i][j] *= share[j]
		}
	}
	from, to := bradford.times(xyz(white)), bradford.times(d50)
	scale := matrix{{to[0] / from[0], 0, 0}, {0, to[1] / from[1], 0}, {0, 0, to[2] / from[2]}}
	return bradford.inverse().by(scale).by(bradford).by(m)
}

// profile is an ICC profile of sRGB, version 2.1, computed from the figures above:
// the three colorants, and the curve at 64 points.
func profile() []byte {
	u32, u16 := binary.BigEndian.AppendUint32, binary.BigEndian.AppendUint16
	s15 := func(b []byte, v float64) []byte { return u32(b, uint32(int32(math.Round(v*65536)))) }
	point := func(x, y, z float64) []byte { return s15(s15(s15([]byte("XYZ \x00\x00\x00\x00"), x), y), z) }
	const name = "sRGB, computed from IEC 61966-2-1"
	desc := u32([]byte("desc\x00\x00\x00\x00"), uint32(len(name)+1))
	desc = append(append(desc, name...), make([]byte, 1+4+4+2+1+67)...)
	curve := u32([]byte("curv\x00\x00\x00\x00"), 64)
	for i := range 64 {
		curve = u16(curve, uint16(math.Round(65535*linear(float64(i)/63))))
	}
	m := colorants()
	tags := []struct {
		sign string
		data []byte
	}{
		{"desc", desc},
		{"cprt", []byte("text\x00\x00\x00\x00no rights reserved\x00")},
		{"wtpt", point(d50[0], d50[1], d50[2])},
		{"rXYZ", point(m[0][0], m[1][0], m[2][0])},
		{"gXYZ", point(m[0][1], m[1][1], m[2][1])},
		{"bXYZ", point(m[0][2], m[1][2], m[2][2])},
		{"rTRC", curve}, {"gTRC", nil}, {"bTRC", nil}, // one curve for all three
	}
	table := u32(nil, uint32(len(tags)))
	var body []byte
	at, size := 0, 0
	for _, t := range tags {
		if t.data != nil {
			at, size = 128+4+12*len(tags)+len(body), len(t.data)
			body = append(body, t.data...)
			body = append(body, make([]byte, -len(body)&3)...)
		}
		table = u32(u32(append(table, t.sign...), uint32(at)), uint32(size))
	}
	head := make([]byte, 128)
	binary.BigEndian.PutUint32(head, uint32(128+len(table)+len(body)))
	copy(head[8:], "\x02\x10\x00\x00mntrRGB XYZ ")
	copy(head[24:], "\x07\xea\x00\x01\x00\x01\x00\x00\x00\x00\x00\x00acsp") // made 1 January 2026
	copy(head[68:], point(d50[0], d50[1], d50[2])[8:])
	return append(append(head, table...), body...)
}

// linear is the transfer function of sRGB (IEC 61966-2-1; memory).
func linear(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}
