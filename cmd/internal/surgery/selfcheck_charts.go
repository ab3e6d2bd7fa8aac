package surgery

import (
	"fmt"
	"strconv"

	"holdproof/fixtures"
	"holdproof/validate/drift"
)

// The worked examples of the control charts: the data are rows of the table too.

func ewma(input string, data table) (float64, error) {
	x, err := numbersOf(data["EWMA data"])
	if err != nil {
		return 0, err
	}
	z, err := drift.EWMA(x, 0.3, 50)
	if err != nil {
		return 0, err
	}
	return nth(z, input)
}

func ewmaLimit(input string, _ table) (float64, error) {
	low, high, err := drift.EWMALimits(0.3, 50, 2.0539, 3)
	if input == "lower" {
		return low, err
	}
	return high, err
}

func cusum(data table) (drift.Sums, error) {
	x, err := numbersOf(data["CUSUM data"])
	if err != nil {
		return drift.Sums{}, err
	}
	return drift.CUSUM{Target: 325, K: 0.3175, H: 4.1959}.Run(x)
}

func cusumHigh(input string, data table) (float64, error) {
	s, err := cusum(data)
	if err != nil {
		return 0, err
	}
	return nth(s.Hi, input)
}

func cusumSignal(_ string, data table) (float64, error) {
	s, err := cusum(data)
	return float64(s.FirstHi + 1), err
}

func individuals(input string, data table) (float64, error) {
	x, err := numbersOf(data["individuals data"])
	if err != nil {
		return 0, err
	}
	c, err := drift.IndividualsOf(x)
	if err != nil {
		return 0, err
	}
	switch input {
	case "mean":
		return c.Mean, nil
	case "mean moving range":
		return c.MovingRange, nil
	case "upper limit":
		return c.High, nil
	case "lower limit":
		return c.Low, nil
	}
	return 0, fmt.Errorf("no such figure %q", input)
}

func numbersOf(rows []fixtures.Row) ([]float64, error) {
	var out []float64
	for _, r := range rows {
		v, err := strconv.ParseFloat(r.Printed, 64)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

// nth returns the value whose place, from 1, the input names.
func nth(values []float64, input string) (float64, error) {
	n, err := strconv.Atoi(input)
	if err != nil || n < 1 || n > len(values) {
		return 0, fmt.Errorf("no value %q", input)
	}
	return values[n-1], nil
}
