package seal

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// All people and places are invented: Tern Quay Surgery.

var signingDay = time.Date(2026, 11, 2, 18, 15, 0, 0, time.UTC)

// house is an authority with two people who may sign.
type house struct{ authority, nurse, lead *Key }

func newHouse(t testing.TB) house {
	t.Helper()
	authority := must(NewAuthority("Tern Quay Surgery", signingDay.AddDate(0, -1, 0)))
	return house{
		authority: authority,
		nurse:     must(authority.Issue("Dana Reed", signingDay.AddDate(0, -1, 0))),
		lead:      must(authority.Issue("Ines Okafor", signingDay.AddDate(0, -1, 0))),
	}
}

// fixedHouse is a house whose keys are the same in every run and process.
func fixedHouse() house {
	key := func(name string, number byte, by *Key) *Key {
		raw := make([]byte, 32)
		raw[31] = number
		return must(issue(&x509.Certificate{
			SerialNumber: big.NewInt(int64(number)), Subject: pkix.Name{CommonName: name, Organization: []string{"Tern Quay Surgery"}},
			NotBefore: signingDay.AddDate(0, -1, 0), NotAfter: signingDay.AddDate(5, 0, 0),
			KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, IsCA: by == nil, BasicConstraintsValid: true,
		}, must(ecdsa.ParseRawPrivateKey(elliptic.P256(), raw)), by))
	}
	authority := key("Tern Quay Surgery", 7, nil)
	return house{authority, key("Dana Reed", 8, authority), key("Ines Okafor", 9, authority)}
}

func (h house) roots() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(h.authority.Certificate())
	return pool
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func nurseSays() Statement {
	return Statement{Role: "dental nurse", Surgery: "Tern Quay Surgery", Time: signingDay}
}

func leadSays() Statement {
	return Statement{Role: "hygiene lead", Surgery: "Tern Quay Surgery", Time: signingDay.Add(20 * time.Minute)}
}

func places() Places {
	return Places{
		Prepared: Place{Page: 1, X: 56, Y: 90, Width: 227, Height: 74},
		Reviewed: &Place{Page: 1, X: 312, Y: 90, Width: 227, Height: 74},
	}
}

// twice signs and countersigns a small record.
func (h house) twice(t testing.TB) []byte {
	t.Helper()
	once, err := Sign(smallPDF(), h.nurse, nurseSays(), places(), nil)
	if err != nil {
		t.Fatal(err)
	}
	both, err := Countersign(once, h.lead, leadSays(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return both
}

const dayJSON = `{"version":1,"day":"2026-11-02"}`

// smallPDF writes by hand a PDF of one page with two attachments.
func smallPDF() []byte { return pdfOf("", "") }

// pdfOf is smallPDF with more text in the catalog and in the page.
func pdfOf(inCatalog, inPage string, more ...string) []byte {
	page := "BT /F1 12 Tf 60 780 Td (Tern Quay Surgery, 2 November 2026) Tj ET"
	stream := func(dict, body string) string {
		return fmt.Sprintf("<< %s /Length %d >>\nstream\n%s\nendstream", dict, len(body), body)
	}
	return assemble(append([]string{
		"<< /Type /Catalog /Pages 2 0 R /AF [6 0 R 8 0 R] /Names << /EmbeddedFiles << /Names [(a) 6 0 R (b) 8 0 R] >> >>" + inCatalog + " >>",
		"<< /Type /Pages /Kids [3 0 R] /Count 1 /MediaBox [0 0 595.28 841.89] >>",
		"<< /Type /Page /Parent 2 0 R /Resources << /Font << /F1 5 0 R >> >> /Contents 4 0 R" + inPage + " >>",
		stream("", page),
		"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
		"<< /Type /Filespec /F (day.json) /UF (day.json) /AFRelationship /Data /EF << /F 7 0 R >> >>",
		stream(fmt.Sprintf("/Type /EmbeddedFile /Subtype /application#2Fjson /Params << /Size %d >>", len(dayJSON)), dayJSON),
		"<< /Type /Filespec /F (monday.csv) /UF (monday.csv) /AFRelationship /Source /EF << /F 9 0 R >> >>",
		stream("/Type /EmbeddedFile /Subtype /text#2Fcsv", "time,chamber\n0,20.1\n"),
		"<< /Producer (by hand) >>",
	}, more...))
}

func assemble(objects []string) []byte {
	var b bytes.Buffer
	b.WriteString("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
	places := make([]int, len(objects))
	for i, o := range objects {
		places[i] = b.Len()
		fmt.Fprintf(&b, "%d 0 obj\n%s\nendobj\n", i+1, o)
	}
	table := b.Len()
	fmt.Fprintf(&b, "xref\n0 %d\n0000000000 65535 f \n", len(objects)+1)
	for _, p := range places {
		fmt.Fprintf(&b, "%010d 00000 n \n", p)
	}
	fmt.Fprintf(&b, "trailer\n<< /Size %d /Root 1 0 R /Info 10 0 R /ID [<00112233445566778899aabbccddeeff> <00112233445566778899aabbccddeeff>] >>\nstartxref\n%d\n%%%%EOF\n",
		len(objects)+1, table)
	return b.Bytes()
}

// outside finds a program that shares nothing with the house. Where it is missing the
// test is skipped, visibly; on the build machine it fails.
func outside(t *testing.T, program string) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed", program)
		}
		t.Skipf("%s is not installed: this check was not made", program)
	}
}

// said runs a program and returns all it printed.
func said(t *testing.T, program string, args ...string) string {
	t.Helper()
	out, err := exec.Command(program, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", program, strings.Join(args, " "), err, out)
	}
	return string(out)
}

func writeFile(t testing.TB, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func pemOf(c *x509.Certificate) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: c.Raw})
}
