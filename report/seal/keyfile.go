package seal

import (
	"crypto"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"unicode"
	"unicode/utf8"

	pkcs12 "software.sslmate.com/src/go-pkcs12"
)

// iterations makes one guess at a passphrase cost some tenths of a second. OWASP's
// figure for PBKDF2 with SHA-256 (2023, from memory).
const iterations = 600_000

// minPassphrase is the shortest passphrase, in characters: the least that NIST
// SP 800-63B asks of a secret a person chooses (from memory). A key file can be copied
// and tried at leisure, so longer is better; three or four words are.
const minPassphrase = 8

// ErrPassphrase says that a passphrase does not open a key.
var ErrPassphrase = errors.New("the passphrase does not open this key")

// CheckPassphrase says whether a new passphrase will do: 8 characters or more, at least
// 4 different ones, not digits alone (a date of birth is soon tried), nothing that cannot
// be typed again. An old one is never checked.
func CheckPassphrase(passphrase string) error {
	different := map[rune]bool{}
	digitsOnly := true
	for _, r := range passphrase {
		different[r] = true
		digitsOnly = digitsOnly && unicode.IsDigit(r)
		if unicode.IsControl(r) || r == utf8.RuneError || r > 0xffff {
			return errors.New("the passphrase holds a character that key files cannot carry")
		}
	}
	switch {
	case utf8.RuneCountInString(passphrase) < minPassphrase:
		return fmt.Errorf("the passphrase is shorter than %d characters; take three or four words", minPassphrase)
	case len(different) < 4:
		return errors.New("the passphrase has fewer than 4 different characters; take three or four words")
	case digitsOnly:
		return errors.New("the passphrase is a number; take three or four words")
	case strings.TrimSpace(passphrase) != passphrase:
		return errors.New("the passphrase begins or ends with a space")
	}
	return nil
}

// Pack locks the key and its certificates with a passphrase, as PKCS#12 (AES-256-CBC,
// PBKDF2 with 600,000 rounds of SHA-256).
//
// Error: the passphrase fails CheckPassphrase.
func (k *Key) Pack(passphrase string) ([]byte, error) { return k.pack(passphrase, iterations) }

// PackRounds is Pack with another number of rounds, for keys whose passphrase is no
// secret: those of tests and of the demonstration. The file says how many there were.
//
// Error: the passphrase fails CheckPassphrase, or no round at all.
func (k *Key) PackRounds(passphrase string, rounds int) ([]byte, error) {
	if rounds < 1 {
		return nil, errors.New("a key is locked with at least one round")
	}
	return k.pack(passphrase, rounds)
}

func (k *Key) pack(passphrase string, rounds int) ([]byte, error) {
	if err := CheckPassphrase(passphrase); err != nil {
		return nil, err
	}
	p12, err := pkcs12.Modern2023.WithIterations(rounds).Encode(k.private, k.chain[0], k.chain[1:], passphrase)
	if err != nil {
		return nil, errors.New("the key cannot be locked")
	}
	return p12, nil
}

// Open unlocks a PKCS#12 file: one that Pack made, or one from outside with an RSA key of
// 2048 to 8192 bit or an ECDSA P-256 key. Its certificates are put in order.
//
// Error: ErrPassphrase; or a sentence if it is no such file, or key or certificate
// cannot sign documents.
func Open(p12 []byte, passphrase string) (*Key, error) {
	private, own, others, err := pkcs12.DecodeChain(p12, passphrase)
	switch {
	case errors.Is(err, pkcs12.ErrIncorrectPassword), errors.Is(err, pkcs12.ErrDecryption):
		return nil, ErrPassphrase
	case err != nil:
		return nil, errors.New("this is no PKCS#12 file with one private key and its certificate")
	}
	signer, ok := private.(crypto.Signer)
	if !ok {
		return nil, errors.New("the key is neither ECDSA P-256 nor RSA")
	}
	// A bag may list the certificates in any order.
	all := append([]*x509.Certificate{own}, others...)
	for _, c := range all {
		if public, ok := signer.Public().(interface{ Equal(crypto.PublicKey) bool }); ok && public.Equal(c.PublicKey) {
			if err := checkSigner(c); err != nil {
				return nil, err
			}
			return &Key{order(c, all), signer}, nil
		}
	}
	return nil, errors.New("the file holds no certificate for its private key")
}

// WriteNew writes a file that must not exist yet: into a file beside it, synchronised,
// then under its name, then the folder synchronised. Half a file is never seen under
// the name, and nothing is ever overwritten. Keys take 0600.
//
// Error: wraps fs.ErrExist if the name is taken.
func WriteNew(path string, data []byte, mode fs.FileMode) (err error) {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".new-*")
	if err != nil {
		return err
	}
	defer func() {
		f.Close()
		os.Remove(f.Name())
	}()
	if err := f.Chmod(mode); err != nil && runtime.GOOS != "windows" {
		return err
	}
	if _, err := f.Write(data); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := giveName(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(dir)
}

// giveName moves a finished file to its name unless that is taken. A hard link cannot
// overwrite; where the file system has none, holdName does it.
func giveName(from, path string) error {
	if os.Link(from, path) == nil {
		return nil
	}
	return holdName(from, path)
}

// holdName holds the name with an empty file of its own before it moves from there.
func holdName(from, path string) error {
	hold, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	hold.Close()
	if err := os.Rename(from, path); err != nil {
		os.Remove(path)
		return err
	}
	return nil
}

func syncFolder(dir string) error {
	if runtime.GOOS == "windows" { // folders cannot be synchronised there
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
