package surgery

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"holdproof/report/daily"
	"holdproof/report/seal"
)

// Programs that share nothing with this one look at a record as a surgery signs it.

// tool runs such a program. Where it is not installed the test is skipped and says so,
// and fails where CI=true.
func tool(t testing.TB, name string, args ...string) string {
	t.Helper()
	needsTool(t, name)
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}

func needsTool(t testing.TB, name string) {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		lacking(t, name)
	}
}

func lacking(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is not installed", what)
	}
	t.Skipf("%s is not installed", what)
}

// aRecord is the invented day, prepared and reviewed.
func aRecord(t testing.TB) (*site, string, daily.Day) {
	t.Helper()
	s := signedSite(t)
	s.demoDay(t)
	s.prepared(t, monday)
	s.clock.Time = s.clock.Add(time.Minute)
	out := s.countersigned(t, monday)
	return s, out.File, insideOf(t, seal.Verify(read(t, out.File), seal.Trust{}))
}

// pdfsig finds two valid signatures of people under our authority; it exits 0 whatever
// it finds, so its words count.
func TestRecordByPdfsig(t *testing.T) {
	needsTool(t, "pdfsig")
	needsTool(t, "certutil")
	s, file, _ := aRecord(t)
	store := t.TempDir()
	tool(t, "certutil", "-N", "-d", "sql:"+store, "--empty-password")
	tool(t, "certutil", "-A", "-d", "sql:"+store, "-n", "authority", "-t", "CT,C,C", "-i", s.roots())
	out := tool(t, "pdfsig", "-nssdir", store, file)
	for want, times := range map[string]int{"Signature Validation: Signature is Valid.": 2, "Certificate Validation: Certificate is Trusted.": 2,
		"Signer Certificate Common Name: Lea Brook": 1, "Signer Certificate Common Name: Mara Quill": 1, "- Total document signed": 1} {
		if got := strings.Count(out, want); got != times {
			t.Errorf("%q stands %d times, expected %d:\n%s", want, got, times, out)
		}
	}
}

// Other readers find no fault, every font inside, and the exports byte for byte.
func TestRecordByOtherReaders(t *testing.T) {
	s, file, day := aRecord(t)
	if out := tool(t, "qpdf", "--check", file); !strings.Contains(out, "No syntax or stream encoding errors found") || strings.Contains(out, "WARNING") {
		t.Error(out)
	}
	needsTool(t, "mutool")
	out, _ := exec.Command("mutool", "sign", "-v", file).CombinedOutput() // it knows no authority of ours
	for _, want := range []string{"The signature is valid but there have been edits since signing.", "The document is unchanged since signing."} {
		if !bytes.Contains(out, []byte(want)) {
			t.Errorf("mutool does not say %q:\n%s", want, out)
		}
	}
	rows := strings.Split(strings.TrimSpace(tool(t, "pdffonts", file)), "\n")[2:]
	for _, r := range rows {
		if !regexp.MustCompile(` yes yes yes `).MatchString(r) {
			t.Errorf("pdffonts: %s", r)
		}
	}
	if len(rows) < 3 {
		t.Errorf("%d fonts", len(rows))
	}
	dir := t.TempDir()
	tool(t, "pdfdetach", "-saveall", "-o", dir, file)
	for _, src := range day.Sources {
		kept, err := s.book.Original(t.Context(), src.SHA256)
		if err != nil {
			t.Fatal(err)
		}
		want, err := io.ReadAll(kept)
		kept.Close()
		if err != nil || len(want) == 0 || !bytes.Equal(want, read(t, filepath.Join(dir, src.Name))) {
			t.Errorf("%s came back otherwise (%v)", src.Name, err)
		}
	}
	data, err := day.Marshal()
	if err != nil || !bytes.Equal(data, read(t, filepath.Join(dir, dayFile))) {
		t.Errorf("day.json came back otherwise (%v)", err)
	}
	if files, err := os.ReadDir(dir); err != nil || len(files) != len(day.Sources)+1 || len(files) < 11 {
		t.Errorf("%d files came back (%v)", len(files), err)
	}
}

