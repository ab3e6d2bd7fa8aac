package cli

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

// decideFlags are what a decision can say.
type decideFlags struct {
	byFlags
	do         map[string]*bool
	reject     bool
	second     string
	rerun      string
	conforming string
	packs      []string
	at         string
	machine    surgery.AtMachine
	day        string
	count      int64
	dry        string
	sealed     string
	labelled   string
}

func decideCommand(w World, at *common) *cobra.Command {
	f := &decideFlags{do: map[string]*bool{}}
	c := &cobra.Command{
		Use:   "decide CYCLE...",
		Short: "Decide about loads: release, set aside, recall",
		Long: "Enters what was decided about loads. A cycle is named by its number, with its machine\n" +
			"where two have it (S1/1042), or by its id.\n\n" +
			"--release lets a conforming load go. A borderline one needs a reason and a second person,\n" +
			"one of the two a lead: --second now, or --propose now and --release by the other later.\n" +
			"Failed and not proven loads are not released. --steriliser, --number and --date instead of\n" +
			"a cycle enter what was done at the machine before its record came.\n" +
			"--conforming DAY shows the conforming loads of a day and releases all of them; the exit\n" +
			"code is 1 when one of them has to wait.\n\n" +
			"The passphrase of --by is asked for, then that of --second.",
		Example: "holdproof decide S1/1042 --release --by lea",
	}
	configFlag(c, at)
	f.add(c, "the person who decides")
	flag := func(do, usage string) {
		f.do[do] = c.Flags().Bool(do, false, usage)
	}
	flag(surgery.DoRelease, "the load may be used")
	flag(surgery.DoPropose, "the first half of the release of a borderline load")
	flag(surgery.DoQuarantine, "set the load aside")
	flag(surgery.DoReprocess, "repack it and run it again")
	flag(surgery.DoUsed, "the load was used already")
	flag(surgery.DoRecall, "call a load back")
	flag(surgery.DoFollow, "enter what was found of a recalled load")
	flag(surgery.DoClose, "close a recall, with what became of each pack")
	s := c.Flags()
	s.BoolVar(&f.reject, "reject", false, "at the machine: the load was not released")
	s.StringVar(&f.second, "second", "", "id of the second person")
	s.StringVar(&f.rerun, "rerun", "", "the cycle it was processed again in")
	s.StringVar(&f.conforming, "conforming", "", "a day: release its conforming loads")
	s.StringArrayVar(&f.packs, "pack", nil, "\"PACK=what became of it\"; may be repeated")
	s.StringVar(&f.at, "at", "", "when it was done: 09:20 or \"2026-11-02 09:20\" (default now)")
	s.StringVar(&f.machine.Steriliser, "steriliser", "", "at the machine: the steriliser")
	s.StringVar(&f.machine.Number, "number", "", "at the machine: the cycle's number")
	s.StringVar(&f.day, "date", "", "at the machine: the day of the cycle (default today)")
	s.StringVar(&f.machine.Indicator, "indicator", "", "of the packs: passed, failed or \"not used\"")
	s.StringVar(&f.dry, "dry", "", "packs dry: yes or no")
	s.StringVar(&f.sealed, "sealed", "", "packs sealed: yes or no")
	s.StringVar(&f.labelled, "labelled", "", "packs labelled: yes or no")
	s.StringVar(&f.machine.Load.Number, "load", "", "number of the load on the packs' labels")
	s.StringVar(&f.machine.Load.Contents, "contents", "", "what was in it; no names of patients")
	s.Int64Var(&f.count, "count", 0, "number of packs")
	s.StringVar(&f.machine.Load.Wrapping, "wrapping", "", "wrapped, hollow, both or neither")
	s.StringVar(&f.machine.Load.Loaded, "loaded-by", "", "id of who loaded the machine")
	s.StringVar(&f.machine.Load.Packed, "packed-by", "", "id of who packed it")
	s.StringVar(&f.machine.Load.UseBy, "use-by", "", "last day of use: 2027-05-02, or \"6 months\" after the cycle\n(default use_by of the settings)")
	s.StringVar(&f.machine.Text, "text", "", "at the machine: in words; no names of patients")
	s.BoolVar(&f.machine.Sure, "yes", false, "what was asked about is as it was entered: a name that is\nno patient's, a number far from the others")
	c.RunE = func(c *cobra.Command, args []string) error {
		return act(c, w, at, &f.byFlags, func(r *surgery.Records) error { return f.decide(c, w, r, args) })
	}
	return c
}

