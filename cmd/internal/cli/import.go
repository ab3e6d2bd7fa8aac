package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

func importCommand(w World, at *common) *cobra.Command {
	var asJSON, watch bool
	c := &cobra.Command{
		Use:   "import PATH...",
		Short: "Keep exports and judge their cycles",
		Long: "Keeps the bytes of exports and judges every cycle in them. A folder stands for the\n" +
			"exports in it. The same cycle again, as in the exports of noon and evening, is one\n" +
			"cycle. With --watch it stays and takes what comes.",
		Example: "holdproof import exports",
		Args: func(c *cobra.Command, args []string) error {
			if watch {
				return nil // the folders of the configuration
			}
			return needs(1, -1, "a file or a folder")(c, args)
		},
	}
	configFlag(c, at)
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.Flags().BoolVar(&watch, "watch", false, "stay, and take each export when it is complete")
	c.RunE = func(c *cobra.Command, args []string) error {
		r, done, err := openRecords(c.Context(), w, at)
		if err != nil {
			return err
		}
		defer done()
		debug.SetMemoryLimit(importMemory)
		if watch {
			return watchFolders(c.Context(), w, r, args, nil)
		}
		in := surgery.Arriving{Paths: args, Stdin: w.Stdin, Via: surgery.ViaCommand}
		p, all := newGauge(w, "reading"), surgery.SizeOf(args)
		in.Progress = func(done int64) { p.show(done, all) }
		if asJSON {
			return importJSON(c, w, r, in, p)
		}
		out := newArrivals(newPage(w, w.Stdout), r.Configuration().LimitsInForce())
		across, err := r.Import(c.Context(), in, out)
		p.clear()
		if err != nil {
			return importStopped(err, out.files)
		}
		if err := out.finish(across); err != nil {
			return err
		}
		out.count.complain(newPage(w, w.Stderr))
		return out.count.status()
	}
	return c
}

// importMemory is where the garbage collector begins to work harder, in bytes. With
// 2,000 cycles in one file the process stays below 64 MB at 2 % more work; without it
// it does not (measured).
const importMemory = 36 << 20

// importStopped says of an import that ended early what is kept all the same.
func importStopped(err error, files int) error {
	kept := "nothing was kept"
	if files > 0 {
		kept = "what was kept before stays: " + countOf(files, "file")
	}
	if interrupted(err) != err {
		return fmt.Errorf("interrupted; %s", kept)
	}
	return fmt.Errorf("%w; %s", err, kept)
}

