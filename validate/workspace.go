package validate

import (
	"math"
	"sync"

	"holdproof/parse/cycle"
	"holdproof/validate/steam"
)

// workspace is the memory of one judgement, used again by the next. All of it is
// written before it is read, but for the lethal rates and steam temperatures, which do
// not depend on the cycle; no verdict keeps a part of it.
type workspace struct {
	floats arena[float64]
	bits   arena[conditionSet]
	steps  []float64
	spans  []span
	marks  []landmark
	rates  lethalRates
	steam  steamTemperatures
}

var workspaces = sync.Pool{New: func() any { return new(workspace) }}

// arena hands out slices of one piece of memory.
type arena[T any] struct {
	all  []T
	used int
}

// take returns n values of any content.
func (a *arena[T]) take(n int) []T {
	if a.used+n > len(a.all) {
		a.all, a.used = make([]T, max(n, 2*len(a.all))), 0
	}
	a.used += n
	return a.all[a.used-n : a.used : a.used]
}

func (w *workspace) reset() { w.floats.used, w.bits.used, w.spans = 0, 0, w.spans[:0] }

// lethalRates are lethal rates that were needed before: a recorder writes few
// different temperatures, and the exponential is the dearest step of all.
type lethalRates [2048]struct{ celsius, rate float64 }

// of returns 10^((celsius - 121.1 °C)/10 K).
func (l *lethalRates) of(celsius float64) float64 {
	k := &l[int64(celsius*10)&2047]
	if k.celsius != celsius || k.rate == 0 {
		l.compute(celsius)
	}
	return k.rate
}

func (l *lethalRates) compute(celsius float64) {
	const tref, z = 121.1, 10.0
	k := &l[int64(celsius*10)&2047]
	k.celsius, k.rate = celsius, math.Exp((celsius-tref)*(math.Ln10/z))
}

// steamTemperatures are steam temperatures that were needed before: a recorder writes few
// different pressures. The zero key is no pressure of steam.
type steamTemperatures [2048]struct{ kpa, celsius float64 }

// at returns the steam temperature at a pressure above [underSteam] and of no more than a
// record can have.
func (m *steamTemperatures) at(kpa float64) float64 {
	k := &m[int64(kpa*10)&2047]
	if k.kpa != kpa {
		m.compute(kpa)
	}
	return k.celsius
}

func (m *steamTemperatures) compute(kpa float64) {
	k := &m[int64(kpa*10)&2047]
	k.kpa, k.celsius = kpa, float64(steam.Celsius(cycle.Kilopascal(kpa)))
}
