package seal

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"holdproof/report/seal/cms"
	"holdproof/report/seal/pdffile"
)

// reserve is the forger's room for a CMS, bytes.
const reserve = 6 << 10

// A forger signs with a trusted key but not what Sign and Countersign would write.
type forger struct {
	key       *Key
	statement Statement
	more      func(u *pdffile.Update) // further objects
	edit      [2]string               // replaced in the new revision before it is signed, same length
}

// second makes a second revision as Countersign does.
func (g forger) second(t *testing.T, once []byte) []byte {
	t.Helper()
	r := Verify(once, Trust{})
	u := r.file.Update()
	signature, appearance := u.Reserve(), u.Reserve()
	w := r.waiting
	w.signature, w.appearance, w.contents = signature, appearance, words(Reviewed, g.key.name(), g.statement.Role, g.statement.Time)
	width, height, _ := size(r.file, r.waiting.appearance)
	if err := putAppearance(u, appearance, emptyLines("Reviewed"), width, height); err != nil {
		t.Fatal(err)
	}
	u.Put(r.field, []byte(w.text()))
	return g.finish(t, u, len(once), signature, Reviewed, 0)
}

// first makes a first revision as Sign does.
func (g forger) first(t *testing.T, base []byte) []byte {
	t.Helper()
	f := must(pdffile.Read(base))
	number, root, _ := f.Root()
	u := f.Update()
	signature := u.Reserve()
	fields := must(putFields(u, f, root, places(), signature, g.key, g.statement))
	form := u.Reserve()
	u.Put(form, fmt.Appendf(nil, "<< /Fields [%s] /SigFlags 3 >>", fields))
	u.Put(number, splice(f, root, fmt.Sprintf(" /AcroForm %d 0 R /Perms << /DocMDP %d 0 R >>", form, signature)))
	return g.finish(t, u, len(base), signature, Prepared, 2)
}

func (g forger) finish(t *testing.T, u *pdffile.Update, start, signature int, meaning string, permission int) []byte {
	t.Helper()
	if g.more != nil {
		g.more(u)
	}
	dict := dictionary(g.key.name(), g.statement, meaning, permission)
	at := u.Put(signature, []byte(dict+"/ByteRange "+strings.Repeat(" ", rangeRoom)+" /Contents <"+strings.Repeat("0", 2*reserve)+"> >>"))
	out := must(u.Finish([16]byte{2}))
	open := at + len(dict) + len("/ByteRange ") + rangeRoom + len(" /Contents ")
	after := open + 2*reserve + 2
	copy(out[at+len(dict)+len("/ByteRange "):], byteRange(open, after, len(out)))
	if g.edit[0] != "" {
		if len(g.edit[0]) != len(g.edit[1]) || !bytes.Contains(out[start:], []byte(g.edit[0])) {
			t.Fatalf("cannot replace %q", g.edit[0])
		}
		copy(out[start:], bytes.Replace(out[start:], []byte(g.edit[0]), []byte(g.edit[1]), 1))
	}
	copy(out[open+1:], fmt.Sprintf("%x", must(cms.Sign(digest(out, open, after), g.key.private, g.key.chain, nil))))
	return out
}

// as returns the key with a certificate that only claims to be another's: what is read
// from it differs, its bytes do not.
func as(k *Key, name string, ca bool) *Key {
	c := *k.Certificate()
	c.Subject.CommonName, c.IsCA = name, ca
	chain := append(k.chain[:0:0], k.chain...)
	chain[0] = &c
	return &Key{chain, k.private}
}

