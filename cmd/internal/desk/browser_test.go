package desk

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// browser starts a real one, without a window and asking nobody but the desk. Where none
// is installed the test is skipped, unless CI=true.
func browser(t *testing.T) context.Context {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is not installed")
		}
		t.Skip("chromium is not installed, so nothing was looked at in a browser")
	}
	if testing.Short() {
		t.Skip("a browser is slow")
	}
	ctx, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(path), chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck,
		chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	t.Cleanup(stop)
	ctx, stop = chromedp.NewContext(ctx)
	t.Cleanup(stop)
	if err := chromedp.Do(ctx); err != nil { // starts it
		t.Fatal(err)
	}
	run(t, ctx, "focus", call(emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}))
	return ctx
}

// step is an act in the browser.
type step = chromedp.Action[chromedp.Void]

// run does steps and fails on the first that cannot be done.
func run(t *testing.T, ctx context.Context, what string, steps ...step) {
	t.Helper()
	at, stop := context.WithTimeout(ctx, 40*time.Second)
	defer stop()
	if err := chromedp.Do(at, steps...); err != nil {
		text, _ := chromedp.Run(ctx, chromedp.Text(chromedp.CSS("body")))
		t.Fatalf("%s: %v; the page says:\n%s", what, err, text)
	}
}

// value runs an expression in the page.
func value[T any](t *testing.T, ctx context.Context, expression string, o ...chromedp.EvaluateOption) T {
	t.Helper()
	at, stop := context.WithTimeout(ctx, 40*time.Second)
	defer stop()
	v, err := chromedp.Run(at, chromedp.Evaluate[T](expression, o...))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// call makes a command of the browser's protocol a step.
func call[P, R any](c cdp.Command[P, R], params P) step {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, params)
		return err
	})
}

// signedIn takes over a session that was begun without the browser.
func (s *site) signedIn(t *testing.T, ctx context.Context, c *caller) {
	t.Helper()
	yes := true
	for _, cookie := range c.http.Jar.Cookies(c.request("GET", "/", nil).URL) {
		run(t, ctx, "cookie", call(network.SetCookie, network.SetCookieParams{Name: cookie.Name, Value: cookie.Value, URL: s.server.URL, HTTPOnly: &yes, SameSite: network.CookieSameSiteStrict}))
	}
}

// looks are the forms in which a page is looked at.
var looks = []struct {
	name   string
	width  int64
	scheme string
}{{"wide-light", 1280, "light"}, {"wide-dark", 1280, "dark"}, {"narrow-light", 390, "light"}, {"narrow-dark", 390, "dark"}}

func look(width int64, scheme string) step {
	return chromedp.Steps(
		call(emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: 900, DeviceScaleFactor: 1, Mobile: width < 600}),
		call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}}))
}

// pagesToSee are all pages, for a lead after a day's import.
func (s *site) pagesToSee() map[string]string {
	return map[string]string{"today": "/", "day-empty": "/day/2026-11-01", "cycle-failed": "/cycle/" + s.key("S1", "1045"), "cycle-borderline": "/cycle/" + s.key("S1", "1047"),
		"cycle-leak": "/cycle/" + s.key("S1", "1040"), "cycle-cut": "/cycle/" + s.key("S2", "419"), "cycle-test": "/cycle/" + s.key("S1", "1041"), "days": "/days", "find": "/find?machine=S1",
		"window": "/find?window=S1", "questions": "/find?from=2026-11-01&to=2026-11-02", "question-6": "/question/6", "question-2": "/question/2?from=2026-11-02&to=2026-11-02", "people": "/people", "drift": s.drifting(), "people-add": "/people/add", "person": "/person/lea",
		"judging": "/judging", "note": "/note", "note-duty": "/note?duty=water+lines+disinfected", "load": "/load", "sheet": "/sheet",
		"entry": "/entry/21", "entries": "/day/2026-11-02/entries", "entry-note": "/entry/" + s.noted(), "cycle-conforms": "/cycle/" + s.key("S1", "1043")}
}

// Pictures of every page, to be looked at by a person: HOLDPROOF_LOOK names a folder.
func TestPictures(t *testing.T) {
	folder := os.Getenv("HOLDPROOF_LOOK")
	if folder == "" {
		t.Skip("HOLDPROOF_LOOK names no folder for pictures")
	}
	ctx := browser(t)
	s := newSite(t).full()
	take := func(name, path string) {
		for _, l := range looks {
			run(t, ctx, path, look(l.width, l.scheme), chromedp.Navigate(s.server.URL+path), chromedp.WaitReady(chromedp.CSS("main")), chromedp.Sleep(200*time.Millisecond))
			png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(folder, name+"-"+l.name+".png"), png, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	take("sign-in", "/sign-in")
	s.signedIn(t, ctx, s.as("mara"))
	only := os.Getenv("HOLDPROOF_LOOK_AT") // the beginning of a name, "" for all
	for name, path := range s.pagesToSee() {
		if strings.HasPrefix(name, only) {
			take(name, path)
		}
	}
}
