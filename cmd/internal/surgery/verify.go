package surgery

import (
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"holdproof/report/daily"
	"holdproof/report/logbook/entry"
	"holdproof/report/seal"
)

// maxRecord bounds a record that is verified (ours): a year of exports is smaller.
const maxRecord = 1 << 30

// Trusting says whom a record is believed from. Both are PEM files and may be "".
type Trusting struct {
	Roots      string // authorities of signers; without one a record can be sound, never trusted
	StampRoots string // authorities of time stamps
}

// Verified is what was found of one record, from its file alone.
type Verified struct {
	File       string
	OK         bool // sound, and with roots: trusted
	Trusted    bool
	Problems   []string // sentences
	Signatures []seal.Signature
	Waiting    bool // a second signature is asked for and not there
	Record     Facts
	Attached   int // files inside, each compared with the record
}

// Facts is what a record says of itself.
type Facts struct {
	ID, Surgery, Date string
	Cycles            int
	NotConforming     int
	LogSize           int64
	LogRoot           string
}

// Verify checks signed records offline, without any logbook: signatures, certificates
// and their times, the facts inside, and the attached exports against them.
//
// Error: a file that cannot be read, or roots that cannot. What is wrong with a record
// is no error but stands in its result.
func Verify(files []string, t Trusting) ([]Verified, error) {
	var trust seal.Trust
	for _, p := range []struct {
		file string
		pool **x509.CertPool
	}{{t.Roots, &trust.Roots}, {t.StampRoots, &trust.StampRoots}} {
		if p.file == "" {
			continue
		}
		roots, err := readRoots(p.file)
		if err != nil {
			return nil, err
		}
		*p.pool = roots
	}
	var out []Verified
	var failed error
	for _, name := range expand(files) {
		data, err := readRecord(name)
		if err != nil {
			failed = errors.Join(failed, err)
			continue
		}
		v := verifyRecord(data, trust)
		v.File = name
		out = append(out, v)
	}
	return out, failed
}

func readRecord(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, plainPath(err))
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s cannot be read: %w", name, plainPath(err))
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s is no file, expected a signed record such as records/2026-11-02.pdf", name)
	case info.Size() > maxRecord:
		return nil, fmt.Errorf("%s has more than %d MiB, which no record has", name, maxRecord>>20)
	}
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, plainPath(err))
	}
	return data, nil
}

// verifyRecord checks the bytes of a record.
func verifyRecord(data []byte, t seal.Trust) Verified {
	report := seal.Verify(data, t)
	v := Verified{OK: report.OK, Trusted: report.Trusted, Problems: report.Problems, Signatures: report.Signatures, Waiting: report.Waiting}
	if !report.OK {
		return v
	}
	if err := v.inside(report); err != nil {
		v.OK, v.Trusted = false, false
		v.Problems = append(v.Problems, capital(err.Error())+".")
	}
	return v
}

// inside compares what the signatures say with the facts and exports they cover.
func (v *Verified) inside(report *seal.Report) error {
	files, err := report.Attachments()
	if err != nil {
		return err
	}
	var d daily.Day
	found := false
	sums := map[string]bool{}
	for _, f := range files {
		if f.Name == dayFile && f.Relationship == "Data" {
			if d, err = daily.Parse(f.Bytes); err != nil {
				return err
			}
			found = true
			continue
		}
		sums[entry.Sum(f.Bytes)] = true
	}
	if !found {
		return errors.New("the record has no day.json inside; it was not made by this program")
	}
	v.Attached = len(files)
	v.Record = Facts{ID: d.Record.ID, Surgery: d.Surgery.Name, Date: d.Date, Cycles: len(d.Cycles), NotConforming: len(d.Cycles) - d.Count(Conforms),
		LogSize: d.Record.LogSize, LogRoot: d.Record.LogRoot}
	if err := attachedAsSaid(d, sums); err != nil {
		return err
	}
	return v.signedAsSaid(d)
}

// attachedAsSaid compares the attached files, by SHA-256, with the exports of the facts.
func attachedAsSaid(d daily.Day, sums map[string]bool) error {
	for _, s := range d.Sources {
		if !sums[s.SHA256] {
			return fmt.Errorf("the export %s is not attached as it was judged", s.Name)
		}
	}
	if len(sums) > len(d.Sources) {
		return errors.New("files are attached that the record does not name")
	}
	return nil
}

// signedAsSaid compares surgery, time and number of signatures with the facts.
func (v *Verified) signedAsSaid(d daily.Day) error {
	made, err := time.Parse(time.RFC3339, d.Record.Made)
	if err != nil {
		return err
	}
	for _, s := range v.Signatures {
		switch {
		case s.Surgery != d.Surgery.Name:
			return fmt.Errorf("the signature of %s is for %s, the record is of %s", s.Name, s.Surgery, d.Surgery.Name)
		case s.Printed.Before(made):
			return fmt.Errorf("%s signed at %s, and the record is of %s", s.Name, s.Printed.Format(time.RFC3339), d.Record.Made)
		}
	}
	if second := len(v.Signatures) > 1 || v.Waiting; second != (d.Signing.Second == "required") {
		return fmt.Errorf("the record says that a second signature is %s, and its form does not", map[bool]string{true: "not asked for", false: "asked for"}[second])
	}
	return nil
}
