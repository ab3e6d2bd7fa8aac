package logbook

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// Names that mean something in a URI, a shell or an SQL string.
var oddNames = []string{"plain", "with space", "Zahnärztin Müller", "Łódź – gabinet", "what?mode=ro", "a#b", "100%", "%41", "it's", `quo"te`, "a&b=c", "日本", "a;b", "-x", "dots..", "[x]"}

func TestOddPaths(t *testing.T) {
	for _, name := range oddNames {
		if runtime.GOOS == "windows" && strings.ContainsAny(name, `?"`) {
			continue
		}
		dir := filepath.Join(t.TempDir(), name)
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		b := newSiteIn(t, dir)
		configure(t, b)
		mustKeep(t, b, 1, 20)
		if a := mustAudit(t, b); !a.OK() {
			t.Errorf("%s: %v", name, a.Problems)
		}
		copied := filepath.Join(dir, name+".db")
		if _, err := b.Backup(ctx, copied); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
		var found []string
		files, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			found = append(found, f.Name())
		}
		if len(found) != 2 {
			t.Errorf("%s: the folder holds %q", name, found)
		}
	}
}

func TestOpenRefuses(t *testing.T) {
	empty := t.TempDir()
	isEmpty := t.TempDir()
	os.WriteFile(filepath.Join(isEmpty, FileName), nil, 0o600)
	text := t.TempDir()
	os.WriteFile(filepath.Join(text, FileName), []byte(strings.Repeat("not a database ", 1000)), 0o600)
	folder := t.TempDir()
	os.Mkdir(filepath.Join(folder, FileName), 0o700)
	other := t.TempDir()
	db, err := connect(filepath.Join(other, FileName), "mode=rwc")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`CREATE TABLE recipes (name TEXT)`); err != nil {
		t.Fatal(err)
	}
	db.Close()
	for _, c := range []struct{ dir, say string }{
		{empty, "no logbook here"},
		{filepath.Join(empty, "gone"), "no logbook here"},
		{isEmpty, "empty"},
		{text, "not a logbook"},
		{folder, "not a file"},
		{other, "holds no logbook"},
	} {
		b, err := Open(ctx, c.dir, clock())
		if err == nil {
			b.Close()
		}
		wantError(t, err, c.say)
	}
	b := newSite(t)
	_, err = Create(ctx, filepath.Dir(b.Path()), clock())
	wantError(t, err, "already")
	_, err = Create(ctx, filepath.Join(empty, "gone"), clock())
	wantError(t, err, "not there")
}

// wantError asks for an Error that says the words and what to do.
func wantError(t *testing.T, err error, say string) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) || !strings.Contains(err.Error(), say) || e.Remedy == "" || !strings.HasSuffix(e.Remedy, ".") {
		t.Errorf("got %v (%+v), want %q and a remedy", err, e, say)
	}
}

func TestSharesByName(t *testing.T) {
	for name, want := range map[string]bool{
		"fuse.sshfs": true, "fuse.rclone": true, "virtiofs": true, "fuse.s3fs": true, "fuse.grpcfuse": true, "fuse.vmhgfs-fuse": true,
		"fuseblk": false, "fuse.gocryptfs": false, "fuse.ntfs-3g": false, "fuse.encfs": false, "fuse": false, "": false,
	} {
		if got := fuseShare(name); got != want {
			t.Errorf("%q: share %v", name, got)
		}
	}
	for volume, want := range map[string]bool{
		`\\server\folder`: true, `\\?\UNC\server\folder`: true, `\\?\unc\server\folder`: true,
		`C:`: false, `\\?\C:`: false, `\\.\C:`: false, ``: false,
	} {
		if got := unc(volume); got != want {
			t.Errorf("%q: share %v", volume, got)
		}
	}
}
