package desk

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
	"holdproof/fixtures"
)

// The surgery, its people and their passphrases are invented.

// clock is one that tests move.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) move(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

func word(id string) string { return "the " + id + " passphrase 7" }

func wordOf(id string) func() (string, error) {
	return func() (string, error) { return word(id), nil }
}

// site is a served desk over a surgery of three people: mara is lead, lea may operate
// and release, ben may operate.
type site struct {
	t       testing.TB
	records *surgery.Records
	desk    *Desk
	server  *httptest.Server
	clock   *clock
	logged  []string
	exports string
}

func configuration() surgery.Configuration {
	load := []surgery.Mapping{{Label: "134 wrapped", Programme: "134"}, {Label: "Helix", Programme: "134", Kind: "steam penetration test"},
		{Label: "Control test", Programme: "134", Kind: "control test"}, {Label: "Vac test", Kind: "air leakage test"}, {Label: "134 quick", Programme: "134"}}
	return surgery.Configuration{Site: surgery.Site{Name: "Tern Quay Surgery", Timezone: "Europe/London"}, Limits: "en", Routine: "england",
		Chairs: []string{"chair 1", "chair 2"}, Products: []surgery.Product{{Name: "Tern Quay line rinse (invented)", ContactMin: 10, Source: "invented"}},
		Sterilisers: []surgery.Steriliser{
			{ID: "S1", Serial: "TQ-0417", Type: "B", Programme: "134", Programmes: load},
			{ID: "S2", Serial: "TQ-0522", Type: "B", Programme: "134", Programmes: load, Export: surgery.Export{SteriliserColumn: "Steriliser", Decimal: ","}}}}
}

func settingsIn(dir string) surgery.Settings {
	return surgery.Settings{Value: configuration(), File: filepath.Join(dir, "holdproof.yaml"), Text: []byte("site: {name: Tern Quay Surgery}\n")}
}

func newSite(t testing.TB, change ...func(*Options)) *site {
	t.Helper()
	return newSiteOf(t, 1, change...)
}

// newSiteOf makes keys that take that many rounds to open.
func newSiteOf(t testing.TB, rounds int, change ...func(*Options)) *site {
	t.Helper()
	s := &site{t: t, clock: &clock{at: time.Date(2026, 11, 2, 7, 0, 0, 0, time.UTC)}}
	dir := filepath.Join(t.TempDir(), "Tern Quay")
	w := surgery.World{Now: s.clock.now, Rounds: rounds}
	set := settingsIn(dir)
	err := surgery.Begin(t.Context(), surgery.Beginning{Dir: dir, Settings: set, Write: true, Lead: "mara", Name: "Mara Quill",
		Passphrase: wordOf("mara"), Authority: wordOf("authority")}, w)
	if err != nil {
		t.Fatal(err)
	}
	if s.records, err = surgery.OpenRecords(t.Context(), dir, set, w); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.records.Close() })
	for id, roles := range map[string][]string{"lea": {"operate", "release"}, "ben": {"operate"}} {
		err := s.records.AddPerson(t.Context(), surgery.Joining{ID: id, Name: map[string]string{"lea": "Lea Marsh", "ben": "Ben Tarn"}[id], Roles: roles,
			Passphrase: wordOf(id), By: surgery.Proof{Person: "mara", Passphrase: wordOf("mara")}, Authority: wordOf("authority"), Reason: "begins"})
		if err != nil {
			t.Fatal(err)
		}
	}
	s.exports = t.TempDir()
	demo, err := fixtures.DemoDay()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range demo {
		if strings.HasPrefix(f.Name, "exports/") {
			s.write(filepath.Base(f.Name), f.Bytes)
		}
	}
	s.clock.move(11 * time.Hour) // six in the evening
	o := Options{Now: s.clock.now, Hosts: []string{"127.0.0.1"}, Rounds: 1, Log: func(err error) { s.logged = append(s.logged, err.Error()) }}
	for _, f := range change {
		f(&o)
	}
	if s.desk, err = New(s.records, o); err != nil {
		t.Fatal(err)
	}
	s.server = httptest.NewServer(s.desk.Handler())
	t.Cleanup(s.server.Close)
	return s
}

func (s *site) write(name string, data []byte) string {
	s.t.Helper()
	path := filepath.Join(s.exports, name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		s.t.Fatal(err)
	}
	return path
}

