package surgery

import (
	"cmp"
	"context"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"holdproof/report/archive"
	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Bagging says what goes into a bag, and where it will stand.
type Bagging struct {
	From, To   string // local dates, ends included
	Steriliser string // id, "" for all; records of days speak of all in any case
	Out        string // a ZIP if it ends in .zip, else a folder; nothing may be there
	By         Proof  // who signs the checkpoint; a Proof without a person: nobody
	// Progress, if not nil, is told how many days of the period are done.
	Progress func(done, all int64)

	bare bool // without pages: a benchmark tells what they cost
}

// Bagged is a bag that is on the disk.
type Bagged struct {
	Path        string
	Cycles      int
	Records     int // signed records, all revisions
	Exports     int
	Entries     int64
	Signer      string // name of who signed the checkpoint, "" for nobody
	Fingerprint string // of the site's authority, to be compared over another way
	Checkpoint  string // in its four lines
	Missing     []string
}

// Bag packs a period for an inspector, as the logbook holds it at one moment. The same
// logbook, period and signer give the same bytes: no clock is read. It takes as much
// memory for ten years as for a month.
//
// A signed record whose file is gone or changed is left out; it stands in Missing and in
// the bag, and the rest is packed. A kept export that is damaged ends it, and nothing is
// written.
//
// Errors: a [*Refusal], such as a target that is there already; [seal.ErrPassphrase].
func (r *Records) Bag(ctx context.Context, b Bagging) (Bagged, error) {
	if err := r.baggable(b); err != nil {
		return Bagged{}, err
	}
	w := &bagWriter{r: r, ctx: ctx, asked: b}
	if b.By.Person != "" {
		by, err := r.proveToSign(ctx, b.By, ActBag)
		if err != nil {
			return Bagged{}, err
		}
		w.by = &by
	}
	var failed error // the target's disk is not the logbook's, which Read would name
	err := r.book.Read(ctx, func(v *logbook.View) error {
		w.v = v
		failed = w.write()
		return nil
	})
	return w.out, cmp.Or(failed, err)
}

// baggable refuses what cannot be a period or a target, before anybody is asked for a
// passphrase.
func (r *Records) baggable(b Bagging) error {
	for _, day := range []string{b.From, b.To} {
		if d, err := time.Parse(time.DateOnly, day); err != nil || d.Format(time.DateOnly) != day {
			return &Refusal{Why: fmt.Sprintf("%q is no date", day), Instead: "Write dates as 2026-11-02: holdproof bag 2026-11-01 2026-11-30 --out november.zip"}
		}
	}
	if b.From > b.To {
		return &Refusal{Why: fmt.Sprintf("the period would end on %s, before it begins on %s", dayWords(b.To), dayWords(b.From)), Instead: "Give the earlier day first."}
	}
	if b.Out == "" {
		return &Refusal{Why: "nothing says where the bag is to stand", Instead: "Name a new folder, or a new file that ends in .zip, with --out."}
	}
	if _, err := os.Lstat(b.Out); err == nil {
		return &Refusal{Why: b.Out + " is there already", Instead: "Nothing is overwritten. Name another file or folder."}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s cannot be written: %w", b.Out, plainPath(err))
	}
	return nil
}

// bagWriter packs one bag from one moment of the logbook.
type bagWriter struct {
	r     *Records
	ctx   context.Context
	v     *logbook.View
	asked Bagging
	by    *proven
	out   Bagged

	tip     entry.Checkpoint
	pack    *archive.Packer
	records map[string][]bagRecord // by day
	people  map[string]string      // names by id
}

// bagRecord is the file of a signed record.
type bagRecord struct{ name, sha256 string }

func (w *bagWriter) write() error {
	var err error
	if w.tip, err = w.v.Checkpoint(w.ctx); err != nil {
		return err
	}
	if w.tip.Size == 0 {
		return &Refusal{Why: "there is nothing in the logbook yet", Instead: "Import exports first."}
	}
	if err := w.knownMachine(); err != nil {
		return err
	}
	made := w.tip.Time.In(w.r.zone)
	base := "holdproof-" + w.asked.From + "-to-" + w.asked.To
	w.pack, err = archive.NewPacker(w.asked.Out, base, made)
	if errors.Is(err, fs.ErrExist) {
		return &Refusal{Why: w.asked.Out + " is there already", Instead: "Nothing is overwritten. Name another file or folder."}
	}
	if err != nil {
		return w.unwritten(err)
	}
	defer w.pack.Close()
	pages := w.pages
	if w.asked.bare {
		pages = func() error { return nil }
	}
	for _, step := range []func() error{w.signed, w.trust, pages, w.table, w.originals, w.ledger} {
		if err := step(); err != nil {
			return w.unwritten(err)
		}
	}
	info := archive.Info{Surgery: w.r.settings.Value.Site.Name, From: w.asked.From, To: w.asked.To, Steriliser: w.asked.Steriliser,
		Packed: made.Format(time.DateOnly), Software: "holdproof " + w.r.world.Version, Missing: w.out.Missing}
	var sign func([]byte) ([]byte, error)
	if w.by != nil {
		sign = w.by.key.SignDetached
	}
	if err := w.pack.Finish(info, sign); err != nil {
		return w.unwritten(err)
	}
	w.out.Path, w.out.Entries, w.out.Checkpoint = w.asked.Out, w.tip.Size, string(w.tip.Text())
	return nil
}

// unwritten names the target where its disk is to blame.
func (w *bagWriter) unwritten(err error) error {
	var at *fs.PathError
	if errors.As(err, &at) {
		return fmt.Errorf("%s cannot be written: %w", w.asked.Out, at.Err)
	}
	return err
}

// knownMachine refuses a steriliser that neither the configuration nor any cycle names.
func (w *bagWriter) knownMachine() error {
	id := w.asked.Steriliser
	if id == "" || slices.ContainsFunc(w.r.settings.Value.Sterilisers, func(s Steriliser) bool { return s.ID == id }) {
		return nil
	}
	found, err := w.v.Cycles(w.ctx, logbook.CycleFilter{Steriliser: id, Limit: 1})
	if err != nil || len(found) > 0 {
		return err
	}
	return &Refusal{Why: fmt.Sprintf("no steriliser is called %q", id), Instead: "holdproof.yaml lists them under sterilisers."}
}

// trust writes what everything else is believed by: checkpoint, its signature, the
// certificates and their log, and how to check.
func (w *bagWriter) trust() error {
	people, err := logbook.Find[entry.Person](w.ctx, w.v, logbook.Filter{})
	if err != nil {
		return err
	}
	w.people = map[string]string{}
	for _, p := range people {
		w.people[p.Said.Person] = p.Said.Name
	}
	all, err := certificates(w.ctx, w.v)
	if err != nil {
		return err
	}
	var authority, issued []byte
	for _, c := range all {
		block := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: c.der})
		issued = fmt.Appendf(issued, "%s, issued %s\n%s\n", certified(c), c.Issued.UTC().Format(time.RFC3339), block)
		if c.Person == "" {
			authority = append(authority, block...)
			w.out.Fingerprint = c.Fingerprint
		}
	}
	facts := archive.Checking{Surgery: w.r.settings.Value.Site.Name, From: w.asked.From, To: w.asked.To, Steriliser: w.asked.Steriliser,
		Fingerprint: w.out.Fingerprint, Checkpoint: w.tip, Version: w.r.world.Version}
	text := w.tip.Text()
	for day := range w.records {
		for _, r := range w.records[day] {
			if facts.Record == "" || r.name < facts.Record {
				facts.Record = r.name
			}
		}
	}
	if w.by != nil {
		facts.Signer = w.by.Name
		w.out.Signer = w.by.Name
	}
	err = errors.Join(w.pack.Add(archive.HowTo, facts.Text()), w.pack.Add(archive.Checkpoint, text),
		w.pack.Add(archive.Keys+"ca.pem", authority), w.pack.Add(archive.Keys+"certificates.pem", issued), w.certificateLog(all))
	if err != nil || w.by == nil {
		return err
	}
	cms, err := w.by.key.SignDetached(text)
	if err != nil {
		return unsigned(err)
	}
	return w.pack.Add(archive.Signature, cms)
}

