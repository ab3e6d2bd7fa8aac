// Package parse reads a steriliser's export into [cycle.Record]s.
//
// It refuses rather than repairs: a missing heading, a time that cannot be read or a
// clock that runs backwards is an [Error] with line and column. Whether 121 °C was
// hot enough is validate's job.
//
// A file passes through these steps, one row of it in memory at a time:
//
//   - text: bytes to UTF-8 with LF at every line end; what is no text is refused.
//   - rows: encoding/csv takes rows apart, gocsv carries them.
//   - layout: the heading is understood by words.csv, units.csv and the configuration.
//   - block: the lines before the heading, `key: value`.
//   - timing: times become seconds; changes of the clock and midnights are followed.
//   - builder: readings become a record.
//
// A cell of a judged temperature or of the pressure that holds no number is NaN and is
// listed in the header; the row is not refused. Everything else that cannot be read
// refuses its cycle, and leaves the other cycles of the file alone.
package parse
