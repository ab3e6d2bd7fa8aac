package logbook

import (
	"context"
	"database/sql"
	"encoding/hex"
	"fmt"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"holdproof/report/logbook/entry"
)

// checker goes through the entries in order.
type checker struct {
	a              *auditor
	sums           map[string]bool // kept files
	imported       map[string]bool // files an import names
	configurations map[string]bool
	shadow         *shadow
	entered        map[int64]time.Time // of entries after which a root may have been recorded
	last           entry.Time
	broken         bool // an entry could not be read, or stands in the wrong place
}

// check looks at the n-th line from the beginning, which the table calls row.
func (c *checker) check(ctx context.Context, n, row int64, line []byte) error {
	defer c.a.step(1)
	e, err := entry.Parse(line)
	if err != nil {
		c.a.problem("entries", "entry %d: %v", n, err)
		c.broken = true
		return ctx.Err()
	}
	if e.Number != n || row != n {
		c.a.problem("entries", "entry %d stands in row %d, where entry %d belongs: an entry was removed, put in or moved", e.Number, row, n)
		c.broken = true
	}
	if e.Entered.Before(c.last.Time) {
		c.a.remarks = append(c.a.remarks, fmt.Sprintf("the clock of this computer went back between entry %d (%s) and entry %d (%s); the order of entries is that of their numbers",
			n-1, c.last, n, entry.At(e.Entered)))
	}
	c.last = entry.At(e.Entered)
	c.entered[n] = e.Entered
	c.references(e)
	if c.broken {
		return ctx.Err()
	}
	if err := project(ctx, c.shadow.q, e); err != nil {
		c.a.problem("entries", "entry %d does not follow from those before it: %s", n, plain(err))
		c.broken = true
		return ctx.Err()
	}
	return ctx.Err()
}

// references checks that what the entry names is in the logbook.
func (c *checker) references(e entry.Entry) {
	missing := func(what, sum string) {
		c.a.problem("references", "entry %d names the %s %s, which is not in the logbook", e.Number, what, sum)
	}
	switch b := e.Body.(type) {
	case entry.Import:
		c.imported[b.SHA256] = true
		if !c.sums[b.SHA256] {
			missing("file", b.SHA256)
		}
	case entry.Configuration:
		c.configurations[b.SHA256] = true
	case entry.Verdict:
		for _, s := range b.Sources {
			if !c.sums[s.SHA256] {
				missing("file", s.SHA256)
			}
		}
		if !c.configurations[b.Configuration] {
			missing("configuration", b.Configuration)
		}
	}
}

// auditTree compares the stored hashes and roots with the tree made from the lines.
func auditTree(ctx context.Context, q querier, a *auditor, tree *entry.Tree, entered map[int64]time.Time) error {
	var next int64
	err := each(ctx, q, `SELECT i, hash FROM hashes ORDER BY i`, nil, func(r *sql.Rows) error {
		var at strictInt
		var h strictBytes
		if err := r.Scan(&at, &h); err != nil {
			return err
		}
		i := int64(at)
		want, err := tree.ReadHashes([]int64{next})
		if err != nil || i != next || string(h) != string(want[0][:]) {
			level, at := tlog.SplitStoredHashIndex(i)
			a.problem("tree", "stored hash %d (level %d, place %d) is not that of the entries: an entry was changed, removed, put in or moved", i, level, at)
		}
		next++
		return nil
	})
	if err != nil {
		return err
	}
	if all := tlog.StoredHashCount(tree.Size()); next < all {
		a.problem("tree", "%d hashes are stored, %d entries make %d", next, tree.Size(), all)
	}
	var last int64
	err = each(ctx, q, `SELECT size, root, at FROM trees ORDER BY size`, nil, func(r *sql.Rows) error {
		var size strictInt
		var root, at strictText
		if err := r.Scan(&size, &root, &at); err != nil {
			return err
		}
		last = int64(size)
		want, err := tree.Root(last)
		switch {
		case err != nil:
			a.problem("tree", "a root is recorded over %d entries, there are %d", last, tree.Size())
		case hex.EncodeToString(want[:]) != string(root):
			a.problem("tree", "the root recorded over the first %d entries is not theirs", last)
		case entry.At(entered[last]).String() != string(at):
			a.problem("tree", "the root over the first %d entries is dated %s, entry %d is of %s", last, at, last, entry.At(entered[last]))
		}
		return nil
	})
	if err == nil && last != tree.Size() {
		a.problem("tree", "the newest root is over %d entries, there are %d", last, tree.Size())
	}
	return err
}