// full imports the invented day.
func (s *site) full() *site {
	s.t.Helper()
	if _, err := s.records.Import(s.t.Context(), surgery.Arriving{Paths: []string{s.exports}, Via: surgery.ViaCommand}, &receiver{zone: time.UTC}); err != nil {
		s.t.Fatal(err)
	}
	return s
}

// caller is a browser without scripts.
type caller struct {
	t    testing.TB
	base string
	http *http.Client
}

func (s *site) caller() *caller {
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	return &caller{s.t, s.server.URL, &http.Client{Jar: jar, Timeout: time.Minute,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// as signs a person in.
func (s *site) as(id string) *caller {
	s.t.Helper()
	c := s.caller()
	if r := c.post("/sign-in", "person", id, "passphrase", word(id)); r.code != http.StatusSeeOther {
		s.t.Fatalf("%s cannot sign in: %d %s", id, r.code, r.text())
	}
	return c
}

// inspector begins a session that only reads.
func (s *site) inspector() *caller {
	s.t.Helper()
	page := s.as("mara").post("/inspector")
	code := regexp.MustCompile(`<code>([a-z0-9-]{14})</code>`).FindStringSubmatch(page.body)
	if code == nil {
		s.t.Fatalf("no code: %d %s", page.code, page.body)
	}
	c := s.caller()
	if r := c.post("/inspect", "code", code[1]); r.code != http.StatusSeeOther {
		s.t.Fatalf("the code does not open: %d %s", r.code, r.text())
	}
	return c
}

// answer is what came back.
type answer struct {
	code   int
	header http.Header
	body   string
}

var tags = regexp.MustCompile(`(?s)<(title|desc)\b.*?</(title|desc)>|<[^>]*>`)

// text is what a person reads of it.
func (a answer) text() string {
	return strings.Join(strings.Fields(tags.ReplaceAllString(a.body, " ")), " ")
}

func (c *caller) do(r *http.Request) answer {
	c.t.Helper()
	a, err := c.try(r)
	if err != nil {
		c.t.Fatal(err)
	}
	return a
}

// try is do for a request that may get no answer.
func (c *caller) try(r *http.Request) (answer, error) {
	res, err := c.http.Do(r)
	if err != nil {
		return answer{}, err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	return answer{res.StatusCode, res.Header, string(body)}, err
}

func (c *caller) request(method, path string, body io.Reader) *http.Request {
	c.t.Helper()
	r, err := http.NewRequestWithContext(c.t.Context(), method, c.base+path, body)
	if err != nil {
		c.t.Fatal(err)
	}
	return r
}

func (c *caller) get(path string) answer { return c.do(c.request("GET", path, nil)) }

// post sends a form of names and values in turn.
func (c *caller) post(path string, fields ...string) answer {
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	r := c.request("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return c.do(r)
}

// send uploads files.
func (c *caller) send(files map[string][]byte) answer {
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name, data := range files {
		w, err := m.CreateFormFile("file", name)
		if err != nil {
			c.t.Fatal(err)
		}
		if _, err := w.Write(data); err != nil {
			c.t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		c.t.Fatal(err)
	}
	r := c.request("POST", "/exports", &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	return c.do(r)
}

// key is that of a cycle of the invented day, by machine and number.
func (s *site) key(machine, number string) string {
	s.t.Helper()
	list, err := s.records.ShownCycles(s.t.Context(), surgery.ShownQuery{Steriliser: machine, Number: number})
	if err != nil || len(list) != 1 {
		s.t.Fatalf("%s %s: %d cycles, %v", machine, number, len(list), err)
	}
	return list[0].Key
}

// seen is the hidden field of the form on a cycle.
func (s *site) seen(c *caller, key string) string {
	s.t.Helper()
	found := regexp.MustCompile(`name="seen" value="([^"]*)"`).FindStringSubmatch(c.get("/cycle/" + key).body)
	if found == nil {
		s.t.Fatalf("no decision is offered on %s", key)
	}
	return found[1]
}

// readTests enters what the tests of the day showed.
func (s *site) readTests(c *caller) {
	s.t.Helper()
	for _, of := range [][2]string{{"S1", "1041"}, {"S2", "416"}} {
		r := c.post("/note", "duty", "penetration test read", "cycle", s.key(of[0], of[1]), "day", "2026-11-02", "outcome", "passed")
		if r.code != http.StatusSeeOther {
			s.t.Fatalf("the test is not entered: %d %s", r.code, r.text())
		}
	}
}
