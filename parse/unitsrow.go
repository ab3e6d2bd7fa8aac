package parse

import "strings"

// withUnits puts the cells of a second heading line, which holds units and nothing else,
// behind the headings they stand under: Chamber over °C is Chamber [°C]. It is false for
// any other line. A heading that has a unit of its own keeps it.
func withUnits(headings, second []string) ([]string, bool) {
	measured := 0
	out := append([]string(nil), headings...)
	for i, cell := range second {
		text := strings.Trim(trim(cell), "[](){}<> ")
		if text == "" {
			continue
		}
		if i >= len(headings) || len(text) > longestHeading || startsLikeReading(text) {
			return nil, false
		}
		tokens := strings.Fields(fold(text))
		u, n, _ := units().at(tokens, 0)
		if n == 0 || n < len(tokens)-1 || n == len(tokens)-1 && referenceOf(tokens[n]) == 0 {
			return nil, false
		}
		switch u.quantity {
		case "temperature", "pressure":
			measured++
		case "time", "date":
		default:
			return nil, false
		}
		if takeApart(headings[i]).unit.name == "" {
			out[i] = headings[i] + " [" + text + "]"
		}
	}
	return out, measured > 0
}

// takeUnits takes the row behind a heading if it holds its units, and returns the heading
// with them.
func (r *Reader) takeUnits(headings []string) []string {
	if _, bad, ok := r.rows.peek(); ok && bad == nil {
		if whole, ok := withUnits(headings, r.rows.row().all(nil)); ok {
			r.rows.take()
			return whole
		}
	}
	return headings
}
