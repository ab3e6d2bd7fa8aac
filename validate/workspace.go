package validate

import (
	"math"
	"sync"
)

// workspace is the memory of one judgement, used again by the next. All of it is
// written before it is read, but for the lethal rates, which do not depend on the
// cycle; no verdict keeps a part of it.
type workspace struct {
	floats arena[float64]
	bits   arena[conditionSet]
	steps  []float64
	spans  []span
	rates  lethalRates
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
	const tref, z = 121.1, 10.0
	k := &l[int64(celsius*10)&2047]
	if k.celsius != celsius || k.rate == 0 {
		k.celsius, k.rate = celsius, math.Exp((celsius-tref)*(math.Ln10/z))
	}
	return k.rate
}
