package desk

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// onPaper is what is seen of a kind of element when a page is printed.
const onPaper = `[...document.querySelectorAll("nav, form, button, input, .who, .skip")].filter((e) => e.checkVisibility() && e.getBoundingClientRect().height > 0).map((e) => e.outerHTML.slice(0, 80))`

var sheetsOf = regexp.MustCompile(`/Type /Pages\s[^>]*?/Count (\d+)`)

// A page goes on paper without what is only pressed, in ink on white whatever the screen
// looks like, and on few sheets. HOLDPROOF_LOOK keeps the sheets, to be looked at.
func TestPrint(t *testing.T) {
	ctx := browser(t)
	s := signedDay(t)
	s.signedIn(t, ctx, s.as("mara"))
	for name, path := range map[string]string{"today": "/", "cycle": "/cycle/" + s.key("S1", "1045"), "days": "/days", "judging": "/judging", "people": "/people", "find": "/find?machine=S1", "question": "/question/1"} {
		run(t, ctx, path, look(1280, "dark"), chromedp.Navigate(s.server.URL+path), chromedp.WaitReady(chromedp.CSS("main")))
		run(t, ctx, "paper", call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print", Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}}))
		if seen := value[[]string](t, ctx, onPaper); len(seen) > 0 {
			t.Errorf("%s: on paper there is still %v", name, seen)
		}
		if colours := value[[]string](t, ctx, `[getComputedStyle(document.documentElement).backgroundColor, getComputedStyle(document.querySelector("h1")).color]`); colours[0] != "rgb(255, 255, 255)" || colours[1] != "rgb(0, 0, 0)" {
			t.Errorf("%s: paper and ink are %v", name, colours)
		}
		run(t, ctx, "screen", call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: ""}))
		pdf := printed(t, ctx)
		found := sheetsOf.FindSubmatch(pdf)
		if !bytes.HasPrefix(pdf, []byte("%PDF-")) || found == nil {
			t.Fatalf("%s: %d bytes that are no PDF", name, len(pdf))
		}
		if sheets, _ := strconv.Atoi(string(found[1])); sheets < 1 || sheets > 4 {
			t.Errorf("%s takes %d sheets", name, sheets)
		}
		if folder := os.Getenv("HOLDPROOF_LOOK"); folder != "" {
			if err := os.WriteFile(filepath.Join(folder, "paper-"+name+".pdf"), pdf, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// printed is the page as sheets of A4.
func printed(t *testing.T, ctx context.Context) []byte {
	t.Helper()
	var pdf []byte
	run(t, ctx, "print", chromedp.Func(func(ctx context.Context, at *chromedp.Target) error {
		out, err := cdp.Call(ctx, at, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
		pdf = out.Data
		return err
	}))
	return pdf
}
