package pdf

import (
	"encoding/binary"
	"errors"
	"slices"
)

// slim takes out of a TrueType font what a page does not need: the programs that fit
// letters to coarse screens, and of the names all but the copyright. What is drawn stays
// the same to the bit; a record of one page loses a third of its size.
//
// The layout of the tables is that of ISO/IEC 14496-22 (OpenType), sections glyf, loca,
// head, name (memory; checked by the tests against two other readers of fonts). It reads
// what the drawing library wrote; anything else is an error.
func slim(font []byte) ([]byte, error) {
	tables, err := tablesOf(font)
	if err != nil {
		return nil, err
	}
	for _, t := range []string{"head", "loca", "glyf", "maxp"} {
		if len(tables[t]) == 0 {
			return nil, errors.New("drawing a record: a font has no table " + t)
		}
	}
	for _, t := range []string{"cvt ", "fpgm", "prep", "gasp"} {
		delete(tables, t)
	}
	tables["name"] = copyrightOnly(tables["name"])
	tables["glyf"], tables["loca"], err = withoutPrograms(tables["glyf"], tables["loca"], tables["head"])
	if err != nil {
		return nil, err
	}
	tables["head"] = slices.Clone(tables["head"])
	binary.BigEndian.PutUint16(tables["head"][50:], 1) // the long form of loca
	binary.BigEndian.PutUint32(tables["head"][8:], 0)  // the sum of all, put in below
	return fontOf(tables), nil
}

var errFont = errors.New("drawing a record: a font is not laid out as expected")

func tablesOf(font []byte) (map[string][]byte, error) {
	if len(font) < 12 {
		return nil, errFont
	}
	n := int(binary.BigEndian.Uint16(font[4:]))
	if len(font) < 12+16*n {
		return nil, errFont
	}
	tables := map[string][]byte{}
	for i := range n {
		row := font[12+16*i:]
		at, size := uint64(binary.BigEndian.Uint32(row[8:])), uint64(binary.BigEndian.Uint32(row[12:]))
		if at+size > uint64(len(font)) {
			return nil, errFont
		}
		tables[string(row[:4])] = font[at : at+size]
	}
	if head := tables["head"]; len(head) != 54 {
		return nil, errFont
	}
	return tables, nil
}

// fontOf writes the tables in the order of their names, each at a multiple of four.
func fontOf(tables map[string][]byte) []byte {
	var names []string
	for t := range tables {
		names = append(names, t)
	}
	slices.Sort(names)
	n, power := len(names), 1
	exponent := 0
	for power*2 <= n {
		power, exponent = power*2, exponent+1
	}
	out := []byte{0, 1, 0, 0}
	for _, v := range []int{n, 16 * power, exponent, 16 * (n - power)} {
		out = binary.BigEndian.AppendUint16(out, uint16(v))
	}
	at, head := 12+16*n, 0
	for _, t := range names {
		if t == "head" {
			head = at
		}
		out = append(out, t...)
		for _, v := range []uint32{sumOf(tables[t]), uint32(at), uint32(len(tables[t]))} {
			out = binary.BigEndian.AppendUint32(out, v)
		}
		at += (len(tables[t]) + 3) &^ 3
	}
	for _, t := range names {
		out = append(out, tables[t]...)
		out = append(out, make([]byte, -len(out)&3)...)
	}
	binary.BigEndian.PutUint32(out[head+8:], 0xB1B0AFBA-sumOf(out))
	return out
}

// sumOf adds up words of 32 bits.
func sumOf(b []byte) uint32 {
	var sum uint32
	for len(b) >= 4 {
		sum, b = sum+binary.BigEndian.Uint32(b), b[4:]
	}
	var last [4]byte
	copy(last[:], b)
	return sum + binary.BigEndian.Uint32(last[:])
}

// copyrightOnly keeps the first of the records that say whose the font is.
func copyrightOnly(name []byte) []byte {
	empty := []byte{0, 0, 0, 0, 0, 6}
	if len(name) < 6 {
		return empty
	}
	n, texts := int(binary.BigEndian.Uint16(name[2:])), int(binary.BigEndian.Uint16(name[4:]))
	for i := range n {
		at := 6 + 12*i
		if at+12 > len(name) {
			break
		}
		row := name[at : at+12]
		size, from := int(binary.BigEndian.Uint16(row[8:])), texts+int(binary.BigEndian.Uint16(row[10:]))
		if binary.BigEndian.Uint16(row[6:]) != 0 || from+size > len(name) {
			continue // 0 is the copyright
		}
		out := append([]byte{0, 0, 0, 1, 0, 18}, row[:10]...)
		out = append(out, 0, 0)
		return append(out, name[from:from+size]...)
	}
	return empty
}

// withoutPrograms takes the program out of every letter.
func withoutPrograms(glyf, loca, head []byte) (letters, places []byte, err error) {
	var ends []int
	switch binary.BigEndian.Uint16(head[50:]) {
	case 0:
		for ; len(loca) >= 2; loca = loca[2:] {
			ends = append(ends, 2*int(binary.BigEndian.Uint16(loca)))
		}
	default:
		for ; len(loca) >= 4; loca = loca[4:] {
			ends = append(ends, int(binary.BigEndian.Uint32(loca)))
		}
	}
	places = binary.BigEndian.AppendUint32(nil, 0)
	for i := 1; i < len(ends); i++ {
		from, to := ends[i-1], ends[i]
		if from > to || to > len(glyf) {
			return nil, nil, errFont
		}
		letter, err := withoutProgram(glyf[from:to])
		if err != nil {
			return nil, nil, err
		}
		letters = append(letters, letter...)
		letters = append(letters, make([]byte, -len(letters)&3)...)
		places = binary.BigEndian.AppendUint32(places, uint32(len(letters)))
	}
	return letters, places, nil
}

func withoutProgram(letter []byte) ([]byte, error) {
	if len(letter) == 0 {
		return nil, nil // a blank
	}
	if len(letter) < 10 {
		return nil, errFont
	}
	contours := int(int16(binary.BigEndian.Uint16(letter)))
	if contours < 0 {
		return withoutLastProgram(letter)
	}
	at := 10 + 2*contours
	if at+2 > len(letter) {
		return nil, errFont
	}
	program := int(binary.BigEndian.Uint16(letter[at:]))
	if at+2+program > len(letter) {
		return nil, errFont
	}
	out := append(slices.Clone(letter[:at]), 0, 0)
	return append(out, letter[at+2+program:]...), nil
}

// withoutLastProgram is for a letter that is put together from others.
func withoutLastProgram(letter []byte) ([]byte, error) {
	const words, scaled, more, two, four, program = 0x1, 0x8, 0x20, 0x40, 0x80, 0x100
	out := slices.Clone(letter)
	for at := 10; ; {
		if at+4 > len(out) {
			return nil, errFont
		}
		flags := binary.BigEndian.Uint16(out[at:])
		binary.BigEndian.PutUint16(out[at:], flags&^program)
		at += 6
		if flags&words != 0 {
			at += 2
		}
		switch {
		case flags&scaled != 0:
			at += 2
		case flags&two != 0:
			at += 4
		case flags&four != 0:
			at += 8
		}
		if at > len(out) {
			return nil, errFont
		}
		if flags&more == 0 {
			return out[:at], nil
		}
	}
}