// Every verdict and every figure of every cycle can be found as text.
func TestRecordAsText(t *testing.T) {
	_, file, day := aRecord(t)
	got := strings.Join(strings.Fields(tool(t, "pdftotext", "-raw", file, "-")), " ")
	if len(day.Cycles) != 15 {
		t.Fatalf("%d cycles", len(day.Cycles))
	}
	at := strings.Index(got, "Cycles in the order of their numbers")
	for _, c := range day.InOrder() {
		want := strings.ToUpper(c.Outcome[:1]) + c.Outcome[1:] + " " + c.Name()
		i := strings.Index(got[max(at, 0):], want)
		if i < 0 {
			t.Fatalf("%q is not found in its order", want)
		}
		at += i
		part := got[at:min(len(got), at+1500)]
		var figures []string
		if c.Kind != "air leakage test" {
			figures = append(figures, down(*c.Measured.Hold, 0), down(*c.Measured.TemperatureMin, 1))
		}
		for _, f := range figures {
			if !strings.Contains(part, f) {
				t.Errorf("%s: %s is not found in %q", c.Name(), f, part)
			}
		}
	}
	for _, want := range []string{"Missing S1: steam penetration test", "Signed without all of this: " + unfinished, "Cycle 1048 is missing on S1", "does not show that an item is sterile"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not found", want)
		}
	}
}

// down writes a figure as it is printed, rounded down.
func down(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', 6, 64)
	whole, rest, _ := strings.Cut(s, ".")
	if digits == 0 {
		return whole
	}
	return whole + "." + rest[:digits]
}

// openssl checks both signatures as CAdES, over the bytes their range names.
func TestRecordByOpenssl(t *testing.T) {
	s, file, _ := aRecord(t)
	data := read(t, file)
	ranges := regexp.MustCompile(`/ByteRange \[0 (\d+) (\d+) (\d+)\]`).FindAllSubmatch(data, -1)
	if len(ranges) != 2 {
		t.Fatalf("%d signatures", len(ranges))
	}
	for _, m := range ranges {
		var n [3]int
		for i := range n {
			n[i], _ = strconv.Atoi(string(m[i+1]))
		}
		der, err := hex.DecodeString(string(data[n[0]+1 : n[1]-1]))
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		cms := wrote(t, dir, "sig.p7s", string(der))
		content := wrote(t, dir, "content", string(data[:n[0]])+string(data[n[1]:n[1]+n[2]]))
		out := tool(t, "openssl", "cms", "-verify", "-cades", "-binary", "-inform", "DER", "-in", cms, "-content", content,
			"-CAfile", s.roots(), "-attime", fmt.Sprint(s.clock.Unix()), "-out", os.DevNull)
		if !strings.Contains(out, "Verification successful") {
			t.Error(out)
		}
	}
}

