package seal

import (
	"strings"
	"testing"
	"time"
)

// FuzzVerify: whatever the bytes, no panic, and either the file is sound or a problem is
// named as a sentence. Nothing but what our two keys signed is ever trusted.
func FuzzVerify(f *testing.F) {
	h := fixedHouse()
	both := h.twice(f)
	f.Add(both)
	f.Add(must(Sign(smallPDF(), h.nurse, nurseSays(), places(), nil)))
	f.Add(smallPDF())
	known := map[string]bool{Fingerprint(h.nurse.Certificate()): true, Fingerprint(h.lead.Certificate()): true}
	trust := Trust{Roots: h.roots(), Times: map[string]time.Time{Reviewed: leadSays().Time}}
	f.Fuzz(func(t *testing.T, b []byte) {
		r := Verify(b, trust)
		if r.OK != (len(r.Problems) == 0) || r.OK != r.Trusted || r.OK && len(r.Signatures) == 0 {
			t.Errorf("%+v", r)
		}
		for _, p := range r.Problems {
			if !strings.HasSuffix(p, ".") {
				t.Errorf("no sentence: %q", p)
			}
		}
		for _, s := range r.Signatures {
			if r.OK && !known[s.Fingerprint] {
				t.Errorf("trusted without having signed: %s", s.Name)
			}
		}
		r.Attachments()
	})
}
