package validate

import "sync"

// workspace is the memory of one judgement, used again by the next. All of it is
// written before it is read, and no verdict keeps a part of it.
type workspace struct {
	floats arena[float64]
	bits   arena[conditionSet]
	steps  []float64
	spans  []span
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
