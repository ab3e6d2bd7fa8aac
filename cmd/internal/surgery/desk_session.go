package surgery

import (
	"context"
	"fmt"
	"slices"
	"time"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// SignedIn is a person who showed at the beginning of a session to be that person.
// It holds neither the passphrase nor the key.
type SignedIn struct {
	Person, Name string
	Roles        []string // held today
	Certificate  string   // SHA-256 of the one whose key the passphrase opened
	Short        string   // beginning of its fingerprint
	At           time.Time
}

// Lead tells whether the person is lead today.
func (s SignedIn) Lead() bool { return slices.Contains(s.Roles, roleLead) }

// May tells whether one of today's roles is enough for an act.
func (s SignedIn) May(act Act) bool {
	return slices.ContainsFunc(enough(act), func(role string) bool { return slices.Contains(s.Roles, role) })
}

// SignIn opens the key of a person once and forgets it.
//
// Errors: a [*Refusal] if nobody has that id, nobody with a role today, or no key that
// counts; [seal.ErrPassphrase].
func (r *Records) SignIn(ctx context.Context, id string, passphrase func() (string, error)) (SignedIn, error) {
	p, err := person(ctx, r.book.View, id)
	if err != nil {
		return SignedIn{}, err
	}
	roles, err := r.rolesToday(p)
	if err != nil {
		return SignedIn{}, err
	}
	key, err := r.openKey(ctx, id, passphrase)
	if err != nil {
		return SignedIn{}, err
	}
	c := key.Certificate()
	if now := r.Now(); now.Before(c.NotBefore.Add(-lateness)) || now.After(c.NotAfter) {
		return SignedIn{}, &Refusal{Why: "the certificate of " + id + " is not valid today", Instead: "A lead makes a new one."}
	}
	return SignedIn{Person: id, Name: p.Name, Roles: roles, Certificate: entry.Sum(c.Raw), Short: shortPrint(c), At: r.Now()}, nil
}

func (r *Records) rolesToday(p entry.Person) ([]string, error) {
	var out []string
	for _, role := range roles {
		if holds(p, role, r.Today()) {
			out = append(out, role)
		}
	}
	if len(out) == 0 {
		return nil, &Refusal{Why: p.Person + " has no role today", Instead: "A lead gives roles."}
	}
	return out, nil
}

// StillIn returns what the person of a session may do now.
//
// Error: a [*Refusal] if the certificate of the session was ended, or no role is left.
func (r *Records) StillIn(ctx context.Context, s SignedIn) (SignedIn, error) {
	err := r.book.Read(ctx, func(v *logbook.View) error {
		p, err := r.signedIn(ctx, v, s)
		if err != nil {
			return err
		}
		s.Name = p.Name
		s.Roles, err = r.rolesToday(p)
		return err
	})
	return s, err
}

// signedIn returns the person of a session whose certificate still counts.
func (r *Records) signedIn(ctx context.Context, v *logbook.View, s SignedIn) (entry.Person, error) {
	p, err := person(ctx, v, s.Person)
	if err != nil {
		return p, err
	}
	good, err := standing(ctx, v, s.Person)
	if err == nil && !slices.Contains(good, s.Certificate) {
		err = &Refusal{Why: "the certificate that " + s.Person + " signed in with counts no more", Instead: "Sign in again."}
	}
	return p, err
}

// askAgain are the acts for which a session is not enough: the passphrase is asked for
// each time.
var askAgain = []Act{ActPrepare, ActReview, ActPeople}

// proveSignedIn is [Records.prove] by a session instead of a passphrase.
func (r *Records) proveSignedIn(ctx context.Context, s SignedIn, act Act, at time.Time) (proven, error) {
	if slices.Contains(askAgain, act) {
		return proven{}, &Refusal{Why: fmt.Sprintf("to %s asks for the passphrase again", act), Instead: "Type it."}
	}
	if _, err := r.signedIn(ctx, r.book.View, s); err != nil {
		return proven{}, err
	}
	p, err := r.entitled(ctx, r.book.View, s.Person, act, at)
	if err != nil {
		return proven{}, err
	}
	how := fmt.Sprintf("signed in %s with the passphrase of certificate %s", s.At.In(r.zone).Format("2 Jan 2006 15:04"), s.Short)
	return proven{Person: p, how: how}, nil
}
