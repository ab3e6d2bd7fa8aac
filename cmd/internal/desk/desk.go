// Package desk is the review desk: the acts of package surgery as pages in a browser.
// It judges nothing and keeps nothing; what it shows comes from the logbook and what a
// person does on it is an act there.
//
// Pages are made at the server and work without scripts. A session proves who decides;
// signing asks for the passphrase again, opens the key for one request, and forgets it.
package desk

import (
	"errors"
	"html/template"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"golang.org/x/sync/singleflight"

	"holdproof/cmd/internal/surgery"
)

// Options are what a desk needs from outside.
type Options struct {
	Now    func() time.Time // required
	Hosts  []string         // names by which a browser may ask for it, without a port; required
	Secure bool             // it is served over TLS
	Rounds int              // of PBKDF2 spent on an id that nobody has; 0 for as many as a key takes
	Log    func(error)      // takes what a person should not see in full; may be nil
	// People of the demonstration are told on the sign-in page; nil for a real site.
	People []surgery.DemoPerson
}

// Desk serves the pages of one site.
type Desk struct {
	records  *surgery.Records
	o        Options
	sessions *scs.SessionManager
	pages    map[string]*template.Template
	assets   map[string]asset
	brake    *brake // on ids
	callers  *brake // on computers
	passes   *passes
	drafts   *drafts
	came     *arrivals
	smalls   *memory[template.HTML]
	drawing  singleflight.Group // small figures of a day that are being drawn
	larges   *memory[drawing]
	reads    *memory[[]string]
	answers  *memory[[]surgery.Reply]
	reviews  *memory[surgery.Review]
	keys     chan struct{} // one for each key that may be opened at a time
	files    sync.Mutex    // one import at a time
	watched  watched
	patience patience
}

// New makes the desk of an opened site.
//
// Error: Hosts or Now are missing.
func New(r *surgery.Records, o Options) (*Desk, error) {
	if o.Now == nil || len(o.Hosts) == 0 {
		return nil, errors.New("a desk needs a clock and the names it is asked for by")
	}
	d := &Desk{records: r, o: o, brake: newBrake(o.Now), callers: newCallers(o.Now), passes: &passes{now: r.Now}, drafts: newDrafts(), came: newArrivals(),
		smalls: newMemory[template.HTML](mostSmall), larges: newMemory[drawing](mostLarge), reads: newMemory[[]string](mostReadAs), answers: newMemory[[]surgery.Reply](mostAnswers), reviews: newMemory[surgery.Review](mostReviews), keys: make(chan struct{}, 2), patience: patience{piece: readWithin, whole: wholeWithin}}
	s := scs.New()
	s.Lifetime = 14 * time.Hour // a working day, and no night (ours)
	s.Cookie.Name = "holdproof"
	s.Cookie.HttpOnly, s.Cookie.Secure, s.Cookie.Persist = true, o.Secure, false
	s.Cookie.SameSite = http.SameSiteStrictMode
	s.HashTokenInStore = true
	s.ErrorFunc = func(w http.ResponseWriter, _ *http.Request, err error) {
		d.log(err)
		http.Error(w, "The session could not be read. Sign in again.", http.StatusInternalServerError)
	}
	d.sessions = s
	var err error
	if d.assets, err = readAssets(); err != nil {
		return nil, err
	}
	d.pages, err = d.readPages()
	return d, err
}

// Handler answers every request, guarded.
func (d *Desk) Handler() http.Handler {
	mux := http.NewServeMux()
	for _, r := range d.routes() {
		mux.Handle(r.pattern, d.entrance(r))
	}
	mux.Handle("/", d.entrance(route{"/", open | inspectors | nurses | leads, d.nothingHere}))
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "This was asked for by another site, so nothing was done.", http.StatusForbidden)
	}))
	return d.guard(cross.Handler(d.sessions.LoadAndSave(mux)))
}

func (d *Desk) log(err error) {
	if d.o.Log != nil {
		d.o.Log(err)
	}
}

// knownHost tells whether a Host header is one of ours: a page of another name that
// resolves to this computer (DNS rebinding) is not.
func (d *Desk) knownHost(host string) bool {
	if i := strings.LastIndexByte(host, ':'); i >= 0 && !strings.HasSuffix(host, "]") {
		host = host[:i]
	}
	host = strings.Trim(strings.ToLower(host), "[]")
	for _, h := range d.o.Hosts {
		if strings.Trim(strings.ToLower(h), "[]") == host {
			return true
		}
	}
	return false
}
