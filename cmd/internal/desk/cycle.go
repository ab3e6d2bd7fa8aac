package desk

import (
	"errors"
	"fmt"
	"html/template"
	"io"
	"mime"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"

	"holdproof/cmd/internal/surgery"
)

// cycleData is the page of a cycle.
type cycleData struct {
	surgery.Shown
	Figure   template.HTML
	NoFigure string
	ReadAs   []string
	Choices  []choice // what this person may do
	Refused  []choice // what nobody or not this person may do, with why
	Reading  string   // duty by which this test is read, "" for a load
	Read     bool     // it was read already
	Seen     string   // hidden field: how it stood
	Said     string
	Draft    url.Values
	Unsent   url.Values // what was said of a test and not entered
	Again    bool
	Others   []surgery.Shown // of the same number
	Reruns   []surgery.Shown // the cycle it was run again in
	RerunOf  []surgery.Shown // the cycles whose load was run again in this one
	Asks     map[string]string
	Lacks    []string // tests that its machine lacks that day, if it can be released
	Label    bool     // a label of the load can be drawn
	Cause    string   // a sentence: why it is not simply fine; the rest stands with what was checked
}

// Title is the name of the cycle.
func (c cycleData) Title() string { return c.Name }

// choice is a thing to do with a load, in the words of a form.
type choice struct {
	surgery.Choice
	Label, Hint string
	Done        string   // the same when it has been done, after the name of the load
	Reasons     []string // short ones to choose from
}

// choiceWords are the labels of what can be done and the reasons offered (ours, common
// practice, no source).
var choiceWords = map[string]choice{
	surgery.DoRelease:    {Label: "Release", Done: "is released", Hint: "The packs may be used.", Reasons: []string{"Indicators changed and packs dry, curve looked at", "Same as the validated curve, looked at with the lead"}},
	surgery.DoPropose:    {Label: "Propose to release", Done: "is proposed for release", Hint: "A second person decides later.", Reasons: []string{"Indicators changed and packs dry, curve looked at"}},
	surgery.DoQuarantine: {Label: "Quarantine", Done: "is in quarantine", Hint: "Nobody uses it until the lead has decided.", Reasons: []string{"Nobody else is here to decide", "The lead has to look", "Waiting for a test"}},
	surgery.DoReprocess:  {Label: "Send back, run again", Done: "is sent back", Hint: "The packs are opened, packed anew and sterilised again.", Reasons: []string{"The record does not conform", "Packs wet or open", "Indicator did not change"}},
	surgery.DoUsed:       {Label: "Used already", Done: "is entered as used already", Hint: "Always enter it. If the record does not conform, a recall opens.", Reasons: []string{"Released on the machine's display", "Taken by mistake"}},
	surgery.DoRecall:     {Label: "Call back", Done: "is being called back", Hint: "Opens a recall that stays first on every page.", Reasons: []string{"Released by mistake", "A later test failed", "Packs found open"}},
	surgery.DoFollow:     {Label: "Say what was found", Done: "has what was found entered", Hint: "The recall stays open.", Reasons: nil},
	surgery.DoClose:      {Label: "Close the recall", Done: "is no longer being called back", Hint: "With what became of each pack.", Reasons: []string{"Every pack is accounted for"}},
}