func (f *decideFlags) decide(c *cobra.Command, w World, r *surgery.Records, args []string) error {
	if f.conforming != "" {
		return f.allConforming(c, w, r, args)
	}
	do, err := f.which(c)
	if err != nil {
		return err
	}
	when, err := r.Moment(f.at, f.day)
	if err != nil {
		return err
	}
	if f.machine.Steriliser != "" || f.machine.Number != "" || f.reject {
		return f.atMachine(c, w, r, args, do)
	}
	if len(args) == 0 {
		return errors.New("no cycle is named, for example: " + c.Example)
	}
	d := surgery.Deciding{Do: do, Cycles: args, By: f.proof(), Reason: f.reason, Rerun: f.rerun, At: when, Sure: f.machine.Sure}
	if f.second != "" {
		d.Second = surgery.Proof{Person: f.second, Passphrase: f.words.ask(f.second)}
	}
	for _, p := range f.packs {
		pack, became, _ := strings.Cut(p, "=")
		d.Packs = append(d.Packs, surgery.Pack{Pack: strings.TrimSpace(pack), Became: strings.TrimSpace(became)})
	}
	done, err := r.Decide(c.Context(), d)
	if err != nil {
		return err
	}
	return writeDecided(newPage(w, w.Stdout), pastOf[do], done)
}

// which returns the one thing that is to be done.
func (f *decideFlags) which(c *cobra.Command) (string, error) {
	found := ""
	for _, do := range doings {
		if *f.do[do] {
			if found != "" || f.reject {
				return "", fmt.Errorf("decide does one thing at a time; leave out --%s or --%s", found, do)
			}
			found = do
		}
	}
	if found == "" && !f.reject {
		return "", errors.New("what is decided is missing; give " + surgery.Alternatives(dashed(doings)) + ", for example: " + c.Example)
	}
	return found, nil
}

// doings are the decisions in the order of the help.
var doings = []string{surgery.DoRelease, surgery.DoPropose, surgery.DoQuarantine, surgery.DoReprocess, surgery.DoUsed, surgery.DoRecall, surgery.DoFollow, surgery.DoClose}

// pastOf says what was done.
var pastOf = map[string]string{surgery.DoRelease: "released", surgery.DoPropose: "proposed for release", surgery.DoQuarantine: "in quarantine", surgery.DoReprocess: "sent back to be processed again",
	surgery.DoUsed: "used already", surgery.DoRecall: "recalled", surgery.DoFollow: "recall followed", surgery.DoClose: "recall closed"}

func dashed(names []string) []string {
	var out []string
	for _, n := range names {
		out = append(out, "--"+n)
	}
	return out
}

