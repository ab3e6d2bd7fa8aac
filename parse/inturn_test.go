package parse

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

// Two machines row by row are refused at once, with the line; one after the other they
// are two cycles.
func TestInTurn(t *testing.T) {
	file := func(of func(i int) string) string {
		var b strings.Builder
		b.WriteString("Steriliser,Time,Chamber temp [°C]\n")
		for i := range 60 {
			fmt.Fprintf(&b, "%s,2026-11-02 08:14:%02d,20.1\n", of(i), i)
		}
		return b.String()
	}
	for n := 2; n <= 3; n++ {
		_, err := Open("a.csv", strings.NewReader(file(func(i int) string { return fmt.Sprintf("TQ-%d", i%n) })), Options{})
		var bad *Error
		if !errors.As(err, &bad) || bad.Line != 6 || bad.Column != 1 || !strings.Contains(bad.Found, "in turn") || bad.Remedy == "" {
			t.Errorf("%d machines in turn: %v", n, err)
		}
	}
	r, err := Open("a.csv", strings.NewReader(file(func(i int) string { return fmt.Sprintf("TQ-%d", i/30) })), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if c, err := r.Next(); err != nil || c.Record == nil || c.Record.Len() != 30 {
			t.Errorf("one after the other: %v %v", err, c.Problems)
		}
	}
}
