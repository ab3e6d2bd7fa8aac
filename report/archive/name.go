package archive

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// The files of a bag, by RFC 8493, 2.1 and 2.2.
const (
	bagFile     = "bagit.txt"
	infoFile    = "bag-info.txt"
	manifest    = "manifest-sha256.txt"
	tagManifest = "tagmanifest-sha256.txt"
	sealFile    = "bag.cms" // ours: a detached CMS over the tag manifest, and so over every byte
	payload     = "data/"
)

// tagFiles are all files of a bag that are no payload.
var tagFiles = []string{bagFile, infoFile, manifest, tagManifest, sealFile}

// The payload's fixed names. Records and exports lie in folders of their own.
const (
	Ledger     = payload + "ledger.jsonl"
	Checkpoint = payload + "checkpoint.txt"
	Signature  = payload + "checkpoint.cms"
	Cycles     = payload + "cycles.csv"
	HowTo      = payload + "HOW-TO-CHECK.txt"
	Index      = payload + "index.html"
	Records    = payload + "records/"
	Exports    = payload + "exports/"
	Keys       = payload + "keys/"
)

// maxName is the longest name of a file in a bag, in bytes (ours).
const maxName = 1024

// checkName refuses a name that could lead out of the bag, that two systems read as two
// different files, or that cannot be shown.
func checkName(name string) error {
	switch {
	case name == "":
		return fmt.Errorf("a file without a name")
	case len(name) > maxName:
		return fmt.Errorf("%.40q…: the name has more than %d bytes", name, maxName)
	case !utf8.ValidString(name):
		return fmt.Errorf("%q: the name is not UTF-8", name)
	case strings.HasPrefix(name, "/"):
		return fmt.Errorf("%q: the name begins at the root of the computer", name)
	case strings.Contains(name, `\`):
		return fmt.Errorf("%q: a name with a backslash is another file on another system", name)
	case strings.Contains(name, ":"):
		return fmt.Errorf("%q: a name with a colon can mean another drive", name)
	}
	for _, r := range name {
		if r < ' ' || r == 0x7f {
			return fmt.Errorf("%q: the name holds a control character", name)
		}
	}
	for part := range strings.SplitSeq(name, "/") {
		switch part {
		case "", ".", "..":
			return fmt.Errorf("%q: the name leads out of the bag, or to nowhere", name)
		}
	}
	return nil
}

// sameName is what two names share that a system without case calls one file.
func sameName(name string) string { return strings.ToLower(name) }

// encodePath writes a path as a manifest does (RFC 8493, 2.1.3): carriage return, line
// feed and percent sign, and no other character, are percent-encoded.
func encodePath(name string) string {
	return strings.NewReplacer("%", "%25", "\r", "%0D", "\n", "%0A").Replace(name)
}

// decodePath reads a path of a manifest. Other percent signs stand for themselves.
func decodePath(text string) string {
	return strings.NewReplacer("%25", "%", "%0D", "\r", "%0d", "\r", "%0A", "\n", "%0a", "\n").Replace(text)
}
