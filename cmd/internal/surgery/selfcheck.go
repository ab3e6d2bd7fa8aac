package surgery

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"holdproof/fixtures"
)

// Computed is one published value and what this machine makes of it.
type Computed struct {
	Quantity, Input string
	Published       string // the digits as printed
	Figure          string // of this machine, "" where there is nothing to compute
	Unit            string
	Source, Sure    string
	Agrees          bool // within half of the last printed digit, or what the table allows
	Carried         bool // shown beside records and not computed by the program
	Problem         string
}

// SelfCheck computes every published value the program rests on, in the order of the
// table. A value that cannot be computed does not agree.
func SelfCheck() ([]Computed, error) {
	rows, err := fixtures.Published()
	if err != nil {
		return nil, err
	}
	data := table{}
	for _, r := range rows {
		data[r.Quantity] = append(data[r.Quantity], r)
	}
	var out []Computed
	for _, r := range rows {
		if strings.HasSuffix(r.Quantity, " data") || r.Quantity == merkleLeaves {
			continue // what goes in, not what comes out
		}
		out = append(out, compute(r, data))
	}
	return out, nil
}

func compute(r fixtures.Row, data table) Computed {
	c := Computed{Quantity: r.Quantity, Input: r.Input, Published: r.Printed, Unit: r.Unit, Source: r.Source, Sure: r.Sure}
	if carried[r.Quantity] {
		c.Carried, c.Agrees = true, true
		return c
	}
	if r.Unit == "hex" {
		c.Figure = merkleRoot(data[merkleLeaves], r.Input)
		c.Agrees = c.Figure == r.Printed
		return c
	}
	how, known := formulas[r.Quantity]
	if !known {
		c.Problem = "the program has no formula for it"
		return c
	}
	figure, err := how(r.Input, data)
	if err != nil {
		c.Problem = err.Error()
		return c
	}
	// Two digits more than printed: enough to see how well it agrees.
	c.Figure = strconv.FormatFloat(figure, 'g', significant(r.Printed)+2, 64)
	allow, printed, err := allowance(r)
	if err != nil {
		c.Problem = err.Error()
		return c
	}
	if upper[r.Quantity] {
		c.Agrees = figure <= printed
		return c
	}
	c.Agrees = math.Abs(figure-printed) <= allow*(1+1e-9)
	return c
}

// allowance is what the figure may differ by: what the table says, else half of the
// last printed digit.
func allowance(r fixtures.Row) (allow, printed float64, err error) {
	if printed, err = strconv.ParseFloat(r.Printed, 64); err != nil {
		return 0, 0, err
	}
	if r.Allow != "" {
		allow, err = strconv.ParseFloat(r.Allow, 64)
		return allow, printed, err
	}
	mantissa, exponent, _ := strings.Cut(r.Printed, "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	e := -len(fraction)
	if exponent != "" {
		x, err := strconv.Atoi(exponent)
		if err != nil {
			return 0, 0, err
		}
		e += x
	}
	return 0.5 * math.Pow10(e), printed, nil
}

func significant(printed string) int {
	mantissa, _, _ := strings.Cut(printed, "e")
	n := 0
	for _, r := range strings.TrimLeft(mantissa, "+-0.") {
		if '0' <= r && r <= '9' {
			n++
		}
	}
	return max(n, 1)
}

// scan reads an input of the table by its form.
func scan(input, form string, into ...any) error {
	if n, err := fmt.Sscanf(input, form, into...); err != nil || n != len(into) {
		return fmt.Errorf("the input %q does not fit %q", input, form)
	}
	return nil
}
