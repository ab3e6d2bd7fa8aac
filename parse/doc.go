// Package parse reads a steriliser's export into [cycle.Record]s.
//
// It refuses rather than repairs: an empty cell, a missing heading or a clock that
// runs backwards is an [Error] with line and column. Whether 121 °C was hot enough
// is validate's job.
package parse