func (d *Desk) cycle(w http.ResponseWriter, r *http.Request, v visitor) error {
	key := r.PathValue("key")
	s, err := d.records.ShownCycle(r.Context(), key)
	if err != nil {
		return err
	}
	if s.ContinuedBy != "" {
		http.Redirect(w, r, "/cycle/"+url.PathEscape(s.ContinuedBy), http.StatusSeeOther)
		return nil
	}
	data := cycleData{Shown: s, Seen: sightWords(s.Sight), Said: d.sessions.PopString(r.Context(), "said"), Draft: d.drafts.take(v.token, r.URL.Path)}
	data.Unsent = d.drafts.takeOf(v.token, "/note", s.Key)
	if data.Figure, data.NoFigure, err = d.large(r, s); err != nil {
		return err
	}
	data.ReadAs = d.readAs(r, s)
	if err := d.offer(r, v, s, &data); err != nil {
		return err
	}
	var names []string
	for _, f := range s.Findings {
		names = append(names, f.Check)
	}
	data.Cause = cause(s)
	data.Label = v.Staff() && d.records.CanLabel(r.Context(), s.Key) == nil
	data.Asks = surgery.CheckWords(names)
	if s.Rerun != "" {
		again, err := d.records.ShownCycle(r.Context(), s.Rerun)
		if err != nil {
			return err
		}
		data.Reruns = []surgery.Shown{again}
	}
	if data.RerunOf, err = d.records.RerunsOf(r.Context(), s); err != nil {
		return err
	}
	if s.Number != "" {
		others, err := d.records.ShownCycles(r.Context(), surgery.ShownQuery{Steriliser: s.Steriliser, Number: s.Number, Limit: 10})
		if err != nil {
			return err
		}
		data.Others = slices.DeleteFunc(others, func(o surgery.Shown) bool { return o.Key == s.Key })
	}
	return d.show(w, r, v, "cycle", http.StatusOK, data)
}

// cause is the first reason why a cycle does not simply conform, a sentence; of a hold
// only how long it was and what it lacks, since the limits stand with what was checked.
func cause(s surgery.Shown) string {
	if s.Result == surgery.Conforms {
		return ""
	}
	for _, f := range s.Findings {
		if f.Result() != s.Result {
			continue
		}
		short := margin(s)
		switch {
		case f.Check != "holding-time" || short == "":
		case s.Result == surgery.Failed:
			return sentence(held(s) + ", " + short)
		case s.Result == surgery.Borderline:
			return sentence(held(s) + ", " + short + ", less than the uncertainty")
		}
		return sentence(f.Message)
	}
	return ""
}

// offer applies the rules: what is allowed becomes a form, what is not says why.
func (d *Desk) offer(r *http.Request, v visitor, s surgery.Shown, data *cycleData) error {
	if s.Test {
		data.Reading = surgery.DutyForTest(s.Kind)
		data.Read = slices.ContainsFunc(s.Done, func(h surgery.Happening) bool { return !h.Old && strings.HasPrefix(h.What, data.Reading) })
	}
	if !v.Staff() {
		return nil
	}
	all, err := d.records.Choices(r.Context(), s.Key, v.SignedIn)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(all, func(c surgery.Choice) bool { return c.Do == surgery.DoRelease && c.Allowed() }) {
		if data.Lacks, err = d.untested(r.Context(), machineDay{s.Steriliser, s.Day}); err != nil {
			return err
		}
	}
	open := s.Recall == "opened" || s.Recall == "followed"
	for _, c := range all {
		one := choiceWords[c.Do]
		one.Choice = c
		one.Reason = c.Reason || c.Do == surgery.DoRelease && len(data.Lacks) > 0
		recall := c.Do == surgery.DoFollow || c.Do == surgery.DoClose
		switch {
		case recall && !open, c.Do == surgery.DoRecall && open, s.Test && c.Do != surgery.DoUsed:
		case c.Allowed():
			data.Choices = append(data.Choices, one)
		case c.Do == surgery.DoPropose: // what stands against a release is said there
		default:
			data.Refused = append(data.Refused, one)
		}
	}
	return nil
}

