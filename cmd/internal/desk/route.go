package desk

import (
	"context"
	"errors"
	"net/http"

	"holdproof/cmd/internal/surgery"
)

// rights says whose a route is.
type rights int

const (
	nurses     rights = 1 << iota // who may operate or release
	leads                         // who is lead
	inspectors                    // a session that only reads
	open                          // everybody, signed in or not
)

// everyone who is signed in; staff are those who act.
const (
	everyone = nurses | leads | inspectors
	staff    = nurses | leads
)

// route is an address and who may ask for it.
type route struct {
	pattern string
	for_    rights
	page    handler
}

// handler answers one request of a visitor; what it returns becomes a page too.
type handler func(w http.ResponseWriter, r *http.Request, v visitor) error

const uploadPath = "/exports"

// routes is the one table of addresses.
func (d *Desk) routes() []route {
	return []route{
		{"GET /sign-in", open, d.signInPage},
		{"POST /sign-in", open, d.signIn},
		{"POST /inspect", open, d.inspect},
		{"GET /assets/{name}", open, d.asset},
		{"POST /sign-out", everyone, d.signOut},
		{"POST /lock", staff, d.lock},
		{"GET /{$}", everyone, d.today},
		{"GET /day/{day}", everyone, d.day},
		{"POST " + uploadPath, staff, d.upload},
		{"POST /release", staff, d.release},
		{"GET /exports/{sum}", everyone, d.original},
		{"GET /cycle/{key}", everyone, d.cycle},
		{"GET /cycle/{key}/readings", everyone, d.readings},
		{"GET /cycle/{key}/label", staff, d.label},
		{"GET /trace", everyone, d.trace},
		{"POST /cycle/{key}", staff, d.decide},
		{"GET /days", everyone, d.days},
		{"GET /day/{day}/record", everyone, d.record},
		{"GET /day/{day}/draft", everyone, d.draft},
		{"POST /day/{day}/sign", staff, d.sign},
		{"POST /day/{day}/countersign", leads, d.countersign},
		{"GET /day/{day}/record/read", everyone, d.recordInline},
		{"GET /day/{day}/reading", everyone, d.reading},
		{"GET /day/{day}/entries", everyone, d.entries},
		{"GET /sheet", everyone, d.sheetPage},
		{"POST /sheet", staff, d.sheet},
		{"GET /load", staff, d.loadPage},
		{"POST /load", staff, d.load},
		{"GET /entry/{n}", everyone, d.entryPage},
		{"POST /entry/{n}", staff, d.correct},
		{"GET /note", staff, d.notePage},
		{"POST /note", staff, d.note},
		{"GET /find", everyone, d.find},
		{"GET /drift", everyone, d.drift},
		{"GET /question/{n}", everyone, d.question},
		{"GET /record/{name}", everyone, d.recordNamed},
		{"GET /people", everyone, d.people},
		{"GET /people/add", leads, d.personPage},
		{"POST /people/add", leads, d.addPerson},
		{"GET /person/{id}", leads, d.personPage},
		{"POST /person/{id}/roles", leads, d.changeRoles},
		{"POST /person/{id}/certificate", leads, d.newCertificate},
		{"POST /person/{id}/end", leads, d.endCertificate},
		{"GET /judging", everyone, d.judging},
		{"POST /inspector", leads, d.startInspector},
		{"POST /inspector/end", leads, d.endInspector},
	}
}

// visitor is who asks.
type visitor struct {
	surgery.SignedIn
	Inspector bool
	Locked    bool
	token     string // of the session
}

// In tells whether somebody is signed in.
func (v visitor) In() bool { return v.Person != "" || v.Inspector }

// Staff tells whether the visitor may act, not only read.
func (v visitor) Staff() bool { return v.Person != "" && !v.Locked }

// Releases tells whether the visitor may let a load go.
func (v visitor) Releases() bool { return v.Staff() && v.May(surgery.ActRelease) }

func (v visitor) rights() rights {
	switch {
	case v.Inspector:
		return inspectors
	case v.Person == "":
		return 0
	case v.Lead():
		return leads
	}
	return nurses
}

// entrance lets in whom the route is for.
func (d *Desk) entrance(rt route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v, err := d.visitor(r.Context())
		if err != nil {
			d.fail(w, r, v, err)
			return
		}
		switch {
		case rt.for_&open != 0:
		case !v.In():
			d.keepDraft(r, v)
			d.askWho(w, r)
			return
		case v.Locked:
			d.keepDraft(r, v)
			d.askWho(w, r)
			return
		case rt.for_&v.rights() == 0:
			d.fail(w, r, v, errForbidden)
			return
		}
		if err := rt.page(w, r, v); err != nil {
			d.fail(w, r, v, err)
		}
	})
}

var (
	errForbidden = errors.New("this is not yours to do")
	errNotThere  = errors.New("there is no such page")
)

func (d *Desk) nothingHere(http.ResponseWriter, *http.Request, visitor) error { return errNotThere }

// visitor finds out who asks: the session, whether it is locked, and whether its person
// may still do anything.
func (d *Desk) visitor(ctx context.Context) (visitor, error) {
	v := visitor{token: d.sessions.Token(ctx)}
	if until := d.sessions.GetTime(ctx, "inspector until"); !until.IsZero() {
		if d.o.Now().After(until) || d.sessions.GetInt(ctx, "inspector round") != d.passes.round() {
			return v, d.sessions.Destroy(ctx)
		}
		v.Inspector = true
		return v, nil
	}
	in, ok := d.sessions.Get(ctx, "who").(surgery.SignedIn)
	if !ok {
		return v, nil
	}
	now, err := d.records.StillIn(ctx, in)
	var no *surgery.Refusal
	if errors.As(err, &no) { // left, or the certificate was ended: out at once
		d.drafts.forget(v.token)
		return v, d.sessions.Destroy(ctx)
	}
	if err != nil {
		return v, err
	}
	v.SignedIn = now
	seen := d.sessions.GetTime(ctx, "seen")
	if v.Locked = d.o.Now().Sub(seen) > idle; !v.Locked {
		d.sessions.Put(ctx, "seen", d.o.Now())
	}
	return v, nil
}
