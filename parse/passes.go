package parse

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
)

// rewound runs a second pass over a file from its start and puts the position back.
func rewound(src io.ReadSeeker, pass func()) *Error {
	fail := func(err error) *Error {
		return &Error{Found: "a file that cannot be read twice: " + err.Error(), Want: "a file on this computer",
			Remedy: "Copy the export to this computer and try once more."}
	}
	at, err := src.Seek(0, io.SeekCurrent)
	if err != nil {
		return fail(err)
	}
	if _, err := src.Seek(0, io.SeekStart); err != nil {
		return fail(err)
	}
	pass()
	if _, err := src.Seek(at, io.SeekStart); err != nil {
		return fail(err)
	}
	return nil
}

// again reads every row of a file a second time, taken apart like the first time.
// The cells are gone after each call. It returns the SHA-256 of what it read, "" if
// it could not read to the end: the first pass then tells what is wrong.
func again(src io.ReadSeeker, enc charset, like *rows, each func(cells []string)) (sum string, bad *Error) {
	bad = rewound(src, func() {
		whole := newSource(src)
		comma := byte(like.csv.Comma)
		r := newRows(newText(whole, enc, comma), comma)
		r.csv.TrimLeadingSpace = like.csv.TrimLeadingSpace
		for {
			cells, err := r.csv.Read()
			var wrong *csv.ParseError
			switch {
			case err == io.EOF:
				sum = whole.hex()
				return
			case errors.As(err, &wrong):
			case err != nil:
				return
			default:
				each(cells)
			}
		}
	})
	return sum, bad
}

// skim looks a second time at the lines of a file that do not start like a
// reading, until each returns false. That costs little beside reading them all.
func skim(src io.ReadSeeker, enc charset, like *rows, each func(cells []string, line int, reading bool) bool) *Error {
	return rewound(src, func() {
		comma := byte(like.csv.Comma)
		lines := bufio.NewReaderSize(newText(src, enc, comma), 64<<10)
		for n, more := 1, true; more; n++ {
			text, err := lines.ReadSlice('\n')
			for err == bufio.ErrBufferFull { // longer than any heading
				text, err = lines.ReadSlice('\n')
			}
			if err != nil && len(text) == 0 {
				return
			}
			if start := bytes.TrimLeft(text, "\" "); len(start) > 0 && '0' <= start[0] && start[0] <= '9' {
				more = each(nil, n, true)
				continue
			}
			row := csv.NewReader(bytes.NewReader(text))
			row.Comma, row.TrimLeadingSpace = rune(comma), like.csv.TrimLeadingSpace
			if cells, err := row.Read(); err == nil {
				more = each(cells, n, false)
			}
		}
	})
}
