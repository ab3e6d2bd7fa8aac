package logbook

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"holdproof/report/logbook/entry"
)

// Numbers of file systems from statfs(2) (memory): shares are refused, disks are not.
func TestSharesByNumber(t *testing.T) {
	for magic, want := range map[uint32]bool{
		0x6969: true, 0x517B: true, 0xFE534D42: true, 0xFF534D42: true, 0x01021997: true,
		0xEF53: false, 0x58465342: false, 0x9123683E: false, 0x01021994: false, 0x794C7630: false, 0x2FC12FC1: false, fuse: false,
	} {
		if _, got := shareNumbered(magic); got != want {
			t.Errorf("%#x: share %v", magic, got)
		}
	}
}

func TestMountedAs(t *testing.T) {
	const list = `22 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda rw
30 22 0:40 / /home/a/praxis rw shared:5 - fuse.sshfs host: rw
31 22 0:41 / /home/a/praxis/local\040disk rw - fuse.gocryptfs x rw
broken
32 22 0:42 / /home/a/prax rw - fuse.rclone y rw
`
	for path, want := range map[string]string{
		"/home/a":                         "ext4",
		"/home/a/praxis":                  "fuse.sshfs",
		"/home/a/praxis/site":             "fuse.sshfs",
		"/home/a/praxis/local disk/x":     "fuse.gocryptfs",
		"/home/a/praxis/local disk extra": "fuse.sshfs",
		"/home/a/prax":                    "fuse.rclone",
	} {
		if got := mountedAs(strings.NewReader(list), path); got != want {
			t.Errorf("%s: %q, want %q", path, got, want)
		}
	}
	if got := mountedAs(strings.NewReader(""), "/x"); got != "" {
		t.Errorf("an empty list: %q", got)
	}
}

// small mounts a small disk in memory. It needs root on Linux; where continuous
// integration promises it (CI=true), its absence fails the test.
func small(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size="+size+",mode=777", "tmpfs", dir).CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" && os.Geteuid() == 0 {
			t.Fatalf("mount: %v: %s", err, out)
		}
		t.Skipf("SKIPPED: a small disk needs root: %s", out)
	}
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

// A full disk: a sentence, nothing half kept, and the logbook goes on when there
// is room again.
func TestDiskFull(t *testing.T) {
	dir := small(t, "2m")
	b := newSiteIn(t, dir)
	configure(t, b)
	var tip, last = mustCheckpoint(t, b), 0
	var err error
	for ; last < 1000; last++ {
		c, e := keep(b, last, export(last, 2000))
		if err = e; err != nil {
			break
		}
		tip = c
	}
	wantError(t, err, "full")
	t.Logf("after %d cycles: %v", last, err)
	if now := mustCheckpoint(t, b); now != tip {
		t.Errorf("acknowledged %+v, kept %+v", tip, now)
	}
	if a := mustAudit(t, b, tip); !a.OK() {
		t.Errorf("audit: %v", a.Problems)
	}
	// Closing folds the log into the file, so there may be room again afterwards:
	// what matters is that nothing acknowledged is gone.
	b.Close()
	if err := os.WriteFile(dir+"/more", make([]byte, 1), 0o600); err == nil {
		os.Remove(dir + "/more")
	}
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=16m"); err != nil {
		t.Fatal(err)
	}
	again, err := Open(ctx, dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if now := mustCheckpoint(t, again); now != tip {
		t.Errorf("acknowledged %+v, after opening %+v", tip, now)
	}
	mustKeep(t, again, last, 2000)
	if a := mustAudit(t, again, tip); !a.OK() {
		t.Errorf("audit with room again: %v", a.Problems)
	}
}

// A backup and a restore onto a full disk leave nothing behind.
func TestBackupDiskFull(t *testing.T) {
	dir := small(t, "256k")
	b := newSite(t)
	configure(t, b)
	for i := range 20 {
		mustKeep(t, b, i, 1000)
	}
	_, err := b.Backup(ctx, dir+"/backup.db")
	wantError(t, err, "full")
	whole := t.TempDir() + "/whole.db"
	if _, err := b.Backup(ctx, whole); err != nil {
		t.Fatal(err)
	}
	_, err = Restore(ctx, whole, dir)
	wantError(t, err, "full")
	if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	_, err = Create(ctx, small(t, "16k"), clock())
	wantError(t, err, "full")
}

// A folder mounted for reading only.
func TestReadOnlyFolder(t *testing.T) {
	dir := small(t, "4m")
	b := newSiteIn(t, dir)
	configure(t, b)
	b.Close()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if b, err := Open(ctx, dir, clock()); err == nil {
		b.Close()
		t.Error("opened a logbook that cannot be written to")
	} else {
		wantError(t, err, "")
		t.Log(err)
	}
	_, err := Restore(ctx, b.Path(), dir)
	wantError(t, err, "already")
	empty := small(t, "1m")
	if err := syscall.Mount("tmpfs", empty, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if b, err := Create(ctx, empty, clock()); err == nil {
		b.Close()
		t.Error("made a logbook in a folder that cannot be written to")
	} else {
		wantError(t, err, "")
		t.Log(err)
	}
}

// No room for the compressed bytes of a long file.
func TestSpoolFull(t *testing.T) {
	t.Setenv("TMPDIR", small(t, "64k"))
	o := NewOriginal()
	defer o.Discard()
	data := make([]byte, 1<<20)
	rand.NewChaCha8([32]byte{1}).Read(data)
	var err error
	for i := 0; i < 100 && err == nil; i++ {
		_, err = o.Write(data)
	}
	wantError(t, err, "full")
	_, _, err = o.Finish()
	wantError(t, err, "full")
}

// On a copy that cannot be written to, what is kept is read and audited, and nothing is
// added.
func TestLookAtReadOnlyFolder(t *testing.T) {
	site := newSite(t)
	configure(t, site)
	site.Close()
	whole, err := os.ReadFile(site.Path())
	if err != nil {
		t.Fatal(err)
	}
	dir := small(t, "4m")
	for name, text := range map[string][]byte{FileName: whole, FileName + "-wal": []byte("acts")} {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	freeze := func(flags uintptr) {
		t.Helper()
		if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|flags, ""); err != nil {
			t.Fatal(err)
		}
	}
	freeze(syscall.MS_RDONLY)
	_, err = Look(ctx, dir, clock())
	wantError(t, err, "copied while holdproof was at work")
	freeze(0)
	if err := os.Remove(filepath.Join(dir, FileName+"-wal")); err != nil {
		t.Fatal(err)
	}
	freeze(syscall.MS_RDONLY)
	b, err := Look(ctx, dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	a, err := b.Audit(ctx, AuditOptions{})
	if err != nil || !a.OK() || a.Checkpoint.Size != 1 {
		t.Errorf("audit: %+v, %v", a, err)
	}
	_, err = b.Write(ctx, func(w *Batch) error {
		_, err := w.Add(entry.Draft{At: time.Now(), Body: entry.Configuration{SHA256: entry.Sum(nil), File: "a", Text: ""}})
		return err
	})
	wantError(t, err, "may not write")
}
