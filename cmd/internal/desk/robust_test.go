package desk

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
	"holdproof/fixtures"
)

// posted is an upload as a browser sends it.
func posted(t testing.TB, files map[string][]byte) (body []byte, kind string) {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name, data := range files {
		w, err := m.CreateFormFile("file", name)
		if err == nil {
			_, err = w.Write(data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), m.FormDataContentType()
}

// numbered is an export of one cycle of S1, an hour after the one before.
func numbered(t testing.TB, n int) []byte {
	t.Helper()
	text, err := fixtures.CSV(fixtures.Dialect{Preamble: true}, fixtures.Cycle{Start: time.Date(2026, 10, 1, 6, 0, 0, 0, time.UTC).Add(time.Duration(n) * time.Hour),
		Steriliser: "TQ-0417", Number: fmt.Sprint(100 + n), Label: "134 wrapped", Interval: 2, Draw: uint64(n)})
	if err != nil {
		t.Fatal(err)
	}
	return []byte(text)
}

// A desk that is killed while uploads come in, at any moment, loses nothing that it had
// acknowledged and keeps nothing half; begun again, it takes the rest.
func TestKilledDesk(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such signal")
	}
	tries := 6
	if long() {
		tries = 200
	}
	dice := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 7))
	s := newSite(t)
	cut, all, next := 0, map[string]bool{}, 0
	for range tries {
		p := s.alone()
		c := p.as("lea")
		time.AfterFunc(time.Duration(dice.IntN(400))*time.Millisecond, func() { _ = p.cmd.Process.Kill() })
		for range 40 {
			number := fmt.Sprint(100 + next)
			body, kind := posted(t, map[string][]byte{"S1-" + number + ".csv": numbered(t, next)})
			r := c.request("POST", "/exports", &dripping{data: body})
			r.Header.Set("Content-Type", kind)
			a, err := c.try(r)
			if err != nil || a.code != http.StatusSeeOther {
				cut++
				break
			}
			all[number] = true // acknowledged
			next++
		}
		p.kill()
	}
	if cut == 0 || len(all) == 0 {
		t.Fatalf("%d of %d runs were cut, %d uploads acknowledged: nothing was tried", cut, tries, len(all))
	}
	list, err := s.records.ShownCycles(t.Context(), surgery.ShownQuery{})
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range list {
		delete(all, one.Number)
	}
	if len(all) > 0 {
		t.Errorf("acknowledged and not kept: %v", all)
	}
	audit, err := s.records.Audit(t.Context(), surgery.Auditing{})
	if err != nil || !audit.OK() {
		t.Errorf("%v %v", audit.Problems, err)
	}
	c := s.alone().as("lea")
	if r := c.send(map[string][]byte{"rest.csv": numbered(t, next)}); r.code != http.StatusSeeOther || !strings.Contains(c.get(r.header.Get("Location")).text(), "rest.csv : 1 cycle") {
		t.Errorf("begun again it does not take the rest: %d %s", r.code, r.text())
	}
	t.Logf("%d of %d runs were cut, %d cycles kept", cut, tries, len(list))
}

// dripping is a body that comes in pieces.
type dripping struct{ data []byte }

func (d *dripping) Read(p []byte) (int, error) {
	if len(d.data) == 0 {
		return 0, io.EOF
	}
	time.Sleep(time.Millisecond)
	n := copy(p, d.data[:min(len(d.data), 4<<10)])
	d.data = d.data[n:]
	return n, nil
}

