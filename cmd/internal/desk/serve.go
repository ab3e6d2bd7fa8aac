package desk

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"time"
)

// server is how patient the desk is with a client (ours). A body has no limit of its
// own here: [Desk.guard] sets one for each request, which an upload moves on.
func (d *Desk) server() *http.Server {
	return &http.Server{Handler: d.Handler(), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute,
		WriteTimeout: 10 * time.Minute, MaxHeaderBytes: 16 << 10, ErrorLog: log.New(io.Discard, "", 0)}
}

// Serve answers on the listener until ctx ends, then lets what was begun be finished.
// With a certificate it speaks TLS and nothing else.
func (d *Desk) Serve(ctx context.Context, l net.Listener, certificate *tls.Certificate) error {
	sweep()
	s := d.server()
	if certificate != nil {
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{*certificate}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}})
	}
	failed := make(chan error, 1)
	go func() { failed <- s.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	// What is being kept is waited for; a connection that is only open is not.
	late, stop := context.WithTimeout(context.WithoutCancel(ctx), 20*time.Second)
	defer stop()
	err := s.Shutdown(late)
	if errors.Is(err, context.DeadlineExceeded) {
		err = s.Close()
	}
	if served := <-failed; err == nil && !errors.Is(served, http.ErrServerClosed) {
		err = served
	}
	return err
}