// Even who is trusted may say only the truth about themselves and change only their field.
func TestForgedByTrustedPeople(t *testing.T) {
	pdf, trust, h := sound(t)
	base := smallPDF()
	once := pdf[:must(pdffile.Read(pdf)).Revisions[1].End]
	early := leadSays()
	early.Time = signingDay.Add(-time.Minute)
	namesake := must(h.authority.Issue("Dana Reed", signingDay.AddDate(0, -1, 0)))
	lead, nurse := forger{key: h.lead, statement: leadSays()}, forger{key: h.nurse, statement: nurseSays()}
	with := func(g forger, old, new string) forger { g.edit = [2]string{old, new}; return g }
	adding := func(more func(*pdffile.Update)) forger { g := lead; g.more = more; return g }
	if r := Verify(lead.second(t, nurse.first(t, base)), trust); !r.Trusted {
		t.Fatal("the forger's own way does not verify, so this test shows nothing: ", r.Problems)
	}
	for _, row := range []struct {
		why, want string
		pdf       []byte
	}{
		{"a page's contents replaced", "changed more than its own field", adding(func(u *pdffile.Update) { u.Put(4, []byte("null")) }).second(t, once)},
		{"an object added", "changed more than its own field", adding(func(u *pdffile.Update) { u.Put(u.Reserve(), []byte("null")) }).second(t, once)},
		{"the field moved", "not the one the first signature prepared", with(lead, "/Rect [312.000", "/Rect [012.000").second(t, once)},
		{"the field on another page", "not the one the first signature prepared", with(lead, "/P 3 0 R", "/P 4 0 R").second(t, once)},
		{"the block larger", "block is not as", with(lead, "/BBox [0 0 227.000", "/BBox [0 0 927.000").second(t, once)},
		{"the block with resources", "block is not as", with(lead, "/Resources << >>", "/Resources 1 0 R").second(t, once)},
		{"another /Info", "trailer's /Info", with(lead, "/Info 10 0 R", "/Info  9 0 R").second(t, once)},
		{"another /ID", "trailer's /ID", with(lead, "/ID [<0011", "/ID [<0012").second(t, once)},
		{"another name in the certificate", "is not that of the certificate", forger{key: as(h.nurse, "Ines Okafor", false), statement: nurseSays()}.first(t, base)},
		{"signed by the authority", "an authority's key", forger{key: as(h.authority, h.authority.name(), false), statement: nurseSays()}.first(t, base)},
		{"other words in the field", "words of its field", with(nurse, "/Contents (Prepared by Dana Reed, dental", "/Contents (Prepared by Dana Reed, senior").first(t, base)},
		{"a field with an action", "not as these records have it", with(nurse, "/F 132", "/F 133").first(t, base)},
		{"another certifying signature", "catalog does not name", with(nurse, "/DocMDP 11 0 R", "/DocMDP 10 0 R").first(t, base)},
		{"more allowed than one signature", "dictionary is not as", with(nurse, "/P 2 /V /1.2", "/P 3 /V /1.2").first(t, base)},
		{"a range that ends early", "byte range", with(nurse, "/ByteRange [0 ", "/ByteRange [1 ").first(t, base)},
		{"reviewed by who prepared", "two persons are needed", forger{key: h.nurse, statement: leadSays()}.second(t, once)},
		{"reviewed with a newer certificate of who prepared", "two persons are needed", forger{key: namesake, statement: leadSays()}.second(t, once)},
		{"reviewed before prepared", "before it was prepared", forger{key: h.lead, statement: early}.second(t, once)},
	} {
		r := Verify(row.pdf, trust)
		if r.OK || !strings.Contains(r.Problems[0], row.want) {
			t.Errorf("%s: got %v, want a problem about %q", row.why, r.Problems, row.want)
		}
		for _, s := range r.Signatures {
			if s.Trusted {
				t.Errorf("%s: a signature of it is shown as trusted", row.why)
			}
		}
	}
}

// Behind the CMS stand zeros and nothing else; its digits are small letters.
func TestPaddingIsCanonical(t *testing.T) {
	pdf, trust, _ := sound(t)
	once := pdf[:must(pdffile.Read(pdf)).Revisions[1].End]
	der, _ := split(t, once, 1)
	hex := fmt.Sprintf("%x", der)
	for _, row := range []struct{ why, old, new string }{
		{"something behind the CMS", hex + "0000", hex + "0100"},
		{"a space behind the CMS", hex + "00", hex + "  "},
		{"capital letters", hex, strings.ToUpper(hex)},
	} {
		bad := bytes.Replace(once, []byte(row.old), []byte(row.new), 1)
		if bytes.Equal(bad, once) {
			t.Fatal(row.why, ": nothing changed")
		}
		if r := Verify(bad, trust); r.OK {
			t.Errorf("%s: not noticed", row.why)
		}
	}
}
