package surgery

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// Ending ends the certificates of a person without a new one, such as of somebody who
// left, or whose key file was copied.
type Ending struct {
	ID        string
	By        Proof                  // a lead
	Authority func() (string, error) // the authority's passphrase
	Reason    string                 // needed: it stands in the log of certificates
}

// EndCertificates ends them. What they signed stays good; the person signs nothing and
// opens no session any more until a new certificate is made.
//
// Errors: a [*Refusal], such as if nobody who is lead could act any more;
// [seal.ErrPassphrase].
func (r *Records) EndCertificates(ctx context.Context, e Ending) error {
	if strings.TrimSpace(e.Reason) == "" {
		return &Refusal{Why: "to end a certificate needs a reason", Instead: "Give it with --reason."}
	}
	if err := r.mayEnd(ctx, r.book.View, e.ID); err != nil {
		return err
	}
	var lead proven
	var err error
	if lead, _, err = r.byLead(ctx, e.By, e.Authority); err != nil {
		return err
	}
	return r.write(ctx, func(b *logbook.Batch) error {
		if err := r.mayEnd(ctx, b.View, e.ID); err != nil {
			return err
		}
		if _, err := r.entitled(ctx, b.View, e.By.Person, ActPeople, r.Now()); err != nil {
			return err
		}
		ended, err := r.ended(ctx, b.View, e.ID)
		if err != nil {
			return err
		}
		return r.addAll(b, lead, e.Reason, ended...)
	})
}

// ended are the entries that end the certificates of a person which count.
func (r *Records) ended(ctx context.Context, v *logbook.View, id string) ([]entry.Body, error) {
	rows, err := logbook.Find[entry.Certificate](ctx, v, logbook.Filter{Subject: id})
	if err != nil {
		return nil, err
	}
	good, err := standing(ctx, v, id)
	if err != nil {
		return nil, err
	}
	var out []entry.Body
	for _, row := range rows {
		if row.Said.Act == "issued" && slices.Contains(good, row.Said.SHA256) {
			one := row.Said
			one.Act = "ended"
			out = append(out, one)
		}
	}
	return out, nil
}

// mayEnd refuses to end what is not there, or the last certificate of a lead.
func (r *Records) mayEnd(ctx context.Context, v *logbook.View, id string) error {
	if _, err := person(ctx, v, id); err != nil {
		return err
	}
	good, err := standing(ctx, v, id)
	if err != nil {
		return err
	}
	if len(good) == 0 {
		return &Refusal{Why: "no certificate of " + id + " counts", Instead: "Nothing is needed."}
	}
	all, err := everybody(ctx, v)
	if err != nil {
		return err
	}
	for _, p := range all {
		if p.Person == id || !holds(p, roleLead, r.Today()) {
			continue
		}
		if others, err := standing(ctx, v, p.Person); err != nil || len(others) > 0 {
			return err
		}
	}
	return &Refusal{Why: fmt.Sprintf("%s has the only certificate of a lead", id), Instead: "Make somebody else lead first, with a certificate."}
}
