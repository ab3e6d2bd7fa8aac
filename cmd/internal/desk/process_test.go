package desk

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"holdproof/cmd/internal/surgery"
)

// The test program serves a desk as a process of its own when it is told to.
func TestMain(m *testing.M) {
	if dir := os.Getenv("HOLDPROOF_TEST_DESK"); dir != "" {
		if err := serveAlone(dir, os.Getenv("HOLDPROOF_TEST_NOW")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(2)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// serveAlone serves the invented site in a folder, at a time of its own, until it is
// told to end. It writes its address first.
func serveAlone(dir, now string) error {
	from, err := time.Parse(time.RFC3339, now)
	if err != nil {
		return err
	}
	begun := time.Now()
	clock := func() time.Time { return from.Add(time.Since(begun)) }
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	r, err := surgery.OpenRecords(ctx, dir, settingsIn(dir), surgery.World{Now: clock, Rounds: 1})
	if err != nil {
		return err
	}
	d, err := New(r, Options{Now: clock, Hosts: []string{"127.0.0.1"}, Rounds: 1, Log: func(err error) { fmt.Fprintln(os.Stderr, "desk:", err) }})
	if err != nil {
		return errors.Join(err, r.Close())
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return errors.Join(err, r.Close())
	}
	fmt.Printf("http://%s\n", l.Addr())
	return errors.Join(d.Serve(ctx, l, nil), r.Close())
}

// process is a desk that is served by another process.
type process struct {
	t   testing.TB
	url string
	cmd *exec.Cmd
	out *bufio.Reader
}

// alone serves the folder of the site by a process of its own.
func (s *site) alone() *process {
	s.t.Helper()
	self, err := os.Executable()
	if err != nil {
		s.t.Fatal(err)
	}
	p := &process{t: s.t, cmd: exec.Command(self)}
	p.cmd.Env = append(os.Environ(), "HOLDPROOF_TEST_DESK="+s.records.Dir(), "HOLDPROOF_TEST_NOW="+s.clock.now().Format(time.RFC3339))
	p.cmd.Stderr = os.Stderr
	pipe, err := p.cmd.StdoutPipe()
	if err != nil {
		s.t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { p.kill() })
	p.out = bufio.NewReader(pipe)
	line, err := p.out.ReadString('\n')
	if err != nil {
		s.t.Fatalf("the desk does not begin: %v", err)
	}
	p.url = strings.TrimSpace(line)
	return p
}

// kill ends it at once, as a power cut does.
func (p *process) kill() {
	if p.cmd.ProcessState == nil {
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
	}
}

// as signs a person in there.
func (p *process) as(id string) *caller {
	p.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		p.t.Fatal(err)
	}
	c := &caller{p.t, p.url, &http.Client{Jar: jar, Timeout: time.Minute, Transport: &http.Transport{},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	if r := c.post("/sign-in", "person", id, "passphrase", word(id)); r.code != http.StatusSeeOther {
		p.t.Fatalf("%s cannot sign in: %d %s", id, r.code, r.text())
	}
	return c
}

var residentSet = regexp.MustCompile(`(?m)^(VmRSS|VmHWM):\s+(\d+) kB$`)

// memory is how much the process holds now and held at most, in bytes; 0 where the
// system does not tell.
func (p *process) memory() (now, most int64) {
	text, err := os.ReadFile(filepath.Join("/proc", fmt.Sprint(p.cmd.Process.Pid), "status"))
	if err != nil {
		return 0, 0
	}
	for _, m := range residentSet.FindAllStringSubmatch(string(text), -1) {
		var kb int64
		fmt.Sscan(m[2], &kb)
		if m[1] == "VmRSS" {
			now = kb << 10
		} else {
			most = kb << 10
		}
	}
	return now, most
}
