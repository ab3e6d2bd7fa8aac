package desk

import (
	"context"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"encoding/gob"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"holdproof/cmd/internal/surgery"
)

// idle is how long a session stays open without a request (the owner's figure).
const idle = 10 * time.Minute

// rounds is what a key file takes; an id that nobody has costs as much (ours).
const rounds = 600_000

func init() { // what sessions keep
	gob.Register(surgery.SignedIn{})
	gob.Register(time.Time{})
}

// signInData is what the sign-in page shows: nothing of the site or its people.
type signInData struct {
	Back   string
	Lines  []string // why it is asked
	Person string   // of a locked session
	Name   string   // of that person
	Kept   bool     // what was being written is kept
	People []surgery.DemoPerson
}

func (d *Desk) signInPage(w http.ResponseWriter, r *http.Request, v visitor) error {
	if v.In() && !v.Locked {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	return d.show(w, r, v, "sign-in", http.StatusOK, d.signInData(r, v))
}

func (d *Desk) signInData(r *http.Request, v visitor, lines ...string) signInData {
	in := signInData{Back: inside(r.FormValue("back")), Lines: lines, People: d.o.People}
	if v.Locked {
		in.Person, in.Name = v.Person, v.Name
		if !d.sessions.GetBool(r.Context(), byHand) {
			in.Lines = append(in.Lines, "Nothing was done here for ten minutes, so the desk is locked.")
		}
		if r.FormValue("lost") != "" {
			in.Lines = append(in.Lines, lostFiles)
		}
		in.Kept = d.drafts.any(v.token)
	}
	return in
}

// askWho sends somebody who is not signed in, or locked, to the sign-in page. A form
// that was sent meanwhile is not done; what was written in it is kept.
func (d *Desk) askWho(w http.ResponseWriter, r *http.Request) {
	back := r.URL.RequestURI()
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		back = inside(refererPath(r))
	}
	if r.Method == http.MethodPost && r.URL.Path == uploadPath && d.sessions.Exists(r.Context(), "who") {
		_, _ = io.Copy(io.Discard, r.Body) // to its end, or the browser never reads the answer
		d.say(r, lostFiles)
		http.Redirect(w, r, "/sign-in?lost=files&back="+url.QueryEscape(back), http.StatusSeeOther)
		return
	}
	http.Redirect(w, r, "/sign-in?back="+url.QueryEscape(back), http.StatusSeeOther)
}

func refererPath(r *http.Request) string {
	u, err := url.Parse(r.Referer())
	if err != nil {
		return "/"
	}
	return u.RequestURI()
}

