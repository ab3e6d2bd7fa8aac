package surgery

import (
	"bytes"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"

	"golang.org/x/sync/errgroup"

	"holdproof/parse"
	"holdproof/report/archive"
	picture "holdproof/report/figure"
	"holdproof/report/logbook"
)

// manyCyclesInFile is from how many cycles on the figures of a file are kept for the days that
// follow, since reading it again for each would be slow (ours).
const manyCyclesInFile = 40

// The figures of a bag in mm: with numbers, since the page is all that many readers open.
const bagFigureWide, bagFigureHigh = 84, 32

// drawnFiles draws the small figures of cycles: from the sketch that a verdict keeps, and
// where it keeps none from the kept files. Each file is read once; the figures of one
// that many days share wait in little memory.
type drawnFiles struct {
	r    *Records
	ctx  context.Context
	v    *logbook.View
	kept map[string]map[string][]byte // figures by key, packed, by file
}

func newDrawnFiles(r *Records, ctx context.Context, v *logbook.View) *drawnFiles {
	return &drawnFiles{r: r, ctx: ctx, v: v, kept: map[string]map[string][]byte{}}
}

func (d *drawnFiles) forget() { d.kept = nil }

// of returns the figures of the cycles of a day, by key. One whose verdict has no sketch,
// and that comes out otherwise today than its verdict says, has none.
func (d *drawnFiles) of(all []logbook.Cycle) (map[string][]byte, error) {
	out := map[string][]byte{}
	var cycles []logbook.Cycle
	for _, c := range all {
		if svg, is := d.r.sketched(c, picture.SketchScaledSVG, bagFigureWide, bagFigureHigh); is {
			out[c.Key] = svg
		} else {
			cycles = append(cycles, c)
		}
	}
	byFile := map[string]bool{}
	var files []string
	for _, c := range cycles {
		if from := c.Verdict.Sources[0].SHA256; c.Readings > 0 && !byFile[from] && d.kept[from] == nil {
			byFile[from] = true
			files = append(files, from)
		}
	}
	drawn := make([]map[string][]byte, len(files))
	if err := d.draw(files, cycles, drawn); err != nil {
		return nil, err
	}
	for _, c := range cycles {
		from := c.Verdict.Sources[0].SHA256
		for i, f := range files {
			if f == from && drawn[i][c.Key] != nil {
				out[c.Key] = drawn[i][c.Key]
			}
		}
		if packed := d.kept[from][c.Key]; packed != nil {
			svg, err := io.ReadAll(flate.NewReader(bytes.NewReader(packed)))
			if err != nil {
				return nil, err
			}
			out[c.Key] = svg
		}
	}
	return out, nil
}

// draw reads files, several at a time; a file that many days share goes to those kept.
func (d *drawnFiles) draw(files []string, cycles []logbook.Cycle, into []map[string][]byte) error {
	var g errgroup.Group
	g.SetLimit(max(2, runtime.GOMAXPROCS(0)))
	for i, sum := range files {
		wanted, many, err := d.wanted(sum, cycles)
		if err != nil {
			return errors.Join(err, g.Wait())
		}
		src, err := d.r.original(d.ctx, d.v, sum)
		if err != nil {
			return errors.Join(fmt.Errorf("nothing was packed: %s%s.csv: %w", archive.Exports, sum, err), g.Wait())
		}
		if many {
			kept := map[string][]byte{}
			err := d.file(src, sum, wanted, func(key string, svg []byte) error {
				var b bytes.Buffer
				z, err := flate.NewWriter(&b, flate.BestSpeed)
				if err != nil {
					return err
				}
				_, err = z.Write(svg)
				err = errors.Join(err, z.Close())
				kept[key] = b.Bytes()
				return err
			})
			if err = errors.Join(err, src.Close()); err != nil {
				return errors.Join(err, g.Wait())
			}
			d.kept[sum] = kept
			continue
		}
		into[i] = map[string][]byte{}
		g.Go(func() error {
			err := d.file(src, sum, wanted, func(key string, svg []byte) error { into[i][key] = svg; return nil })
			return errors.Join(err, src.Close())
		})
	}
	return g.Wait()
}

// wanted are the cycles to draw of a file: those of the day, or all where there are many.
func (d *drawnFiles) wanted(sum string, cycles []logbook.Cycle) (list []logbook.Cycle, many bool, err error) {
	some, err := d.v.Cycles(d.ctx, logbook.CycleFilter{File: sum, Limit: manyCyclesInFile})
	if err != nil || len(some) < manyCyclesInFile {
		return cycles, false, err
	}
	list, err = d.v.Cycles(d.ctx, logbook.CycleFilter{File: sum, Verdicts: true})
	return list, true, err
}

// file reads one file and draws those of its cycles that were judged by it.
func (d *drawnFiles) file(src io.ReadSeeker, sum string, wanted []logbook.Cycle, keep func(key string, svg []byte) error) error {
	at := map[int64]logbook.Cycle{}
	name := ""
	for _, c := range wanted {
		if s := c.Verdict.Sources[0]; s.SHA256 == sum {
			at[s.FirstLine], name = c, s.File
		}
	}
	in, err := parse.Open(name, src, d.r.bench.options)
	if err != nil {
		return nil // not to be read under today's settings: no figure
	}
	for len(at) > 0 {
		got, err := in.Next()
		if err != nil {
			return nil
		}
		c, is := at[int64(got.Header.Source.FirstLine)]
		if !is || got.Record == nil {
			continue
		}
		delete(at, int64(got.Header.Source.FirstLine))
		j := d.r.bench.judge(name, got)
		now, err := d.r.verdictOn(j)
		if err != nil {
			return err
		}
		if len(differences(now, *c.Verdict)) > 0 {
			continue
		}
		svg := picture.ScaledSVG(d.r.drawable(j), bagFigureWide, bagFigureHigh)
		if err := keep(c.Key, svg); err != nil {
			return err
		}
	}
	return nil
}