func countOf(n int, thing string) string {
	switch stem, ends := strings.CutSuffix(thing, "y"); {
	case n == 1:
		return "1 " + thing
	case ends:
		return fmt.Sprintf("%d %sies", n, stem)
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// arrivals is the page of an import: that of check, with what was released and must
// be called back before it, and what was kept already after it.
type arrivals struct {
	page    *page
	sheet   *sheet
	count   tally
	files   int // that were kept
	again   int // cycles that were kept already
	recalls []string
	due     []string

	mark struct { // as it was when the last file was done
		sheet     sheet
		departed  int
		remembers int
	}
}

func newArrivals(p *page, limits string) *arrivals {
	return &arrivals{page: p, sheet: newSheet(p, limits, false, true)}
}

func (a *arrivals) Cycle(c surgery.Arrival) error {
	if !c.News() {
		a.again++
		if c.How == "again" { // a shorter record says nothing about the longer one that counts
			return a.count.Cycle(c.Judged)
		}
		return nil
	}
	if c.How == "longer" {
		a.forget(c.Key)
	}
	if err := a.count.Cycle(c.Judged); err != nil {
		return err
	}
	before := len(a.sheet.needs)
	if err := a.sheet.Cycle(c.Judged); err != nil {
		return err
	}
	if len(a.sheet.needs) > before {
		a.sheet.needs[before].key = c.Key
	}
	return nil
}

// forget takes back what was said of a cycle before more of it came.
func (a *arrivals) forget(key string) {
	before := len(a.sheet.needs)
	a.sheet.needs = slices.DeleteFunc(slices.Clone(a.sheet.needs), func(n need) bool { return n.key == key })
	a.count.departures -= before - len(a.sheet.needs)
}

// Again forgets the cycles of the file that is read once more.
func (a *arrivals) Again() error {
	m := a.mark
	a.sheet.needs, a.sheet.settled, a.sheet.remarks = m.sheet.needs, m.sheet.settled, m.sheet.remarks
	a.count.departures, a.again = m.departed, m.remembers
	return nil
}

func (a *arrivals) File(f surgery.Imported) error {
	if f.Kept {
		a.files++
	}
	a.recalls = append(a.recalls, f.Recalls...)
	for _, d := range f.Due {
		a.due = appendNew(a.due, d)
	}
	if err := a.count.File(f.FileRead); err != nil {
		return err
	}
	if err := a.sheet.File(f.FileRead); err != nil {
		return err
	}
	a.mark.sheet = *a.sheet
	a.mark.departed, a.mark.remembers = a.count.departures, a.again
	return nil
}

func appendNew(list []string, s string) []string {
	for _, have := range list {
		if have == s {
			return list
		}
	}
	return append(list, s)
}

func (a *arrivals) finish(across []surgery.Between) error {
	p := a.page
	if len(a.recalls) > 0 {
		p.gap()
		p.line(span{"  Call these loads back", strong})
		p.gap()
		for _, r := range a.recalls {
			m := p.mark(surgery.Failed)
			p.para("  "+m.text+"  ", sentence(r), plain)
			p.para(p.under(m, 0), "Find every pack. The lead closes the recall with what became of each.", strong)
			p.gap()
		}
	}
	if err := a.sheet.finishWith(across, a.tail); err != nil {
		return err
	}
	return nil
}

// tail is what stands between the cycles and the foot.
func (a *arrivals) tail() {
	p := a.page
	said := false
	if a.again > 0 {
		p.para("  ", countOf(a.again, "cycle")+" in these files kept already, with nothing new.", plain)
		said = true
	}
	if a.files == 0 && a.again == 0 && len(a.count.problems) == 0 {
		p.para("  ", "Nothing here is new: these files are kept already.", plain)
		said = true
	}
	for _, d := range a.due {
		p.para("  ", personsDay(d)+" is signed, and this changes it. A new revision of its record is due.", plain)
		said = true
	}
	if said {
		p.gap()
	}
}

// personsDay writes a day as people do: 2 Nov 2026.
func personsDay(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.Format("2 Jan 2006")
}

// importedJSON is a file in import --json.
type importedJSON struct {
	fileJSON
	Kept    bool     `json:"kept"`
	Recalls []string `json:"recalls"`
	Due     []string `json:"revisions_due"`
}

// arrivalJSON is a cycle in import --json: as in check --json, with its key and what
// it is to those that were kept.
type arrivalJSON struct {
	cycleJSON
	Key string `json:"key"`
	How string `json:"how"` // new, longer, again, shorter
}

// arrivalsJSON gathers what an import found; cycles wait for their file.
type arrivalsJSON struct {
	count  tally
	files  []importedJSON
	now    []arrivalJSON
	cycles surgery.Spool
	any    bool
}

func (a *arrivalsJSON) Cycle(c surgery.Arrival) error {
	a.now = append(a.now, arrivalJSON{cycleOf(c.Judged), c.Key, c.How})
	return nil
}

func (a *arrivalsJSON) Again() error {
	a.now = nil
	return nil
}

func (a *arrivalsJSON) File(f surgery.Imported) error {
	if err := a.count.File(f.FileRead); err != nil {
		return err
	}
	e := plainEncoder(&a.cycles)
	for _, c := range a.now {
		if c.Outcome != surgery.Conforms.String() && c.How != "shorter" {
			a.count.departures++
		}
		if a.any {
			io.WriteString(&a.cycles, ",")
		}
		a.any = true
		if err := e.Encode(c); err != nil {
			return err
		}
	}
	a.now = nil
	a.files = append(a.files, importedJSON{fileOf(f.FileRead), f.Kept, orEmpty(f.Recalls), orEmpty(f.Due)})
	return nil
}

func orEmpty(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func importJSON(c *cobra.Command, w World, r *surgery.Records, in surgery.Arriving, p *gauge) error {
	a := &arrivalsJSON{files: []importedJSON{}}
	defer a.cycles.Close()
	across, err := r.Import(c.Context(), in, a)
	p.clear()
	if err != nil {
		return importStopped(err, len(a.files))
	}
	files, err := json.Marshal(a.files)
	if err != nil {
		return err
	}
	between, err := json.Marshal(acrossOf(across))
	if err != nil {
		return err
	}
	cycles, err := a.cycles.Reader()
	if err != nil {
		return err
	}
	fmt.Fprintf(w.Stdout, `{"holdproof":%q,"files":%s,"cycles":[`, surgery.Version, files)
	if _, err := io.Copy(w.Stdout, cycles); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(w.Stdout, "],\"across\":%s}\n", between); err != nil {
		return err
	}
	a.count.complain(newPage(w, w.Stderr))
	return a.count.status()
}
