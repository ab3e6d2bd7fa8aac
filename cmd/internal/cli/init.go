package cli

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

// settingsText is a new holdproof.yaml. It holds every key with what it is for; those
// that a surgery must think about first are set, the others stand as comments.
//
//go:embed holdproof.yaml
var settingsText []byte

func initCommand(w World, at *common) *cobra.Command {
	var lead, name string
	var site begun
	p := &passphrases{w: w}
	c := &cobra.Command{
		Use:   "init",
		Short: "Make the site's folder: settings, logbook, authority, first lead",
		Long: "Writes holdproof.yaml with every key explained (one that is there is used as it is),\n" +
			"makes the logbook, the site's authority, which issues personal keys, and the first\n" +
			"lead, who may do everything. A folder that has a logbook is left alone.\n\n" +
			"Two passphrases are asked for: the lead's own, then that of the authority. Whoever\n" +
			"has the authority's file and passphrase can make people: keep a copy of both outside\n" +
			"this computer, and use it only to add people.\n\n" +
			"A new holdproof.yaml needs a routine: what a day, a week and a year owe. At a terminal it\n" +
			"is asked for. There are:\n\n" + routineHelp(),
		Example: "holdproof init --surgery \"Tern Quay Surgery\" --timezone Europe/London --routine england --lead mara --name \"Mara Quill\"",
		Args:    needs(0, 0, "no argument"),
	}
	configFlag(c, at)
	passphraseFlag(c, p)
	c.Flags().StringVar(&site.name, "surgery", "", "the surgery's name, for a new holdproof.yaml")
	c.Flags().StringVar(&site.zone, "timezone", "", "its time zone such as Europe/London, for a new holdproof.yaml")
	c.Flags().StringVar(&site.routine, "routine", "", "what a day, a week and a year owe, for a new holdproof.yaml")
	c.Flags().StringArrayVar(&site.chairs, "chair", nil, "name of a treatment chair such as \"chair 1\", for a new holdproof.yaml; may be repeated")
	c.Flags().StringVar(&lead, "lead", "", "id of the first lead: small letters, digits, dashes")
	c.Flags().StringVar(&name, "name", "", "name of the first lead, as it is printed")
	c.RunE = func(c *cobra.Command, _ []string) error {
		p.ctx = c.Context()
		defer p.done()
		in := surgery.Beginning{Dir: at.dir, Lead: lead, Name: name, Passphrase: p.choose(lead), Authority: p.choose("the authority")}
		if lead == "" || name == "" {
			return errors.New("the first lead is not named; give --lead ID and --name NAME, for example: " + c.Example)
		}
		s, write, err := beginsWith(w, at, site, c.Example)
		if err != nil {
			return err
		}
		in.Write = write
		in.Settings = surgery.Settings{Value: s.value, File: s.file, Text: s.inForce(w)}
		if in.Write {
			in.Settings.Text = s.bytes
		}
		if err := surgery.Begin(c.Context(), in, surgery.World{Now: w.Now, Rounds: w.rounds}); err != nil {
			return err
		}
		return writeBegun(newPage(w, w.Stdout), in)
	}
	return c
}

// begun is what a new site says of itself.
type begun struct {
	name, zone, routine string
	chairs              []string
}

// beginsWith returns the settings of the folder, or new ones of what the site says, to be
// written. A site that has settings keeps them: what contradicts them is refused.
func beginsWith(w World, at *common, site begun, example string) (s settings, write bool, err error) {
	if s, err = settingsFor(w, at.dir, at.config); err != nil {
		return s, false, err
	}
	switch {
	case s.file == "":
		if site.name == "" || site.zone == "" {
			return s, false, errors.New("the surgery is not named; give --surgery NAME and --timezone ZONE, for example: " + example)
		}
		if site.routine, err = chooseRoutine(w, site.routine); err != nil {
			return s, false, err
		}
		return newSettings(w, at.dir, site)
	case site.routine != "" && site.routine != s.value.Routine || len(site.chairs) > 0:
		return s, false, fmt.Errorf("%s is there already; leave --routine and --chair out, or change the file", s.file)
	case site.name != "" && site.name != s.value.Site.Name:
		return s, false, fmt.Errorf("%s names the surgery %q and not %q; leave --surgery out, or change the file", s.file, s.value.Site.Name, site.name)
	}
	return s, false, nil
}

// newSettings fills what the site says into the explained settings, and reads them back.
func newSettings(w World, dir string, b begun) (settings, bool, error) {
	text := settingsText
	var chairs []string
	for _, c := range b.chairs {
		chairs = append(chairs, strconv.Quote(c))
	}
	for _, fill := range [][2]string{{"name: NAME", "name: " + strconv.Quote(b.name)}, {"timezone: ZONE", "timezone: " + strconv.Quote(b.zone)},
		{"routine: ROUTINE", "routine: " + b.routine}, {"chairs: []", "chairs: [" + strings.Join(chairs, ", ") + "]"}} {
		text = bytes.Replace(text, []byte(fill[0]), []byte(fill[1]), 1)
	}
	file := filepath.Join(dir, configurationFile)
	value, err := decode(w, file, text)
	if _, there := os.Stat(file); err == nil && !errors.Is(there, fs.ErrNotExist) {
		err = fmt.Errorf("%s cannot be read", file)
	}
	return settings{file: file, bytes: text, value: value}, true, err
}

func writeBegun(p *page, in surgery.Beginning) error {
	p.gap()
	p.line(span{"  " + in.Settings.Value.Site.Name, strong})
	p.gap()
	if in.Write {
		p.para("  ", in.Settings.File+" is written. Read it: set the altitude, the chairs, the sterilisers and what their recorders leave out.", plain)
	} else {
		p.para("  ", in.Settings.File+" is used as it is.", plain)
	}
	p.para("  ", in.Name+" ("+in.Lead+") is the first lead and may operate and release too. The key is "+filepath.Join(in.Dir, "keys", in.Lead+".p12")+".", plain)
	p.para("  ", "The authority is "+filepath.Join(in.Dir, "keys", "ca.p12")+". Copy it to a place outside this computer: whoever has it and its passphrase can make people.", plain)
	p.gap()
	p.line(span{"  What to type next", strong})
	p.gap()
	dir := ""
	if in.Dir != "." {
		dir = " --dir " + quoted(in.Dir)
	}
	p.lines("  holdproof people add lea --name \"Lea Brook\" --role operate,release --by " + in.Lead + dir)
	p.lines("  holdproof import exports" + dir)
	p.lines("  holdproof review" + dir)
	return p.flush()
}