// certified names a certificate.
func certified(c Certified) string {
	name := strings.Join(strings.Fields(c.Name), " ")
	if c.Person == "" {
		return name + " (the authority)"
	}
	return name
}

// signed packs the signed records of the period, all revisions, each with the bytes that
// its newest signature names.
func (w *bagWriter) signed() error {
	rows, err := logbook.Find[entry.Signature](w.ctx, w.v, logbook.Filter{From: w.asked.From, To: w.asked.To})
	if err != nil {
		return err
	}
	newest := map[string]entry.Signature{} // of a file
	var names []string
	for _, row := range rows {
		name := filepath.Base(row.Said.File)
		if _, there := newest[name]; !there {
			names = append(names, name)
		}
		newest[name] = row.Said
	}
	slices.Sort(names)
	w.records = map[string][]bagRecord{}
	for _, name := range names {
		s := newest[name]
		data, err := readRecord(w.r.recordPath(name))
		switch {
		case err != nil:
			w.out.Missing = append(w.out.Missing, fmt.Sprintf("records/%s: the file is not there or cannot be read", name))
			continue
		case entry.Sum(data) != s.SHA256:
			w.out.Missing = append(w.out.Missing, fmt.Sprintf("records/%s: the file is not the one that was signed", name))
			continue
		}
		if err := w.pack.Add(archive.Records+name, data); err != nil {
			return err
		}
		w.records[s.Day] = append(w.records[s.Day], bagRecord{name, s.SHA256})
		w.out.Records++
	}
	return nil
}

// ledger packs every entry of the logbook with its proof: the proof that nothing was left
// out is that all of them make the root.
func (w *bagWriter) ledger() error {
	tree, err := w.v.Tree(w.ctx, w.tip)
	if err != nil {
		return err
	}
	out, err := w.pack.Create(archive.Ledger)
	if err != nil {
		return err
	}
	l := archive.NewLedgerWriter(out, tree, w.tip.Root)
	if err := w.v.Lines(w.ctx, 1, l.Add); err != nil {
		return err
	}
	return errors.Join(l.Finish(), out.Close())
}

// spans goes through the period month by month, so that ten years take no more memory
// than a month.
func (w *bagWriter) spans(fn func(from, to string) error) error {
	first, err1 := time.Parse(time.DateOnly, w.asked.From)
	last, err2 := time.Parse(time.DateOnly, w.asked.To)
	if err := errors.Join(err1, err2); err != nil {
		return err
	}
	const span = 31
	for day := first; !day.After(last); day = day.AddDate(0, 0, span) {
		end := day.AddDate(0, 0, span-1)
		if end.After(last) {
			end = last
		}
		if err := fn(day.Format(time.DateOnly), end.Format(time.DateOnly)); err != nil {
			return err
		}
	}
	return nil
}
