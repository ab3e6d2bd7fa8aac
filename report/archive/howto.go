package archive

import (
	"bytes"
	_ "embed"
	"strings"
	"text/template"
	"time"

	"holdproof/report/logbook/entry"
)

// Checking is what HOW-TO-CHECK.txt says of one bag.
type Checking struct {
	Surgery     string
	From, To    string
	Steriliser  string // "": all
	Signer      string // who signed the checkpoint, "" for nobody
	Fingerprint string // of the authority
	Record      string // name of a signed record in it, "" for none
	Checkpoint  entry.Checkpoint
	Version     string
}

//go:embed howto.txt
var howToText string

var howTo = template.Must(template.New("").Parse(howToText))

// Text writes the page: ASCII commands, one line each, that a person can copy.
func (c Checking) Text() []byte {
	var out bytes.Buffer
	for _, s := range []*string{&c.Surgery, &c.Steriliser, &c.Signer} {
		*s = strings.Join(strings.Fields(*s), " ") // a line end within a name would begin a line of its own
	}
	// A template over plain fields into memory does not fail.
	if err := howTo.Execute(&out, struct {
		Checking
		Lines  []string
		Unix   int64
		Moment string
	}{c, strings.Split(strings.TrimSpace(string(c.Checkpoint.Text())), "\n"), c.Checkpoint.Time.Unix(), c.Checkpoint.Time.UTC().Format(time.RFC3339)}); err != nil {
		panic(err)
	}
	return out.Bytes()
}