// A validator of another house finds a PDF/A-1b in the twin of the record, signed by
// the same code. Debian: libpdfbox2-java, libactivation-java, libjaxb-api-java, a JRE.
func TestSignedTwinIsArchival(t *testing.T) {
	var jars []string
	for _, j := range []string{"preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "javax.activation", "jaxb-api"} {
		path := "/usr/share/java/" + j + ".jar"
		if _, err := os.Stat(path); err != nil {
			lacking(t, path)
		}
		jars = append(jars, path)
	}
	s := signedSite(t)
	s.demoDay(t)
	rec, err := s.Day(t.Context(), monday)
	if err != nil {
		t.Fatal(err)
	}
	rec.parts.Twin = true
	now := s.Now()
	lea, err := seal.Open(read(t, keyFile(s.dir, "lea")), "lea at the quay")
	if err != nil {
		t.Fatal(err)
	}
	mara, err := seal.Open(read(t, keyFile(s.dir, "mara")), "mara at the quay")
	if err != nil {
		t.Fatal(err)
	}
	once := signedWith(t, rec, lea, seal.Statement{Role: "may operate", Surgery: "Tern Quay Surgery", Time: now})
	twice, err := seal.Countersign(once, mara, seal.Statement{Role: "lead", Surgery: "Tern Quay Surgery", Time: now}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, data := range [][]byte{once, twice} {
		file := wrote(t, t.TempDir(), "twin.pdf", string(data))
		if out := tool(t, "java", "-cp", strings.Join(jars, ":"), "org.apache.pdfbox.preflight.Validator_A1b", file); !strings.Contains(out, "is a valid PDF/A-1b file") {
			t.Errorf("%d signatures: %s", i+1, out)
		}
	}
}

const stampSettings = `
[tsa]
default_tsa = here
[here]
serial = DIR/serial
crypto_device = builtin
signer_cert = DIR/tsa.pem
certs = DIR/root.pem
signer_key = DIR/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
ess_cert_id_chain = no
ess_cert_id_alg = sha256
[tsaext]
extendedKeyUsage = critical,timeStamping
keyUsage = critical,digitalSignature
`

// A time-stamp server on loopback, whose every answer comes from openssl, stamps both
// signatures; a server that is away leaves nothing.
func TestRecordWithTimeStamps(t *testing.T) {
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	wrote(t, dir, "tsa.cnf", strings.ReplaceAll(stampSettings, "DIR", dir))
	tool(t, "openssl", "req", "-x509", "-nodes", "-newkey", "rsa:2048", "-keyout", in("root.key"), "-out", in("root.pem"), "-subj", "/CN=Clock root of tests", "-days", "3")
	tool(t, "openssl", "req", "-nodes", "-newkey", "rsa:2048", "-keyout", in("tsa.key"), "-out", in("tsa.csr"), "-subj", "/CN=Clock of tests")
	tool(t, "openssl", "x509", "-req", "-in", in("tsa.csr"), "-CA", in("root.pem"), "-CAkey", in("root.key"), "-CAcreateserial", "-days", "2",
		"-extfile", in("tsa.cnf"), "-extensions", "tsaext", "-out", in("tsa.pem"))
	away := true
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if away {
			http.Error(w, "closed for lunch", http.StatusServiceUnavailable)
			return
		}
		query, err := io.ReadAll(r.Body)
		if err == nil {
			err = os.WriteFile(in("q.tsq"), query, 0o600)
		}
		if err == nil {
			err = exec.Command("openssl", "ts", "-reply", "-config", in("tsa.cnf"), "-queryfile", in("q.tsq"), "-out", in("r.tsr")).Run()
		}
		reply, readErr := os.ReadFile(in("r.tsr"))
		if err != nil || readErr != nil {
			http.Error(w, "openssl", http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/timestamp-reply")
		w.Write(reply)
	}))
	defer server.Close()
	s := signedSiteAt(t, time.Now().Truncate(time.Second), func(c *Configuration) { c.Timestamp = Timestamp{URL: server.URL, Roots: in("root.pem")} })
	s.demoDay(t)
	if err := s.settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.refused(t, "the record was not signed", func() error {
		_, err := s.Prepare(t.Context(), Signing{Date: s.Today(), By: by("lea"), Reason: unfinished})
		return err
	})
	away = false
	if out := s.prepared(t, s.Today()); !out.Stamped {
		t.Errorf("%+v", out)
	}
	away = true
	s.refused(t, "the record was not signed", func() error { _, err := s.Countersign(t.Context(), s.Today(), by("mara")); return err })
	away = false
	out := s.countersigned(t, s.Today())
	sound(t, s.Records)
	found, err := Verify([]string{out.File}, Trusting{Roots: s.roots(), StampRoots: in("root.pem")})
	if err != nil || !found[0].Trusted || found[0].Signatures[0].JudgedFrom != seal.FromStamp || found[0].Signatures[1].JudgedFrom != seal.FromStamp {
		t.Errorf("%+v, %v", found, err)
	}
}

// The certificate of a record that ended since still counts: it is judged by the time
// of the entry, or of signing.
func TestRecordOutlivesItsCertificate(t *testing.T) {
	s, file, _ := aRecord(t)
	s.clock.Time = s.clock.AddDate(6, 0, 0)
	s.holds(t, file, "Lea Brook", "Mara Quill")
	sound(t, s.Records)
	s.refused(t, "is valid from", func() error {
		_, err := s.Prepare(t.Context(), Signing{Date: s.Today(), By: by("lea"), Reason: unfinished})
		return err
	})
}