// decide does what the form of a cycle says.
func (d *Desk) decide(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	seen, err := readSight(r.PostFormValue("seen"))
	if err != nil {
		return err
	}
	if seen.Key != r.PathValue("key") {
		return fmt.Errorf("%w: it is of another cycle", errForm)
	}
	do := surgery.Deciding{Do: r.PostFormValue("do"), Cycles: []string{seen.Key}, Seen: []surgery.Sight{seen},
		By: surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn}, Reason: reason(r.PostForm), Sure: r.PostFormValue("sure") == "yes", Rerun: strings.TrimSpace(r.PostFormValue("rerun"))}
	if choiceWords[do.Do].Label == "" {
		return fmt.Errorf("%w: choose what to do", errForm)
	}
	if other := strings.ToLower(strings.TrimSpace(r.PostFormValue("second"))); other != "" {
		if wait := d.brake.wait(other); wait > 0 {
			return fmt.Errorf("%w: the passphrase of the second person did not fit several times; wait %s", errForm, lasting(wait.Seconds()+1))
		}
		do.Second = surgery.Proof{Person: other, Passphrase: func() (string, error) { return r.PostFormValue("second-passphrase"), nil }}
	}
	do.Packs = packs(r.PostFormValue("packs"))
	if err := d.saysWhy(r.Context(), do); err != nil {
		return err
	}
	done, err := d.records.Decide(r.Context(), do)
	var no *surgery.Refusal
	if errors.As(err, &no) && no.Confirm { // back on the form, where it is confirmed or taken out
		r.PostForm.Set("ask-sure", "yes")
		d.drafts.put(v.token, r.URL.Path, r.PostForm)
		d.say(r, "Not done: "+sentence(no.Why)+" "+namesNobody)
		http.Redirect(w, r, "/cycle/"+url.PathEscape(seen.Key), http.StatusSeeOther)
		return nil
	}
	if err != nil {
		if wrongPassphrase(err) {
			d.brake.failed(do.Second.Person)
		}
		return err
	}
	text := done[0].Name + " " + choiceWords[do.Do].Done + "."
	if more := onPages(done[0].Waits); more != "" {
		text += " " + more
	}
	d.say(r, text)
	http.Redirect(w, r, "/cycle/"+url.PathEscape(seen.Key), http.StatusSeeOther)
	return nil
}

// namesNobody is asked where a text may name a patient.
const namesNobody = "Take it out, or say that it names no patient."

// reason joins the short reason that was chosen and the words that were added.
func reason(form url.Values) string {
	chosen, text := strings.TrimSpace(form.Get("why")), strings.TrimSpace(form.Get("reason"))
	switch {
	case chosen == "":
		return text
	case text == "":
		return chosen
	}
	return chosen + ": " + text
}

// packs reads lines such as "blue tray = found, not used".
func packs(text string) []surgery.Pack {
	var out []surgery.Pack
	for _, line := range strings.Split(text, "\n") {
		if strings.TrimSpace(line) == "" {
			continue
		}
		name, became, _ := strings.Cut(line, "=")
		out = append(out, surgery.Pack{Pack: strings.TrimSpace(name), Became: strings.TrimSpace(became)})
	}
	return out
}

// original hands out an export as it came, to be kept and not shown: whatever is in it,
// a browser runs none of it.
func (d *Desk) original(w http.ResponseWriter, r *http.Request, _ visitor) error {
	in, name, err := d.records.OriginalOf(r.Context(), r.PathValue("sum"))
	if err != nil {
		return err
	}
	defer in.Close()
	attach(w, name, "application/octet-stream")
	if _, err := io.Copy(w, in); err != nil {
		d.log(err)
		panic(http.ErrAbortHandler) // half a file must not look like a whole one
	}
	return nil
}

// attach makes an answer a file to be kept, under a name without a folder.
func attach(w http.ResponseWriter, name, kind string) {
	name = filepath.Base(strings.ReplaceAll(name, `\`, "/"))
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

// Sorted are the findings, first those that need a person.
func (c cycleData) Sorted() []surgery.ShownFinding {
	out := slices.Clone(c.Findings)
	rank := func(f surgery.ShownFinding) int {
		return slices.Index([]surgery.Outcome{surgery.Failed, surgery.NotProven, surgery.Borderline, surgery.Conforms, surgery.NotAssessed}, f.Result())
	}
	slices.SortStableFunc(out, func(a, b surgery.ShownFinding) int { return rank(a) - rank(b) })
	return out
}

// Field is what a draft has in a field.
func (c cycleData) Field(name string) string { return c.Draft.Get(name) }

// SaidOf is what was said of a test in a field and not entered.
func (c cycleData) SaidOf(name string) string { return c.Unsent.Get(name) }

// Packs are lines of the form for a recall.
func (c cycleData) Packs() string { return c.Draft.Get("packs") }

var errSlow = errors.New("the file stopped coming")