// A client that sends the body of a form or of an upload slowly is let go, also one that
// sends a byte now and then.
func TestSlowBody(t *testing.T) {
	s := newSite(t)
	s.desk.patience = patience{piece: 700 * time.Millisecond, whole: 2 * time.Second}
	cookie := s.as("lea").http.Jar.Cookies(s.caller().request("GET", "/", nil).URL)[0].String()
	body, kind := posted(t, map[string][]byte{"x.csv": bytes.Repeat([]byte("12.3,"), 40_000)})
	for _, c := range []struct {
		why, path, kind string
		every           time.Duration // between two pieces; 0: none comes after the first
		piece           int           // bytes
		within          time.Duration
	}{
		{"a form that stops", "/sign-in", "application/x-www-form-urlencoded", 0, 1, 3 * time.Second},
		{"a form a byte at a time", "/note", "application/x-www-form-urlencoded", 100 * time.Millisecond, 1, 3 * time.Second},
		{"an upload that stops", "/exports", kind, 0, 1, 3 * time.Second},
		{"an upload a byte at a time", "/exports", kind, 100 * time.Millisecond, 1, 3 * time.Second},
		{"an upload that goes on and on", "/exports", kind, 100 * time.Millisecond, 2 << 10, 4 * time.Second},
	} {
		conn, err := net.Dial("tcp", strings.TrimPrefix(s.server.URL, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: %s\r\nContent-Type: %s\r\nContent-Length: %d\r\n\r\n", c.path, cookie, c.kind, len(body))
		begun := time.Now()
		go func() {
			for p := range slices.Chunk(body, c.piece) {
				if _, err := conn.Write(p); err != nil || c.every == 0 {
					return
				}
				time.Sleep(c.every)
			}
		}()
		_ = conn.SetReadDeadline(begun.Add(20 * time.Second))
		answer, _ := io.ReadAll(bufio.NewReader(conn)) // to its end: the desk closes it
		conn.Close()
		if took := time.Since(begun); took > c.within+2*time.Second {
			t.Errorf("%s is held for %s", c.why, took)
		}
		if line, _, _ := strings.Cut(string(answer), "\r\n"); strings.Contains(line, " 200 ") || strings.Contains(line, " 303 ") {
			t.Errorf("%s is answered %q", c.why, line)
		}
	}
	if list, err := s.records.ShownCycles(t.Context(), surgery.ShownQuery{}); err != nil || len(list) > 0 {
		t.Errorf("%d cycles, %v", len(list), err)
	}
	// One that sends at a fair pace is not.
	c := s.as("lea")
	s.desk.patience.whole = time.Minute
	body, kind = posted(t, map[string][]byte{"fair.csv": numbered(t, 1)})
	r := c.request("POST", "/exports", &dripping{data: body})
	r.Header.Set("Content-Type", kind)
	if a := c.do(r); a.code != http.StatusSeeOther {
		t.Errorf("a fair pace: %d %s", a.code, a.text())
	}
}

// What was begun is finished when the desk is told to end, and answered.
func TestEndFinishesWhatWasBegun(t *testing.T) {
	s := newSite(t)
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.desk.Serve(ctx, l, nil) }()
	c := s.as("lea")
	jar := c.http.Jar.Cookies(c.request("GET", "/", nil).URL)
	c.base = "http://" + l.Addr().String()
	c.http.Jar.SetCookies(c.request("GET", "/", nil).URL, jar)
	body, kind := posted(t, map[string][]byte{"late.csv": numbered(t, 3)})
	half := &halting{data: body, at: len(body) / 2, reached: make(chan struct{}), goOn: make(chan struct{})}
	r := c.request("POST", "/exports", half)
	r.Header.Set("Content-Type", kind)
	go func() {
		<-half.reached
		for range 400 { // until the desk has begun to put it down
			if there, _ := filepath.Glob(filepath.Join(temp, spoolName+"*", "0", "*")); len(there) > 0 {
				break
			}
			time.Sleep(25 * time.Millisecond)
		}
		end()
		time.Sleep(200 * time.Millisecond)
		close(half.goOn)
	}()
	if a, err := c.try(r); err != nil || a.code != http.StatusSeeOther {
		t.Errorf("what was begun is answered %d, %v", a.code, err)
	}
	if err := <-ended; err != nil {
		t.Errorf("it ends with %v", err)
	}
	if list, err := s.records.ShownCycles(t.Context(), surgery.ShownQuery{Number: "103", Steriliser: "S1"}); err != nil || len(list) != 1 {
		t.Errorf("%d cycles were kept, %v", len(list), err)
	}
	if _, err := c.try(c.request("GET", "/", nil)); err == nil {
		t.Error("the desk answers after its end")
	}
}

// halting is a body that waits in its middle.
type halting struct {
	data          []byte
	at            int
	reached, goOn chan struct{}
	sent          int
}

func (h *halting) Read(p []byte) (int, error) {
	if h.sent == h.at {
		close(h.reached)
		<-h.goOn
	}
	if h.sent == len(h.data) {
		return 0, io.EOF
	}
	end := len(h.data)
	if h.sent < h.at {
		end = h.at
	}
	n := copy(p, h.data[h.sent:end])
	h.sent += n
	return n, nil
}

// The largest upload that is taken is judged within the memory of a desk.
func TestLargeUpload(t *testing.T) {
	most := 4 << 20
	if long() {
		most = maxUpload - 1<<20
	}
	s := newSite(t)
	files := map[string][]byte{}
	for n, size := 0, 0; ; n++ {
		data := numbered(t, n)
		if size += len(data) + 400; size > most {
			break
		}
		files[fmt.Sprintf("%04d.csv", n)] = data
	}
	p := s.alone()
	if r := p.as("lea").send(files); r.code != http.StatusSeeOther {
		t.Fatalf("%d %s", r.code, r.text())
	}
	_, peak := p.memory()
	t.Logf("%d files of %d MB in all: the process held at most %d MB", len(files), most>>20, peak>>20)
	if peak > mostMemory {
		t.Errorf("the process held %d MB", peak>>20)
	}
}

// What ends the watch of folders, or keeps a folder from being read, stands on Today until
// it is over.
func TestWatchTroubleIsShown(t *testing.T) {
	s := newSite(t)
	c := s.as("ben")
	if text := c.get("/").text(); strings.Contains(text, "by themselves") || strings.Contains(text, "cannot be read") {
		t.Errorf("without trouble: %s", text)
	}
	s.desk.WatchFailed(errors.New("the disk is full"))
	if text := c.get("/").text(); !strings.Contains(text, "do not come in by themselves now: The disk is full.") {
		t.Errorf("a watch that failed: %s", text)
	}
	s.desk.Watched([]string{"/mnt/recorder"})
	if text := c.get("/").text(); !strings.Contains(text, "/mnt/recorder cannot be read") || strings.Contains(text, "disk is full") {
		t.Errorf("a folder that is away: %s", text)
	}
	s.desk.Watched(nil)
	if text := c.get("/").text(); strings.Contains(text, "cannot be read") {
		t.Errorf("when it is over: %s", text)
	}
}

// What an upload left behind whose desk was killed is removed a day later, and nothing else.
func TestSweep(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	for name, age := range map[string]time.Duration{spoolName + "1": 25 * time.Hour, spoolName + "2": time.Hour, "other": 25 * time.Hour} {
		folder := filepath.Join(temp, name)
		if err := os.MkdirAll(filepath.Join(folder, "0"), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(folder, time.Now().Add(-age), time.Now().Add(-age)); err != nil {
			t.Fatal(err)
		}
	}
	sweep()
	for name, want := range map[string]bool{spoolName + "1": false, spoolName + "2": true, "other": true} {
		if _, err := os.Stat(filepath.Join(temp, name)); (err == nil) != want {
			t.Errorf("%s is there: %v", name, err == nil)
		}
	}
}
