package cli

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A copy of a site on a disc that cannot be written to is read as it is: what waits, the
// record of a day, what is whole. What would write to it is refused.
func TestDiscThatCannotBeWrittenTo(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("needs the right to mount")
	}
	dir, out := t.TempDir(), filepath.Join(t.TempDir(), "monday.pdf")
	if text, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("cannot mount: %s", text)
	}
	t.Cleanup(func() { _ = exec.Command("umount", "-l", dir).Run() })
	site := filepath.Join(dir, "week")
	demoIn(t, site, 1)
	if text, err := exec.Command("mount", "-o", "remount,ro", dir).CombinedOutput(); err != nil {
		t.Skipf("cannot mount again: %s", text)
	}
	for _, c := range []struct {
		want int
		args []string
	}{
		{1, []string{"review"}}, // a failed load waits
		{0, []string{"audit"}},
		{0, []string{"day", "2026-11-02", "--out", out}},
		{0, []string{"day", "2026-11-02", "--json"}},
	} {
		if code, stdout, stderr := run(t, append(c.args, "--dir", site)...); code != c.want || stdout == "" || stderr != "" {
			t.Errorf("%s: exit code %d, %q, %q", strings.Join(c.args, " "), code, stdout, stderr)
		}
	}
	if pdf, err := os.ReadFile(out); err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
		t.Errorf("the preview: %v", err)
	}
	if code, _, stderr := run(t, "day", "2026-11-07", "--sign", "junie", "--dir", site); code != exitHindered || !strings.Contains(stderr, "cannot be written to") {
		t.Errorf("signing there: exit code %d, %q", code, stderr)
	}
}
