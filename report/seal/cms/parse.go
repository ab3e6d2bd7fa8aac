package cms

import (
	"bytes"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"errors"
	"fmt"
)

// Parse takes a signature apart. It accepts the one form that Sign writes: DER, SHA-256,
// one signer, exactly the three signed attributes, the whole chain, at most one time stamp.
//
// Error: a sentence without full stop for anything else. It proves nothing yet: see Verify.
func Parse(der []byte) (*Signed, error) {
	if len(der) > maxSize {
		return nil, fmt.Errorf("the signature is larger than %d bytes", maxSize)
	}
	s, err := take(der)
	if err != nil {
		return nil, err
	}
	again, err := s.build()
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, der) {
		return nil, errors.New("the signature is not in the one form these records use")
	}
	return s, nil
}

// take reads the parts; what it skips is compared by Parse.
func take(der []byte) (*Signed, error) {
	signedData, err := open(der)
	if err != nil {
		return nil, err
	}
	if err := signedData.exactly(versionOne); err != nil {
		return nil, err
	}
	if err := signedData.exactly(tlv(tagSet, algSHA256)); err != nil {
		return nil, errors.New("the signature's digest is not SHA-256")
	}
	if err := signedData.exactly(tlv(tagSequence, oidData)); err != nil {
		return nil, errors.New("the signature is not detached from plain data")
	}
	certificates, info, err := oneSigner(signedData,
		errors.New("the signature holds no certificate"), errors.New("the signature does not have exactly one signer"))
	if err != nil {
		return nil, err
	}
	return takeSigner(info, certificates)
}

// oneSigner reads the certificates and the one signer that end signed data (RFC 5652,
// 5.1). The errors are those for no certificate and for another count of signers.
func oneSigner(signedData reader, bare, several error) (certificates []*x509.Certificate, info reader, err error) {
	set, err := signedData.into(context(0))
	if err != nil {
		return nil, info, bare
	}
	if certificates, err = readCertificates(set); err != nil {
		return nil, info, err
	}
	infos, err := signedData.only(tagSet)
	if err != nil {
		return nil, info, err
	}
	if info, err = infos.only(tagSequence); err != nil {
		return nil, info, several
	}
	return certificates, info, nil
}

// open returns a reader inside SignedData.
func open(der []byte) (reader, error) {
	r := reader{der}
	r, err := r.only(tagSequence)
	if err != nil {
		return r, err
	}
	if err := r.exactly(oidSignedData); err != nil {
		return r, errors.New("this is no signature in CMS form")
	}
	if r, err = r.only(context(0)); err != nil {
		return r, err
	}
	return r.only(tagSequence)
}

func readCertificates(r reader) ([]*x509.Certificate, error) {
	var list []*x509.Certificate
	for len(r.rest) > 0 {
		_, whole, err := r.element(tagSequence)
		if err != nil {
			return nil, err
		}
		if len(list) == MaxChain {
			return nil, fmt.Errorf("the signature holds more than %d certificates", MaxChain)
		}
		c, err := x509.ParseCertificate(whole)
		if err != nil {
			return nil, errors.New("a certificate in the signature cannot be read")
		}
		if key, ok := c.PublicKey.(*rsa.PublicKey); ok && key.N.BitLen() > maxRSA {
			return nil, fmt.Errorf("a certificate in the signature has an RSA key of more than %d bit", maxRSA)
		}
		list = append(list, c)
	}
	return list, nil
}

func takeSigner(info reader, certificates []*x509.Certificate) (*Signed, error) {
	if err := info.exactly(versionOne); err != nil {
		return nil, err
	}
	if _, _, err := info.element(tagSequence); err != nil { // issuer and serial number
		return nil, err
	}
	if err := info.exactly(algSHA256); err != nil {
		return nil, errors.New("the signer's digest is not SHA-256")
	}
	attributes, err := info.into(context(0))
	if err != nil {
		return nil, errors.New("the signature has no signed attributes")
	}
	s := &Signed{}
	if err := s.takeAttributes(attributes, certificates); err != nil {
		return nil, err
	}
	if _, _, err := info.element(tagSequence); err != nil { // algorithm
		return nil, err
	}
	if s.Value, _, err = info.element(tagOctetString); err != nil {
		return nil, err
	}
	if info.next(context(1)) {
		if s.Token, err = takeToken(&info); err != nil {
			return nil, err
		}
	}
	return s, info.end()
}

func takeToken(info *reader) ([]byte, error) {
	set, err := info.into(context(1))
	if err != nil {
		return nil, err
	}
	attribute, err := set.only(tagSequence)
	if err != nil {
		return nil, err
	}
	if err := attribute.exactly(oidTimeStamp); err != nil {
		return nil, errors.New("the signature has an unsigned attribute that is no time stamp")
	}
	values, err := attribute.only(tagSet)
	if err != nil {
		return nil, err
	}
	_, whole, err := values.element(tagSequence)
	if err != nil {
		return nil, err
	}
	return whole, values.end()
}

// attribute takes the next attribute: its type and its values.
func (r *reader) attribute() (id []byte, values reader, err error) {
	attribute, err := r.into(tagSequence)
	if err != nil {
		return nil, values, err
	}
	if _, id, err = attribute.element(tagOID); err != nil {
		return nil, values, err
	}
	values, err = attribute.only(tagSet)
	return id, values, err
}

// takeAttributes reads digest and chain. The order of the chain is that of the hashes.
func (s *Signed) takeAttributes(r reader, certificates []*x509.Certificate) error {
	for len(r.rest) > 0 {
		id, value, err := r.attribute()
		if err != nil {
			return err
		}
		switch {
		case bytes.Equal(id, oidContentType):
		case bytes.Equal(id, oidDigest):
			digest, err := value.only(tagOctetString)
			if err != nil || len(digest.rest) != len(s.Digest) {
				return errForm
			}
			copy(s.Digest[:], digest.rest)
		case bytes.Equal(id, oidSigningCert):
			if s.Chain, err = order(value, certificates); err != nil {
				return err
			}
		default:
			return errors.New("the signature has a signed attribute these records do not use")
		}
	}
	if len(s.Chain) == 0 {
		return errors.New("the signature does not name its certificate")
	}
	return nil
}

// order sorts the certificates as signing-certificate-v2 names them; all and no other.
func order(value reader, certificates []*x509.Certificate) ([]*x509.Certificate, error) {
	for range 2 {
		var err error
		if value, err = value.only(tagSequence); err != nil {
			return nil, err
		}
	}
	byHash := map[[32]byte]*x509.Certificate{}
	for _, c := range certificates {
		byHash[sha256.Sum256(c.Raw)] = c
	}
	var chain []*x509.Certificate
	for len(value.rest) > 0 {
		id, err := value.into(tagSequence)
		if err != nil {
			return nil, err
		}
		hash, err := id.only(tagOctetString)
		if err != nil || len(hash.rest) != sha256.Size {
			return nil, errForm
		}
		c := byHash[[32]byte(hash.rest)]
		if c == nil {
			return nil, errors.New("the signature names a certificate it does not hold")
		}
		chain = append(chain, c)
		delete(byHash, [32]byte(hash.rest))
	}
	if len(byHash) > 0 || len(chain) != len(certificates) {
		return nil, errors.New("the signature holds a certificate it does not name")
	}
	return chain, nil
}