// atMachine enters what was done before the record came.
func (f *decideFlags) atMachine(c *cobra.Command, w World, r *surgery.Records, args []string, do string) error {
	if len(args) > 0 || do != "" && do != surgery.DoRelease {
		return errors.New("--steriliser and --number stand for a cycle whose record has not come; with them only --release or --reject")
	}
	m := f.machine
	m.Day, m.Rejected = f.day, f.reject
	if c.Flags().Changed("count") {
		m.Load.Count = &f.count
	}
	for _, o := range []struct {
		flag, text string
		into       **bool
	}{{"dry", f.dry, &m.Dry}, {"sealed", f.sealed, &m.Sealed}, {"labelled", f.labelled, &m.Labelled}} {
		switch o.text {
		case "":
		case "yes", "no":
			is := o.text == "yes"
			*o.into = &is
		default:
			return fmt.Errorf("--%s is yes or no, found %q", o.flag, o.text)
		}
	}
	when, err := r.Moment(f.at, f.day)
	if err != nil {
		return err
	}
	if err := remark(c, w, r, m); err != nil {
		return err
	}
	var second surgery.Proof
	if f.second != "" {
		second = surgery.Proof{Person: f.second, Passphrase: f.words.ask(f.second)}
	}
	done, err := r.ReleaseAtMachine(c.Context(), m, f.proof(), second, f.reason, when)
	if err != nil {
		return err
	}
	word := "released at the machine"
	if f.reject {
		word = "rejected at the machine"
	}
	return writeDecided(newPage(w, w.Stdout), word, []surgery.Decided{done})
}

// remark says what should be known of a load before it is released.
func remark(c *cobra.Command, w World, r *surgery.Records, m surgery.AtMachine) error {
	if text := r.Remark(m); text != "" {
		fmt.Fprintln(w.Stderr, text)
	}
	if m.Rejected {
		return nil
	}
	text, err := r.TestsMissing(c.Context(), m.Steriliser, m.Day)
	if text != "" {
		fmt.Fprintln(w.Stderr, text)
	}
	return err
}

// allConforming shows the conforming loads of a day and then releases them.
func (f *decideFlags) allConforming(c *cobra.Command, w World, r *surgery.Records, args []string) error {
	if len(args) > 0 {
		return errors.New("--conforming names the loads; leave the cycles out")
	}
	ready, err := r.Conforming(c.Context(), f.conforming)
	if err != nil {
		return err
	}
	p := newPage(w, w.Stdout)
	p.gap()
	for _, l := range ready.Loads {
		m := p.mark(surgery.Conforms)
		p.para("  "+m.text+"  "+padded(p.clean(l.Name), 9)+"  ", l.Says, m.style)
	}
	for _, l := range ready.Left {
		p.para("  –  "+padded(p.clean(l.Name), 9)+"  ", sentence(l.Says), plain)
	}
	if len(ready.Loads) == 0 {
		if len(ready.Left) > 0 {
			p.gap()
			p.para("  ", "None of them was released: settle first what is said of each.", strong)
			return cmp.Or(p.flush(), error(status(exitFound)))
		}
		p.para("  ", "No load of "+personsDay(f.conforming)+" conforms and waits for release.", plain)
		return p.flush()
	}
	if err := p.flush(); err != nil {
		return err
	}
	d := surgery.Deciding{Do: surgery.DoRelease, Seen: ready.Seen, By: f.proof(), Reason: f.reason}
	if d.At, err = r.Moment(f.at, ""); err != nil {
		return err
	}
	for _, l := range ready.Loads {
		d.Cycles = append(d.Cycles, l.Key)
	}
	done, err := r.Decide(c.Context(), d)
	if err != nil {
		return err
	}
	p.gap()
	p.para("  ", fmt.Sprintf("%s released by %s, %s.", countOf(len(done), "load"), f.by, entriesFrom(done[0].Entry, done[len(done)-1].Entry)), strong)
	if len(ready.Left) > 0 {
		p.para("  ", countOf(len(ready.Left), "load")+" left: settle first what is said of each.", strong)
		return cmp.Or(p.flush(), error(status(exitFound)))
	}
	return p.flush()
}

// entriesFrom names entries that follow one another.
func entriesFrom(first, last int64) string {
	if first == last {
		return fmt.Sprintf("entry %d", first)
	}
	return fmt.Sprintf("entries %d to %d", first, last)
}

func writeDecided(p *page, word string, done []surgery.Decided) error {
	for _, d := range done {
		p.para("  ", d.Name+": "+word+fmt.Sprintf(" (entry %d).", d.Entry), plain)
		if d.Waits != "" {
			p.para("  ", d.Waits, strong)
		}
	}
	return p.flush()
}
