package surgery

import (
	"encoding/csv"
	"fmt"
	"html"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"holdproof/report/archive"
)

// maxFirstPage bounds the first page of a bag (ours): that of ten years has 1 MB.
const maxFirstPage = 64 << 20

// tabled are the columns of cycles.csv that are compared, and what the ledger says.
var tabled = []struct {
	heading string
	of      func(*baggedCycle) string
}{
	{"steriliser", func(c *baggedCycle) string { return plainCell(c.Steriliser) }},
	{"number", func(c *baggedCycle) string { return plainCell(c.Number) }},
	{"day", func(c *baggedCycle) string { return c.day }},
	{"kind", func(c *baggedCycle) string { return c.kind }},
	{"outcome", func(c *baggedCycle) string { return c.outcome }},
	{"verdict_entry", func(c *baggedCycle) string { return strconv.FormatInt(c.verdict, 10) }},
}

// table compares cycles.csv with the newest verdict of every cycle of the bag. In a bag
// that nobody signed it is what shows that the one was changed and not the other.
func (c *bagChecker) table() {
	f, err := c.bag.OpenFile(archive.Cycles)
	if err != nil {
		return // said by contents
	}
	defer f.Close()
	want := map[string]*baggedCycle{}
	for key, cy := range c.log.cycles {
		if c.log.of(cy) {
			want[plainCell(key)] = cy
		}
	}
	rows := csv.NewReader(f)
	head, err := rows.Read()
	if err != nil {
		c.problems.Add("table", "The file %s cannot be read: %v.", archive.Cycles, err)
		return
	}
	id := slices.Index(head, "id")
	for _, col := range tabled {
		if id < 0 || !slices.Contains(head, col.heading) {
			c.problems.Add("table", "The file %s lacks the column id or %s.", archive.Cycles, col.heading)
			return
		}
	}
	for {
		row, err := rows.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			c.problems.Add("table", "The file %s cannot be read: %v.", archive.Cycles, err)
			return
		}
		cy := want[row[id]]
		if cy == nil {
			c.problems.Add("table", "The file %s has a row of %.80q, and by the ledger no such cycle is in this bag, or it stands there twice.", archive.Cycles, row[id])
			continue
		}
		delete(want, row[id])
		for _, col := range tabled {
			if got, want := row[slices.Index(head, col.heading)], col.of(cy); got != want {
				c.problems.Add("table", "The file %s, cycle %s: %s is %.80q, and in the ledger %q.", archive.Cycles, row[id], col.heading, got, want)
			}
		}
	}
	for _, key := range sortedKeys(want) {
		c.problems.Add("table", "The file %s has no row of cycle %s, which the ledger has.", archive.Cycles, key)
	}
}

// firstPage looks whether the first page was made from this very ledger: it prints how
// many entries there were and their root.
func (c *bagChecker) firstPage() {
	if !c.bag.Has(archive.Index) {
		return // said by contents
	}
	text, err := c.bag.ReadFile(archive.Index, maxFirstPage)
	if err != nil {
		c.problems.Add("first page", "The file %s cannot be read: %v.", archive.Index, plainPath(err))
		return
	}
	page := html.UnescapeString(string(text))
	for _, want := range []string{c.tip.RootText(), fmt.Sprintf("%d entries", c.tip.Size)} {
		if !strings.Contains(page, want) {
			c.problems.Add("first page", "The file %s was made from another ledger: it does not name %s.", archive.Index, want)
		}
	}
}

// knownMachine looks whether the one steriliser of the bag is one that the ledger knows,
// by an entry or by a configuration that was in force.
func (c *bagChecker) knownMachine() {
	id := c.bag.Info.Steriliser
	if id == "" || c.log.machines[id] {
		return
	}
	named := regexp.MustCompile(`\bid["']?:\s*["']?` + regexp.QuoteMeta(id) + `["']?\s*([,}#]|$)`)
	for _, text := range c.log.configured {
		for line := range strings.Lines(text) {
			if named.MatchString(strings.TrimSpace(line)) {
				return
			}
		}
	}
	c.problems.Add("steriliser", "The bag calls itself one of the steriliser %q, and no entry knows one of that name.", id)
}
