package desk

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

func TestNamesReachNoOtherPlace(t *testing.T) {
	s := newSite(t)
	c := s.as("lea")
	before := tree(t, s.records.Dir())
	for name, want := range map[string]string{"../../../holdproof.yaml": "holdproof.yaml", `..\..\keys\mara.p12`: "mara.p12", "a/b.csv": "b.csv"} {
		if got := plainName(name); got != want {
			t.Errorf("%q becomes %q, expected %q", name, got, want)
		}
	}
	for _, name := range []string{"../../../holdproof.yaml", `..\..\keys\mara.p12`, "/etc/passwd", "..", ".", "", "a/b.csv", "con:.csv", "\x00x.csv", strings.Repeat("long", 200) + ".csv"} {
		if got := plainName(name); got == "" || got == "." || got == ".." || strings.ContainsAny(got, "/\\\x00:") || len(got) > 130 {
			t.Errorf("%q becomes %q", name, got)
		}
	}
	c.send(map[string][]byte{"../../../holdproof.yaml": []byte("x"), `..\..\keys\mara.p12`: []byte("x")})
	for path, data := range tree(t, s.records.Dir()) {
		if was, there := before[path]; !strings.Contains(path, "holdproof.db") && (!there || was != data) {
			t.Errorf("an upload wrote %s", path)
		}
	}
	for _, path := range []string{"/exports/..%2f..%2fholdproof.yaml", "/day/..%2fholdproof.yaml/record", "/day/..%2f..%2fkeys%2fmara.p12/record", "/assets/..%2fdesk.go", "/assets/../desk.go", "/exports/", "/exports/%00",
		"/cycle/..%2f..", "/day/2026-13-45", "/day/2026-11-02/record"} {
		if r := c.get(path); r.code != http.StatusNotFound && r.code != http.StatusTemporaryRedirect && r.code != http.StatusMovedPermanently {
			t.Errorf("%s: %d %.80s", path, r.code, r.text())
		}
	}
}

// tree is every file of a folder by its name.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		out[path] = string(data)
		return err
	})
	if err != nil || len(out) == 0 {
		t.Fatalf("%d files in %s, %v", len(out), dir, err)
	}
	return out
}

// A file that is too large is refused while it comes, with a sentence, and nothing of
// it is left.
func TestHugeUpload(t *testing.T) {
	s := newSite(t)
	c := s.as("lea")
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	const boundary = "----holdproof"
	head := "--" + boundary + "\r\nContent-Disposition: form-data; name=\"file\"; filename=\"huge.csv\"\r\n\r\n"
	line := bytes.Repeat([]byte("12.3,"), 1<<18)
	pr, pw := io.Pipe()
	var sent atomic.Int64 // the sender may still be at it when the answer is there
	go func() {
		_, _ = io.WriteString(pw, head)
		for sent.Load() < 2*maxUpload {
			n, err := pw.Write(line)
			sent.Add(int64(n))
			if err != nil {
				break
			}
		}
		pw.CloseWithError(io.ErrUnexpectedEOF)
	}()
	// Straight to the handler: a client that still sends may not read the answer.
	r := httptest.NewRequestWithContext(t.Context(), "POST", "http://127.0.0.1/exports", pr)
	r.Header.Set("Content-Type", "multipart/form-data; boundary="+boundary)
	for _, cookie := range c.http.Jar.Cookies(c.request("GET", "/", nil).URL) {
		r.AddCookie(cookie)
	}
	w := httptest.NewRecorder()
	s.desk.Handler().ServeHTTP(w, r)
	pr.Close()
	if got := (answer{body: w.Body.String()}).text(); w.Code != http.StatusRequestEntityTooLarge || !strings.Contains(got, "more than 100 MB") {
		t.Errorf("%d %s", w.Code, got)
	}
	if got := sent.Load(); got > maxUpload+4<<20 {
		t.Errorf("%d MB were read before it was refused", got>>20)
	}
	if left, err := os.ReadDir(temp); err != nil || len(left) > 0 {
		t.Errorf("%d files are left behind, %v", len(left), err)
	}
}

// A client that sends a header slowly is let go.
func TestSlowClient(t *testing.T) {
	s := newSite(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := s.desk.server()
	server.ReadHeaderTimeout = 200 * time.Millisecond
	go server.Serve(l)
	t.Cleanup(func() { server.Close() })
	if full := s.desk.server(); full.ReadHeaderTimeout <= 0 || full.ReadHeaderTimeout > 30*time.Second || full.IdleTimeout <= 0 || full.WriteTimeout <= 0 || full.MaxHeaderBytes > 64<<10 {
		t.Errorf("the server waits without end: %+v", full)
	}
	c, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
	_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
	begun := time.Now()
	_, err = bufio.NewReader(c).ReadString(0)
	if err == nil || time.Since(begun) > 8*time.Second {
		t.Errorf("a slow client is still held after %s: %v", time.Since(begun), err)
	}
}
