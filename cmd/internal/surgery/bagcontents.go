package surgery

import (
	"path/filepath"
	"slices"
	"strings"

	"holdproof/report/archive"
)

// contents compares the files with what the ledger says must be in a bag of this period.
func (c *bagChecker) contents() {
	need := map[string]string{} // why
	for _, name := range []string{archive.Index, archive.HowTo, archive.Cycles, archive.Keys + "ca.pem", archive.Keys + "certificates.pem", archive.Keys + "certificates.csv"} {
		need[name] = "belongs to every bag"
	}
	for _, name := range c.log.names {
		need[archive.Records+name] = "is named by an entry"
	}
	for _, key := range sortedKeys(c.log.cycles) {
		if cy := c.log.cycles[key]; c.log.of(cy) {
			for _, s := range cy.sources {
				need[archive.Exports+s+".csv"] = "is what cycle " + key + " was read from"
			}
			need["data/"+archive.DayFile(cy.day)] = "shows cycle " + key
		}
	}
	for _, day := range sortedKeys(c.log.days) {
		if name := "data/" + archive.DayFile(day); need[name] == "" {
			need[name] = "shows a day that has an entry"
		}
	}
	for _, s := range sortedKeys(c.log.failed) {
		need[archive.Exports+s+".csv"] = "came in these days and was not read in full"
	}
	for _, name := range sortedKeys(need) {
		if !c.bag.Has(name) {
			c.problems.Add("missing contents", "The file %s is missing; it %s.", name, need[name])
		}
	}
	for _, name := range c.bag.Names("data/") {
		base := filepath.Base(name)
		switch sum, isExport := strings.CutPrefix(name, archive.Exports); {
		case isExport:
			sum = strings.TrimSuffix(sum, ".csv")
			cycles, imported := c.log.imports[sum]
			if c.out.Exports++; !imported {
				c.problems.Add("strange files", "The file %s: no entry names an export of that SHA-256.", name)
			} else if need[name] == "" && !slices.ContainsFunc(cycles, func(key string) bool { cy := c.log.cycles[c.log.standing(key)]; return cy != nil && c.log.of(cy) }) {
				c.problems.Add("strange files", "The file %s: by the ledger it holds no cycle of this bag.", name)
			} else if c.bag.Sum(name) != sum {
				c.problems.Add("exports", "The file %s is not the one that was imported: its SHA-256 is %s.", name, c.bag.Sum(name))
			}
		case strings.HasPrefix(name, archive.Records):
			if name != archive.Records+base || c.log.files[base] == nil {
				c.problems.Add("strange files", "The file %s: no entry of these days names a record of that name.", name)
			}
		case need[name] == "" && !slices.Contains([]string{archive.Ledger, archive.Checkpoint, archive.Signature}, name):
			c.problems.Add("strange files", "The file %s does not belong to a bag.", name)
		}
	}
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
