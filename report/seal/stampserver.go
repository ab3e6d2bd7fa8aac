package seal

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/asn1"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net/http"
	"net/url"
	"time"

	"holdproof/report/seal/cms"
)

// maxReply bounds a time-stamp server's reply, bytes. Ours.
const maxReply = 64 << 10

// A Stamper returns an RFC 3161 token over a SHA-256.
type Stamper func(digest [32]byte) (token []byte, err error)

// A StampServer is an RFC 3161 time-stamp server reached by HTTP (RFC 3161, 3.4).
type StampServer struct {
	URL    string
	Client *http.Client          // with the timeout the caller wants
	Policy asn1.ObjectIdentifier // asked for and demanded; nil: the server's own
	Roots  *x509.CertPool        // authorities accepted; nil: the reply is checked for soundness only
}

// Stamp returns a [Stamper] that asks the server and checks its reply: the digest, the
// nonce (128 bit, random), the policy, the signature, the chain.
//
// The Stamper's error says what the server said or what is wrong with its reply.
func (s StampServer) Stamp(ctx context.Context) Stamper {
	return func(digest [32]byte) ([]byte, error) {
		nonce, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 128))
		if err != nil {
			return nil, err
		}
		request, err := cms.StampRequest(digest, nonce, s.Policy)
		if err != nil {
			return nil, err
		}
		var token []byte
		reply, err := s.ask(ctx, request)
		if err == nil {
			token, err = s.accept(reply, digest, nonce)
		}
		if err != nil {
			return nil, fmt.Errorf("no time stamp from %s: %w", s.host(), err)
		}
		return token, nil
	}
}

// host names the server in messages; a URL may carry a password.
func (s StampServer) host() string {
	if u, err := url.Parse(s.URL); err == nil && u.Host != "" {
		return u.Host
	}
	return "the time-stamp server"
}

func (s StampServer) ask(ctx context.Context, request []byte) ([]byte, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.URL, bytes.NewReader(request))
	if err != nil {
		return nil, errors.New("its address is no URL")
	}
	r.Header.Set("Content-Type", "application/timestamp-query")
	reply, err := s.Client.Do(r)
	if err != nil {
		var with *url.Error // repeats the whole URL
		if errors.As(err, &with) {
			err = with.Err
		}
		return nil, err
	}
	defer reply.Body.Close()
	if reply.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("the server answered %s", reply.Status)
	}
	body, err := io.ReadAll(io.LimitReader(reply.Body, maxReply+1))
	if err != nil {
		return nil, err
	}
	if len(body) > maxReply {
		return nil, fmt.Errorf("the server answered more than %d bytes", maxReply)
	}
	return body, nil
}

func (s StampServer) accept(reply []byte, digest [32]byte, nonce *big.Int) ([]byte, error) {
	token, err := cms.StampReply(reply)
	if err != nil {
		return nil, err
	}
	stamp, err := cms.ParseStamp(token, digest)
	if err != nil {
		return nil, err
	}
	if stamp.Nonce == nil || stamp.Nonce.Cmp(nonce) != 0 {
		return nil, errors.New("the reply answers another question: its nonce differs")
	}
	if s.Policy != nil && !stamp.Policy.Equal(s.Policy) {
		return nil, fmt.Errorf("the time stamp is under policy %v, not %v", stamp.Policy, s.Policy)
	}
	if s.Roots != nil {
		if err := stamp.Trusted(s.Roots); err != nil {
			return nil, err
		}
	}
	return token, nil
}

// judgedAt returns the time at which a signature's certificate is judged and where it
// comes from; printed is the time the signer states.
func judgedAt(s *cms.Signed, meaning string, printed time.Time, t Trust) (time.Time, string, error) {
	if s.Token != nil {
		stamp, err := cms.ParseStamp(s.Token, sha256.Sum256(s.Value))
		if err != nil {
			return printed, FromSigner, err
		}
		if t.StampRoots != nil {
			return stamp.Time, FromStamp, stamp.Trusted(t.StampRoots)
		}
	}
	if at, ok := t.Times[meaning]; ok {
		return at, FromEntry, nil
	}
	return printed, FromSigner, nil
}
