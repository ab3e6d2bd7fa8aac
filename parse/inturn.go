package parse

import (
	"bytes"
	"encoding/csv"
)

// mostInTurn is how many readings on end may each be of another steriliser than the one
// before (ours): no cycle has one reading.
const mostInTurn = 4

// inTurn refuses a file whose first bytes hold the readings of several sterilisers in
// turn, row by row: each would be a cycle of its own.
func (r *Reader) inTurn(head []byte, p probe) *Error {
	at := r.layout.steriliser
	if at < 0 {
		return nil
	}
	lines := csv.NewReader(newText(bytes.NewReader(head[:min(len(head), 64<<10)]), p.enc, p.comma))
	lines.Comma, lines.FieldsPerRecord, lines.TrimLeadingSpace = rune(p.comma), -1, p.blanks
	before, changes := "", 0
	for {
		cells, err := lines.Read()
		if err != nil {
			return nil // what is wrong with a row is said when it is read
		}
		line, _ := lines.FieldPos(0)
		if line <= p.heading || at >= len(cells) {
			continue
		}
		now := trim(cells[at])
		if now == "" {
			continue
		}
		if before == "" || now == before {
			before, changes = now, 0
			continue
		}
		if changes++; changes == mostInTurn {
			return &Error{Line: line, Column: at + 1, Found: "readings of " + quote(before) + " and " + quote(now) + " in turn", Want: "the readings of one steriliser after those of the other",
				Remedy: "Export each steriliser on its own."}
		}
		before = now
	}
}
