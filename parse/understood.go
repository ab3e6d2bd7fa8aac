package parse

// Understood is how a file was read, for a person who knows her file. It is
// complete once [Reader.Next] has returned io.EOF; before, it tells what is known
// so far. The columns are those of the heading read last.
type Understood struct {
	File        string
	Encoding    string // such as Windows-1252
	Delimiter   string // comma, semicolon or tab
	Decimal     string // "." or ",", "" while no number had one
	DecimalWhy  string
	HeadingLine int // of the first heading
	Columns     []Column
	Times       string // how times were read
	DateOrder   string // dmy, mdy, ymd, or "" where no date needed it
	DateWhy     string
	Steriliser  string  // id of the configured steriliser whose hints were used, "" if none
	HintsWhy    string  // why these hints, or why none
	Splits      []Split // where cycles begin; at most the first thousand
}

// Column is how one column was read.
type Column struct {
	Number    int    // from 1
	Heading   string // as written, blanks aside
	Is        string // as `is:` of the configuration names it
	Unit      string // such as degC or kPa, "" for none
	Reference string // of a pressure: absolute, gauge, or "" where the readings settle it
	Why       string
}

// Split is where a cycle begins and why.
type Split struct {
	Line int
	Why  string
}

const mostSplits = 1000

// Understood returns how the file was read so far.
func (r *Reader) Understood() Understood {
	u := r.understood
	u.Encoding = string(r.text.name())
	if r.dec != 0 {
		u.Decimal = string(rune(r.dec))
	}
	u.DateOrder, u.DateWhy = string(r.times.used), r.times.why
	u.Splits = append([]Split(nil), u.Splits...)
	if r.layout == nil {
		return u
	}
	for _, c := range r.layout.columns {
		col := Column{Number: c.n, Heading: c.heading, Is: c.name(), Reference: c.ref.String(), Why: c.why}
		if c.use != useIgnored {
			col.Unit = c.unit.name
		}
		if c.use != usePressure {
			col.Reference = ""
		}
		u.Columns = append(u.Columns, col)
	}
	return u
}
