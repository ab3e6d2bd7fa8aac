package validate

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"strconv"
	"strings"

	"holdproof/parse/cycle"
)

// Digest names a sequence of readings: how many, and the SHA-256 of their values and
// whole seconds. Headings, roles and what pressures are measured from do not count, so
// a change of the configuration does not make another cycle of a record; the fraction
// of a second does not, because the last readings of an export are spread by guess.
//
// The hashed bytes are big-endian words of 64 bits: the number of temperature channels
// once, then for each reading the whole second, the temperatures in the order of the
// file and the pressure, if the record has one, as IEEE 754 doubles.
//
// The zero value names no readings and equals no record's.
type Digest struct {
	N   int
	Sum [sha256.Size]byte
}

// DigestOf returns the digest of all readings of a record.
func DigestOf(r *cycle.Record) Digest {
	d, _ := PrefixDigest(r, r.Len())
	return d
}

// PrefixDigest returns the digest of the first n readings, which is that of a record
// cut after them. It is false for n below 1 or above the number of readings.
func PrefixDigest(r *cycle.Record, n int) (Digest, bool) {
	if n < 1 || n > r.Len() {
		return Digest{}, false
	}
	in := r.Readings()
	sum := sha256.New()
	const enough = 4 << 10 // bytes that are hashed at once: the hash is slow on a few
	rows := make([]byte, 0, enough+8*(len(in.Channels)+2))
	rows = binary.BigEndian.AppendUint64(rows, uint64(len(in.Channels)))
	for i := range n {
		rows = binary.BigEndian.AppendUint64(rows, uint64(in.Seconds[i]))
		for _, c := range in.Channels {
			rows = appendNumber(rows, float64(c.Celsius[i]))
		}
		if in.Pressure != nil {
			rows = appendNumber(rows, in.Pressure.KPa[i])
		}
		if len(rows) >= enough {
			sum.Write(rows)
			rows = rows[:0]
		}
	}
	sum.Write(rows)
	d := Digest{N: n}
	sum.Sum(d.Sum[:0])
	return d, true
}

// appendNumber writes one value so that equal values give equal bytes: every NaN is
// one, and so is every zero.
func appendNumber(b []byte, v float64) []byte {
	switch {
	case math.IsNaN(v):
		v = math.NaN()
	case v == 0:
		v = 0
	}
	return binary.BigEndian.AppendUint64(b, math.Float64bits(v))
}

// Extends tells whether the readings named by kept are the first ones of r, or all of
// them: the evening export of a cycle that the noon export cut. With the same
// steriliser and the same start the two are one cycle, and the longer record counts.
func Extends(r *cycle.Record, kept Digest) bool {
	d, ok := PrefixDigest(r, kept.N)
	return ok && d == kept
}

// MarshalText returns the form in which a digest is kept: the count, a colon, 64
// hexadecimal digits.
func (d Digest) MarshalText() ([]byte, error) {
	return []byte(strconv.Itoa(d.N) + ":" + hex.EncodeToString(d.Sum[:])), nil
}

// UnmarshalText reads what [Digest.MarshalText] wrote and nothing else.
func (d *Digest) UnmarshalText(text []byte) error {
	count, sum, _ := strings.Cut(string(text), ":")
	n, err := strconv.Atoi(count)
	raw, err2 := hex.DecodeString(sum)
	got := Digest{N: n}
	if err != nil || err2 != nil || copy(got.Sum[:], raw) != sha256.Size {
		return fmt.Errorf("found %.80q, expected a count, a colon and 64 hexadecimal digits", text)
	}
	if back, _ := got.MarshalText(); string(back) != string(text) || n < 0 {
		return fmt.Errorf("found %.80q, expected a digest as it was written", text)
	}
	*d = got
	return nil
}
