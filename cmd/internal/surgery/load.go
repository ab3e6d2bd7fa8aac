package surgery

import (
	"context"
	"fmt"
	"strings"
	"time"

	"holdproof/report/logbook"
)

// mostPacks is how many packs a load may be said to have (ours).
const mostPacks = 500

// Remark is what should be known of a load as it was chosen, "" for nothing: programmes
// of a type N machine are for solid, unwrapped instruments (EN 13060, second-hand).
func (r *Records) Remark(m AtMachine) string {
	for _, s := range r.settings.Value.Sterilisers {
		if s.ID == m.Steriliser && s.Type == "N" && m.Load.Wrapping != "" && m.Load.Wrapping != "neither" {
			return s.ID + " is of type N: its programmes do not suit wrapped or hollow loads."
		}
	}
	return ""
}

// settleLoad checks what is said of a load and completes it: packs are counted, who
// loaded and packed is somebody with an id, no patient is named, and packs that may be
// used until a day have that day.
func (r *Records) settleLoad(ctx context.Context, v *logbook.View, m *AtMachine, reason string) error {
	l := &m.Load
	if err := r.noPatient(ctx, v, m.Sure, m.Text, l.Contents, l.Number, reason); err != nil {
		return err
	}
	if l.Count != nil && (*l.Count < 1 || *l.Count > mostPacks) {
		return &Refusal{Why: fmt.Sprintf("%d packs cannot be", *l.Count), Instead: fmt.Sprintf("Count them: 1 to %d.", mostPacks)}
	}
	for _, id := range []string{l.Loaded, l.Packed} {
		if id == "" {
			continue
		}
		if _, err := person(ctx, v, id); err != nil {
			return err
		}
	}
	if l.UseBy == "" && (m.Rejected || l.Wrapping == "neither") { // what is not packed does not keep
		return nil
	}
	var err error
	l.UseBy, err = r.usableUntil(l.UseBy, m.Day)
	return err
}

// unsaid names what the release at the machine leaves open, a sentence; "" if nothing.
func (m AtMachine) unsaid() string {
	var what []string
	if m.Dry == nil {
		what = append(what, "packs dry")
	}
	if m.Sealed == nil {
		what = append(what, "packs sealed")
	}
	if m.Indicator == "" {
		what = append(what, "indicator changed")
	}
	if len(what) == 0 || m.Rejected {
		return ""
	}
	return "Not said: " + strings.Join(what, ", ") + "."
}

func joined(a, b string) string { return strings.TrimSpace(a + " " + b) }

// mayEnter refuses a release at the machine that was entered before, of a machine that
// is out of service, or against a test of the day.
func (r *Records) mayEnter(ctx context.Context, v *logbook.View, m AtMachine, name string, at time.Time, reason string) error {
	if err := r.notEntered(ctx, v, m, name); err != nil || m.Rejected {
		return err
	}
	if err := r.inService(ctx, v, m.Steriliser, name, time.Time{}, at, reason); err != nil {
		return err
	}
	return r.testsAtMachine(ctx, v, m.Steriliser, m.Number, m.Day, at)
}
