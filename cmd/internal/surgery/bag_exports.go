package surgery

import (
	"fmt"
	"time"

	"holdproof/report/archive"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// originals packs the exports of the period, each once, as they are kept.
func (w *bagWriter) originals() error {
	days := func(from, to string) int64 {
		a, err1 := time.Parse(time.DateOnly, from)
		b, err2 := time.Parse(time.DateOnly, to)
		if err1 != nil || err2 != nil {
			return 0
		}
		return int64(b.Sub(a)/(24*time.Hour)) + 1
	}
	err := w.spans(func(from, to string) error {
		if w.asked.Progress != nil {
			w.asked.Progress(days(w.asked.From, from)-1, days(w.asked.From, w.asked.To))
		}
		sums, err := w.exportsOf(from, to)
		if err != nil {
			return err
		}
		for _, sum := range sums {
			if w.pack.Has(archive.Exports + sum + ".csv") {
				continue
			}
			if err := w.original(sum); err != nil {
				return err
			}
			w.out.Exports++
		}
		return nil
	})
	if err != nil {
		return err
	}
	return unpackedBadly(w.pack.Unpacked())
}

// unpackedBadly says that an export which is not what it is named by ended everything.
func unpackedBadly(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("nothing was packed: %w", err)
}

func (w *bagWriter) original(sum string) error {
	p, err := w.v.Packed(w.ctx, sum)
	if err != nil {
		return err
	}
	err = w.pack.AddPacked(archive.Exports+sum+".csv", sum, archive.Packed{Packed: p.Packed, Size: p.Size, CRC32: p.CRC32}, p)
	if err != nil {
		return unpackedBadly(err)
	}
	return w.ctx.Err()
}

// exportsOf returns the files that cycles of some days were read from, and those that
// came in on them and could not be read in full.
func (w *bagWriter) exportsOf(from, to string) ([]string, error) {
	cycles, err := w.v.Cycles(w.ctx, logbook.CycleFilter{From: from, To: to, Steriliser: w.asked.Steriliser})
	if err != nil {
		return nil, err
	}
	sources, err := w.v.SourcesOf(w.ctx, from, to)
	if err != nil {
		return nil, err
	}
	var sums []string
	for _, c := range cycles {
		for _, s := range sources[c.Key] {
			sums = append(sums, s.SHA256)
		}
	}
	came, err := logbook.Find[entry.Import](w.ctx, w.v, logbook.Filter{From: from, To: to})
	if err != nil {
		return nil, err
	}
	for _, i := range came {
		if ofMachine(w.asked.Steriliser, i.Said.Steriliser) {
			sums = append(sums, i.Said.SHA256)
		}
	}
	return sums, nil
}

// ofMachine tells whether what names a steriliser belongs to the one that is asked for:
// where either names none it does.
func ofMachine(asked, named string) bool { return asked == "" || named == "" || asked == named }