// inside keeps a way back on this desk.
func inside(back string) string {
	u, err := url.Parse(back)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.Contains(back, `\`) {
		return "/"
	}
	return u.RequestURI()
}

func (d *Desk) signIn(w http.ResponseWriter, r *http.Request, v visitor) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	id := strings.ToLower(strings.TrimSpace(r.PostFormValue("person")))
	if v.Locked {
		id = v.Person
	}
	from := callerOf(r)
	if wait := max(d.brake.wait(id), d.callers.wait(from)); wait > 0 {
		w.Header().Set("Retry-After", fmt.Sprint(int(math.Ceil(wait.Seconds()))))
		return d.show(w, r, v, "sign-in", http.StatusTooManyRequests, d.signInData(r, v, "That did not fit several times. Try again in "+lasting(math.Ceil(wait.Seconds()))+"."))
	}
	in, err := d.open(r.Context(), id, r.PostFormValue("passphrase"))
	if err != nil {
		d.brake.failed(id)
		d.callers.failed(from)
		return d.show(w, r, v, "sign-in", http.StatusUnauthorized, d.signInData(r, v, "Id and passphrase do not fit together."))
	}
	d.brake.fits(id)
	d.callers.fits(from)
	old := v.token
	if v.Person != in.Person {
		d.drafts.forget(old)
		if err := d.sessions.Clear(r.Context()); err != nil {
			return err
		}
	}
	if err := d.sessions.RenewToken(r.Context()); err != nil { // whoever knew the old token knows nothing now
		return err
	}
	d.drafts.move(old, d.sessions.Token(r.Context()))
	d.sessions.Remove(r.Context(), byHand)
	d.sessions.Put(r.Context(), "who", in)
	d.sessions.Put(r.Context(), "seen", d.o.Now())
	http.Redirect(w, r, inside(r.PostFormValue("back")), http.StatusSeeOther)
	return nil
}

// open tries a passphrase. Whatever is wrong, it takes as long and says the same.
func (d *Desk) open(ctx context.Context, id, passphrase string) (surgery.SignedIn, error) {
	select {
	case d.keys <- struct{}{}:
		defer func() { <-d.keys }()
	case <-ctx.Done():
		return surgery.SignedIn{}, ctx.Err()
	}
	tried := false
	in, err := d.records.SignIn(ctx, id, func() (string, error) { tried = true; return passphrase, nil })
	if err != nil && !tried {
		n := d.o.Rounds
		if n == 0 {
			n = rounds
		}
		_, _ = pbkdf2.Key(sha256.New, passphrase, []byte("nobody"), n, 32) // only for the time it takes
	}
	return in, err
}

func (d *Desk) signOut(w http.ResponseWriter, r *http.Request, v visitor) error {
	d.drafts.forget(v.token)
	if err := d.sessions.Destroy(r.Context()); err != nil {
		return err
	}
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
	return nil
}

// byHand says that somebody locked the desk, and not the time.
const byHand = "locked by hand"

// lostFiles is said of files that were brought to a locked desk: they are not kept.
const lostFiles = "The files you brought in were not taken, since the desk was locked. Bring them in again."

// lock closes the desk at once and keeps the session, with what was being written.
func (d *Desk) lock(w http.ResponseWriter, r *http.Request, _ visitor) error {
	d.sessions.Put(r.Context(), "seen", d.o.Now().Add(-idle-time.Second))
	d.sessions.Put(r.Context(), byHand, true)
	http.Redirect(w, r, "/sign-in?back="+url.QueryEscape(inside(refererPath(r))), http.StatusSeeOther)
	return nil
}

// passes are codes by which an inspector reads until the day ends.
type passes struct {
	now   func() time.Time
	mu    sync.Mutex
	of    map[string]time.Time // code: until
	ended int                  // how often a lead ended all sessions: those begun before are over
}

// letters of a code: none that is taken for another when it is read aloud.
const letters = "abcdefghjkmnpqrstuvwxyz23456789"

// create makes a code that opens until a moment.
func (p *passes) create(until time.Time) (code string) {
	raw := make([]byte, 12)
	_, _ = rand.Read(raw) // never fails
	for i, b := range raw {
		if i > 0 && i%4 == 0 {
			code += "-"
		}
		code += string(letters[int(b)%len(letters)])
	}
	now := p.now()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.of == nil {
		p.of = map[string]time.Time{}
	}
	for c, t := range p.of {
		if now.After(t) {
			delete(p.of, c)
		}
	}
	p.of[code] = until
	return code
}

// ends is when a session that is begun now ends: with the day.
func (p *passes) ends() time.Time {
	now := p.now()
	return time.Date(now.Year(), now.Month(), now.Day()+1, 0, 0, 0, 0, now.Location())
}

func (p *passes) until(code string) (time.Time, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	t, ok := p.of[strings.ToLower(strings.TrimSpace(code))]
	return t, ok && p.now().Before(t)
}

// used makes a code open nothing more: it lets in once.
func (p *passes) used(code string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.of, strings.ToLower(strings.TrimSpace(code)))
}

// end is over all sessions and codes there are.
func (p *passes) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.of = nil
	p.ended++
}

// round is what a session notes that begins now; when the two differ it was ended.
func (p *passes) round() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.ended
}

// endInspector ends every session of an inspector before the day does.
func (d *Desk) endInspector(w http.ResponseWriter, r *http.Request, _ visitor) error {
	d.passes.end()
	d.say(r, "Nobody reads as an inspector any more, and no code opens.")
	http.Redirect(w, r, "/people", http.StatusSeeOther)
	return nil
}

func (d *Desk) inspect(w http.ResponseWriter, r *http.Request, v visitor) error {
	const id = "inspector's code" // no id of a person has a space
	from := callerOf(r)
	if wait := max(d.brake.wait(id), d.callers.wait(from)); wait > 0 {
		return d.show(w, r, v, "sign-in", http.StatusTooManyRequests, d.signInData(r, visitor{}, "That did not fit several times. Try again in "+lasting(math.Ceil(wait.Seconds()))+"."))
	}
	until, ok := d.passes.until(r.PostFormValue("code"))
	if !ok {
		d.brake.failed(id)
		d.callers.failed(from)
		return d.show(w, r, v, "sign-in", http.StatusUnauthorized, d.signInData(r, visitor{}, "That code opens nothing."))
	}
	d.brake.fits(id)
	d.callers.fits(from)
	d.drafts.forget(v.token)
	if err := d.sessions.Clear(r.Context()); err != nil {
		return err
	}
	if err := d.sessions.RenewToken(r.Context()); err != nil {
		return err
	}
	d.sessions.Put(r.Context(), "inspector until", until)
	d.passes.used(r.PostFormValue("code"))
	d.sessions.Put(r.Context(), "inspector round", d.passes.round())
	http.Redirect(w, r, "/find", http.StatusSeeOther)
	return nil
}

func (d *Desk) startInspector(w http.ResponseWriter, r *http.Request, v visitor) error {
	until := d.passes.ends()
	if _, err := d.records.LetIn(r.Context(), surgery.Proof{Person: v.Person, SignedIn: &v.SignedIn}, until); err != nil {
		return err
	}
	code := d.passes.create(until)
	return d.show(w, r, v, "inspector", http.StatusOK, struct {
		Code  string
		Until time.Time
	}{code, until})
}

// drafts are forms that were sent and did nothing, from a locked desk or against a rule,
// by session and address. What is secret in them is not kept.
type drafts struct {
	mu sync.Mutex
	of map[string]map[string]url.Values
}

func newDrafts() *drafts { return &drafts{of: map[string]map[string]url.Values{}} }

// mostDrafts bounds what one session may leave behind (ours).
const mostDrafts = 20

func (d *Desk) keepDraft(r *http.Request, v visitor) {
	if !v.Locked {
		return
	}
	d.keepForm(r, v)
}

// keepForm keeps what was written in a form that did nothing, for the page it came from.
func (d *Desk) keepForm(r *http.Request, v visitor) {
	if r.Method != http.MethodPost || r.URL.Path == uploadPath || v.Person == "" || r.ParseForm() != nil {
		return
	}
	d.drafts.put(v.token, r.URL.Path, r.PostForm)
}

// put keeps what was written on a form, but nothing that is secret.
func (d *drafts) put(token, path string, written url.Values) {
	form := url.Values{}
	for k, all := range written {
		if !strings.Contains(k, "passphrase") {
			form[k] = all
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	mine := d.of[token]
	if mine == nil {
		mine = map[string]url.Values{}
		d.of[token] = mine
	}
	if len(mine) < mostDrafts {
		mine[path] = form
	}
}

// take returns a draft once.
func (d *drafts) take(token, path string) url.Values {
	d.mu.Lock()
	defer d.mu.Unlock()
	form := d.of[token][path]
	delete(d.of[token], path)
	return form
}

// takeOf returns a draft once, if it is of that cycle.
func (d *drafts) takeOf(token, path, cycle string) url.Values {
	d.mu.Lock()
	of := d.of[token][path].Get("cycle")
	d.mu.Unlock()
	if cycle == "" || of != cycle {
		return nil
	}
	return d.take(token, path)
}

func (d *drafts) any(token string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.of[token]) > 0
}

func (d *drafts) move(from, to string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if mine, ok := d.of[from]; ok && from != to {
		d.of[to] = mine
		delete(d.of, from)
	}
}

func (d *drafts) forget(token string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.of, token)
}
