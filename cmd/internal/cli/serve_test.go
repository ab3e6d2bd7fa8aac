package cli

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	neturl "net/url"
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

// screen is a place to write to from several goroutines.
type screen struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// until waits for a text on the screen.
func (s *screen) until(t *testing.T, pattern string) []string {
	t.Helper()
	re := regexp.MustCompile(pattern)
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if found := re.FindStringSubmatch(s.String()); found != nil {
			return found
		}
	}
	t.Fatalf("%s does not come:\n%s", pattern, s)
	return nil
}

// served begins to serve an invented site, and returns its folder, its address, and a
// way to end it.
func served(t *testing.T, s serving, change ...func(dir string)) (dir, url string, stop func() error) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "Tern Quay")
	w := World{Now: time.Now, Getenv: func(string) string { return "" }, Program: "holdproof"}
	text := []byte("site: {name: Tern Quay Surgery, timezone: Europe/London}\nwatch: [in]\nsterilisers:\n  - {id: S1, serial: TQ-0417, programme: \"134\"}\n")
	if err := os.MkdirAll(filepath.Join(dir, "in"), 0o777); err != nil {
		t.Fatal(err)
	}
	value, err := decode(w, "holdproof.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	word := func() (string, error) { return "gulls on the wall", nil }
	err = surgery.Begin(t.Context(), surgery.Beginning{Dir: dir, Write: true, Lead: "edda", Name: "Edda Marlick", Passphrase: word, Authority: word,
		Settings: surgery.Settings{Value: value, File: filepath.Join(dir, configurationFile), Text: text}}, surgery.World{Now: time.Now, Rounds: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range change {
		f(dir)
	}
	out := &screen{}
	w.Stdout, w.Stderr = out, out
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- serve(ctx, w, &common{dir: dir}, s) }()
	var once sync.Once
	stop = func() (err error) {
		once.Do(func() { cancel(); err = <-ended })
		return err
	}
	t.Cleanup(func() { _ = stop() })
	return dir, out.until(t, `The desk is at (https?://\S+)\. Stop`)[1], stop
}

func get(t *testing.T, c *http.Client, url string) (int, string) {
	t.Helper()
	r, err := c.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body)
}

// The desk is served, takes what comes into a watched folder meanwhile, and ends cleanly.
func TestServe(t *testing.T) {
	dir, url, stop := served(t, serving{addr: "127.0.0.1:0"})
	if code, body := get(t, http.DefaultClient, url); code != http.StatusOK || !strings.Contains(body, "Passphrase of your key") {
		t.Errorf("%d %s", code, body)
	}
	text, err := fixtures.CSV(fixtures.Dialect{Preamble: true}, fixtures.Cycle{Start: time.Now().Add(-2 * time.Hour), Steriliser: "TQ-0417", Number: "7", Label: "134", Interval: 5})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "in", "noon.csv"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	w := World{Now: time.Now, Getenv: func(string) string { return "" }, Stderr: io.Discard}
	came := false
	for end := time.Now().Add(60 * time.Second); !came && time.Now().Before(end); time.Sleep(300 * time.Millisecond) {
		r, done, err := openRecords(t.Context(), w, &common{dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		_, err = r.Cycle(t.Context(), "S1/7")
		came = err == nil
		done()
	}
	if !came {
		t.Error("what came into the watched folder was not taken")
	}
	if err := stop(); err != nil {
		t.Errorf("it ends with: %v", err)
	}
}

// With a certificate other computers may ask, by its names and over TLS only.
func TestServeTLS(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	of := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "desk"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, of, of, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	in := t.TempDir()
	cert, private := filepath.Join(in, "desk.pem"), filepath.Join(in, "desk.key")
	for name, b := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, private: {Type: "PRIVATE KEY", Bytes: pkcs8}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	_, url, stop := served(t, serving{addr: "0.0.0.0:0", cert: cert, key: private})
	roots := x509.NewCertPool()
	c, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	roots.AddCert(c)
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
	r, err := client.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK || r.Header.Get("Strict-Transport-Security") == "" {
		t.Errorf("%d %v", r.StatusCode, r.Header)
	}
	if code, _ := get(t, http.DefaultClient, strings.Replace(url, "https:", "http:", 1)); code != http.StatusBadRequest {
		t.Errorf("without TLS it answers %d", code)
	}
	client.CloseIdleConnections()
	if err := stop(); err != nil {
		t.Error(err)
	}
}

// Where the program was not started from a window it shows its help.
func TestNoDoubleClick(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile(configurationFile, []byte("limits: en\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if code := Run(nil, World{Stdin: strings.NewReader(""), Stdout: &out, Stderr: &out, Now: time.Now, Getenv: func(string) string { return "x" }}); code != exitDone || !strings.Contains(out.String(), "Usage:") {
		t.Errorf("%d %s", code, out.String())
	}
}

// What keeps folders from being watched ends nothing: the desk says so on its first page,
// and takes what comes as soon as it can.
func TestServeOutlivesItsWatch(t *testing.T) {
	dir, url, stop := served(t, serving{addr: "127.0.0.1:0", again: 200 * time.Millisecond}, func(dir string) {
		if err := os.Remove(filepath.Join(dir, "in")); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "in"), []byte("a file where a folder was"), 0o666); err != nil {
			t.Fatal(err)
		}
	})
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &http.Client{Jar: jar}
	r, err := c.PostForm(url+"/sign-in", neturl.Values{"person": {"edda"}, "passphrase": {"gulls on the wall"}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	says := func(want bool, text string) {
		t.Helper()
		var body string
		for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
			if _, body = get(t, c, url+"/"); strings.Contains(body, text) == want {
				return
			}
		}
		t.Fatalf("%q on the page is not %v:\n%s", text, want, body)
	}
	says(true, "do not come in by themselves now")
	says(true, "is a file, expected a folder")
	if err := os.Remove(filepath.Join(dir, "in")); err != nil {
		t.Fatal(err)
	}
	says(true, "cannot be read, so nothing comes in from there")
	if err := os.Mkdir(filepath.Join(dir, "in"), 0o777); err != nil {
		t.Fatal(err)
	}
	says(false, "nothing comes in from there")
	if err := stop(); err != nil {
		t.Errorf("it ends with: %v", err)
	}
}
