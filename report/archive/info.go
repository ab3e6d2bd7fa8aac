package archive

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Info is what a bag says of itself in bag-info.txt (RFC 8493, 2.2.2). It is nobody's
// signed word: what counts is compared with the ledger.
type Info struct {
	Surgery    string
	From, To   string // local dates, ends included
	Steriliser string // "": all
	Packed     string // date of the checkpoint: no clock is read
	Software   string // such as "holdproof 0.1.0"
	Missing    []string

	octets, files int64 // Payload-Oxum
}

// all stands for all sterilisers.
const all = "all machines"

// The labels of bag-info.txt, in their order. Those that begin with Holdproof are ours.
const (
	labelSurgery    = "Source-Organization"
	labelPacked     = "Bagging-Date"
	labelOxum       = "Payload-Oxum"
	labelSoftware   = "Bag-Software-Agent"
	labelFrom       = "Holdproof-From"
	labelTo         = "Holdproof-To"
	labelSteriliser = "Holdproof-Steriliser"
	labelMissing    = "Holdproof-Missing"
)

// text writes bag-info.txt.
func (i Info) text() []byte {
	machine := i.Steriliser
	if machine == "" {
		machine = all
	}
	lines := [][2]string{
		{labelSurgery, i.Surgery}, {labelPacked, i.Packed}, {labelOxum, fmt.Sprintf("%d.%d", i.octets, i.files)}, {labelSoftware, i.Software},
		{labelFrom, i.From}, {labelTo, i.To}, {labelSteriliser, machine},
	}
	for _, m := range i.Missing {
		lines = append(lines, [2]string{labelMissing, m})
	}
	var out []byte
	for _, l := range lines {
		// A line end within a value would begin another label.
		out = fmt.Appendf(out, "%s: %s\n", l[0], strings.Join(strings.Fields(l[1]), " "))
	}
	return out
}

// once are the labels that may stand there but once: one of them by the RFC, the others
// because two answers would be none.
var once = []string{labelPacked, labelOxum, labelFrom, labelTo, labelSteriliser}

// labels are those that are read, as they are written here.
var labels = append([]string{labelSurgery, labelSoftware, labelMissing}, once...)

// parseInfo reads bag-info.txt (RFC 8493, 2.2.2; read): labels in any case, a value may
// go on in lines that begin with a blank or a tab, labels may be repeated. Other labels
// are passed over.
func parseInfo(text string) (Info, error) {
	var i Info
	seen := map[string]bool{}
	var fields [][2]string
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\r\n")
		if n := len(fields); n > 0 && line != "" && (line[0] == ' ' || line[0] == '\t') {
			fields[n-1][1] += " " + strings.TrimSpace(line)
			continue
		}
		label, value, ok := strings.Cut(line, ":")
		if !ok || strings.TrimSpace(label) == "" {
			return i, fmt.Errorf("the line %.80q has no label", line)
		}
		fields = append(fields, [2]string{label, value})
	}
	for _, f := range fields {
		at := slices.IndexFunc(labels, func(l string) bool { return strings.EqualFold(l, f[0]) })
		if at < 0 {
			continue
		}
		label := labels[at]
		if seen[label] && slices.Contains(once, label) {
			return i, fmt.Errorf("%s stands there twice", label)
		}
		seen[label] = true
		if err := i.set(label, strings.TrimSpace(f[1])); err != nil {
			return i, err
		}
	}
	for _, want := range []string{labelOxum, labelFrom, labelTo, labelSteriliser} {
		if !seen[want] {
			return i, fmt.Errorf("the label %s is missing", want)
		}
	}
	if i.From > i.To {
		return i, fmt.Errorf("the period ends on %s, before it begins on %s", i.To, i.From)
	}
	return i, nil
}

func (i *Info) set(label, value string) error {
	switch label {
	case labelSurgery:
		i.Surgery = strings.TrimPrefix(i.Surgery+", "+value, ", ")
	case labelPacked:
		i.Packed = value
	case labelSoftware:
		i.Software = value
	case labelMissing:
		i.Missing = append(i.Missing, value)
	case labelFrom, labelTo:
		if d, err := time.Parse(time.DateOnly, value); err != nil || d.Format(time.DateOnly) != value {
			return fmt.Errorf("%s: %.80q is not a date such as 2026-11-02", label, value)
		}
		if label == labelFrom {
			i.From = value
		} else {
			i.To = value
		}
	case labelSteriliser:
		if i.Steriliser = value; value == all {
			i.Steriliser = ""
		}
	case labelOxum:
		octets, files, _ := strings.Cut(value, ".")
		var err1, err2 error
		i.octets, err1 = strconv.ParseInt(octets, 10, 64)
		i.files, err2 = strconv.ParseInt(files, 10, 64)
		if err1 != nil || err2 != nil || i.octets < 0 || i.files < 0 {
			return fmt.Errorf("%s: %.80q is not octets.files", label, value)
		}
	}
	return nil
}
