package entry

import (
	"errors"
	"fmt"
)

// May is one thing a person may do, from a date on and until another.
type May struct {
	Act   string `json:"act"` // operate, release, lead
	Since string `json:"since"`
	Until string `json:"until"` // last date, "": open
}

// Person says who somebody is and what the person may do from now on. The newest
// entry counts, whole; a person who left has dates in every Until.
type Person struct {
	Person string `json:"person"` // id
	Name   string `json:"name"`
	May    []May  `json:"may"`
}

func (Person) entryType() Type { return TypePerson }
func (b Person) facts() Facts  { return Facts{Subject: b.Person} }
func (b Person) check() error {
	for _, m := range b.May {
		if err := first(one("may", m.Act, "operate", "release", "lead"), isDay("since", m.Since), maybeDay("until", m.Until)); err != nil {
			return err
		}
	}
	return first(need("person", b.Person), need("name", b.Name), list("may", b.May))
}

// Certificate says that a certificate was issued or ended, with its bytes.
type Certificate struct {
	Person    string `json:"person"` // "": the site's authority
	Act       string `json:"act"`    // issued, ended
	Use       string `json:"use"`    // authority, person
	SHA256    string `json:"sha256"` // of DER
	Serial    string `json:"serial"` // hex
	Name      string `json:"name"`   // of the subject, as in the certificate
	Issuer    string `json:"issuer"`
	NotBefore Time   `json:"not_before"`
	NotAfter  Time   `json:"not_after"`
	DER       []byte `json:"der"` // base64
}

func (Certificate) entryType() Type { return TypeCertificate }
func (b Certificate) facts() Facts {
	f := Facts{Subject: b.Person, Topic: b.SHA256}
	if f.Subject == "" {
		f.Subject = "authority"
	}
	return f
}
func (b Certificate) check() error {
	if len(b.DER) == 0 || Sum(b.DER) != b.SHA256 {
		return errors.New("sha256: not that of the certificate")
	}
	if (b.Use == "person") != (b.Person != "") {
		return errors.New("use: a person's certificate names the person, the authority's nobody")
	}
	return first(one("act", b.Act, "issued", "ended"), one("use", b.Use, "authority", "person"), need("serial", b.Serial),
		needTime("not_before", b.NotBefore), needTime("not_after", b.NotAfter))
}

// Configuration holds the bytes of a configuration that came into force.
type Configuration struct {
	SHA256 string `json:"sha256"` // of Text
	File   string `json:"file"`
	Text   string `json:"text"` // the whole file, UTF-8
}

func (Configuration) entryType() Type { return TypeConfiguration }
func (b Configuration) facts() Facts  { return Facts{Subject: b.SHA256} }
func (b Configuration) check() error {
	if Sum([]byte(b.Text)) != b.SHA256 {
		return errors.New("sha256: not that of the text")
	}
	return nil
}

// Signature says that the person of the entry signed the record of a day.
type Signature struct {
	Day         string `json:"day"`
	Revision    int64  `json:"revision"` // from 1
	Meaning     string `json:"meaning"`  // prepared, reviewed
	Role        string `json:"role"`
	File        string `json:"file"`         // name of the record's file
	SHA256      string `json:"sha256"`       // of the file with this signature in it
	Size        int64  `json:"size"`         // bytes of it
	Certificate string `json:"certificate"`  // SHA-256 of the certificate signed with
	TimeFrom    string `json:"time_from"`    // time stamp, entry: where the time of signing comes from
	Covers      int64  `json:"covers"`       // entries of the logbook the record was drawn from, as printed on it
	Root        string `json:"root"`         // root of the tree over them, hex
	Earlier     string `json:"earlier"`      // SHA-256 of the revision it follows, "": first
	PreviousDay string `json:"previous_day"` // SHA-256 of the record of the day before, as printed; "": none
}

func (Signature) entryType() Type { return TypeSignature }
func (b Signature) facts() Facts {
	return Facts{Subject: b.Day, Topic: b.Meaning, Day: b.Day}
}
func (b Signature) check() error {
	if b.Revision < 1 || b.Size < 1 || b.Covers < 0 {
		return fmt.Errorf("revision %d of %d bytes over %d entries", b.Revision, b.Size, b.Covers)
	}
	return first(isDay("day", b.Day), one("meaning", b.Meaning, "prepared", "reviewed"), need("file", b.File),
		isSum("sha256", b.SHA256), isSum("certificate", b.Certificate), isSum("root", b.Root),
		one("time_from", b.TimeFrom, "time stamp", "entry"))
}

// Session says that somebody without a key was let in to read, until when, by the person
// of the entry. It changes no day's record.
type Session struct {
	For   string `json:"for"` // inspector
	Until Time   `json:"until"`
}

func (Session) entryType() Type { return TypeSession }
func (b Session) facts() Facts  { return Facts{Subject: b.For} }
func (b Session) check() error {
	return first(one("for", b.For, "inspector"), needTime("until", b.Until))
}
