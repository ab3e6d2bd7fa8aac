package cli

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"
	"time"

	"github.com/inconshreveable/mousetrap"
	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"
	"golang.org/x/term"

	"holdproof/cmd/internal/desk"
	"holdproof/cmd/internal/surgery"
)

// deskAddress is where the desk is served if nothing else is said.
const deskAddress = "127.0.0.1:8134"

// serving is what serve was told.
type serving struct {
	addr, cert, key string
	browse          bool
	again           time.Duration // between two tries to watch; 0 for [watchAgain]
}

func serveCommand(w World, at *common) *cobra.Command {
	s := serving{}
	c := &cobra.Command{
		Use:   "serve",
		Short: "Show the review desk in a browser",
		Long: "Serves the review desk: what waits, the day, each cycle, decisions and signatures as\n" +
			"pages. Exports that come into the folders under watch are taken meanwhile. Without a\n" +
			"certificate only this computer can ask for it. Stop with Ctrl-C.",
		Example: "holdproof serve",
		Args:    cobra.NoArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return serve(c.Context(), w, at, s) },
	}
	configFlag(c, at)
	c.Flags().StringVar(&s.addr, "addr", deskAddress, "where to serve")
	c.Flags().StringVar(&s.cert, "cert", "", "a TLS certificate in PEM, for other computers")
	c.Flags().StringVar(&s.key, "key", "", "its key in PEM")
	c.Flags().BoolVar(&s.browse, "open", false, "open the browser")
	return c
}

func serve(ctx context.Context, w World, at *common, s serving) error {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM)
	defer stop()
	certificate, hosts, err := s.names()
	if err != nil {
		return err
	}
	r, done, err := openRecords(ctx, w, at)
	if err != nil {
		return err
	}
	defer done()
	d, err := desk.New(r, desk.Options{Now: w.Now, Hosts: hosts, Secure: certificate != nil, People: surgery.DemoPeople(at.dir),
		Log: func(err error) { fmt.Fprintf(w.Stderr, "desk: %v\n", err) }})
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", s.addr)
	if err != nil {
		return &surgery.Refusal{Why: fmt.Sprintf("nothing can be served at %s: %v", s.addr, err),
			Instead: "If the desk runs already, use that one. Otherwise name another place, such as --addr 127.0.0.1:8135."}
	}
	url := address(l.Addr().String(), hosts, certificate != nil)
	p := newPage(w, w.Stdout)
	p.para("  ", "The desk is at "+url+". Stop it with Ctrl-C.", plain)
	if err := p.flush(); err != nil {
		return errors.Join(err, l.Close())
	}
	if s.browse {
		if err := browse(url); err != nil {
			fmt.Fprintf(w.Stderr, "the browser could not be opened (%v); type the address into it\n", err)
		}
	}
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return d.Serve(ctx, l, certificate) })
	if len(r.Configuration().Watch) > 0 {
		g.Go(func() error { keepWatching(ctx, w, r, d, cmp.Or(s.again, watchAgain)); return nil })
	}
	return g.Wait()
}

// names settles by which names a browser may ask, and refuses to speak to other
// computers without TLS: passphrases would go over the wire as they are typed.
func (s serving) names() (*tls.Certificate, []string, error) {
	host, _, err := net.SplitHostPort(s.addr)
	if err != nil {
		return nil, nil, &surgery.Refusal{Why: fmt.Sprintf("%q is no address to serve at", s.addr), Instead: "Write host and port, such as --addr " + deskAddress + "."}
	}
	if (s.cert == "") != (s.key == "") {
		return nil, nil, &surgery.Refusal{Why: "a certificate without its key, or a key without its certificate", Instead: "Give both --cert and --key."}
	}
	ip := net.ParseIP(host)
	local := host == "localhost" || ip != nil && ip.IsLoopback()
	if s.cert == "" {
		if !local {
			return nil, nil, &surgery.Refusal{Why: fmt.Sprintf("%s can be reached from other computers, and passphrases would be sent there without TLS", s.addr),
				Instead: "Give a certificate with --cert and --key, or serve at " + deskAddress + "."}
		}
		return nil, []string{"127.0.0.1", "localhost", "::1", host}, nil
	}
	pair, err := tls.LoadX509KeyPair(s.cert, s.key)
	if err != nil {
		return nil, nil, &surgery.Refusal{Why: fmt.Sprintf("the certificate cannot be used: %v", err), Instead: "Give a certificate and its key, both as PEM files."}
	}
	hosts := append([]string{}, pair.Leaf.DNSNames...)
	for _, a := range pair.Leaf.IPAddresses {
		hosts = append(hosts, a.String())
	}
	if len(hosts) == 0 {
		return nil, nil, &surgery.Refusal{Why: "the certificate names no host", Instead: "Have one made for the name by which this computer is asked for."}
	}
	return &pair, hosts, nil
}

// address is what a person types into the browser.
func address(listens string, hosts []string, secure bool) string {
	host, port, err := net.SplitHostPort(listens)
	if err != nil {
		return listens
	}
	if !secure {
		return "http://" + net.JoinHostPort(host, port)
	}
	return "https://" + net.JoinHostPort(hosts[0], port)
}

// browse asks the desktop to open an address.
func browse(url string) error {
	name, args := "xdg-open", []string{url}
	switch runtime.GOOS {
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", url}
	case "darwin":
		name = "open"
	}
	c := exec.Command(name, args...)
	if err := c.Start(); err != nil {
		return err
	}
	go c.Wait() // so that it leaves nothing behind
	return nil
}

// doubleClicked tells whether the program was started from a window and not from a
// terminal or by another program, and in the folder of which site: the one it was
// started in, else the one it lies in.
func doubleClicked(w World) (dir string, yes bool) {
	if !fromWindow(w) {
		return "", false
	}
	for _, dir := range []string{".", filepath.Dir(w.Program)} {
		if info, err := os.Stat(filepath.Join(dir, configurationFile)); err == nil && info.Mode().IsRegular() {
			return dir, true
		}
	}
	return "", false
}

func fromWindow(w World) bool {
	if runtime.GOOS == "windows" {
		return mousetrap.StartedByExplorer()
	}
	for _, stream := range []any{w.Stdin, w.Stdout} {
		f, ok := stream.(*os.File)
		if !ok || term.IsTerminal(int(f.Fd())) {
			return false
		}
	}
	return runtime.GOOS == "darwin" || w.Getenv("DISPLAY") != "" || w.Getenv("WAYLAND_DISPLAY") != ""
}
