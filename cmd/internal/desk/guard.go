package desk

import (
	"net/http"
	"time"
)

// policy lets a page use what comes from this desk and nothing else: no other
// address, no script or style inside a page, no frame around it.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// How large and how slow a request may be (ours).
const (
	maxForm     = 256 << 10
	maxUpload   = 100 << 20
	readWithin  = 30 * time.Second // for a form, and for each piece of an upload
	wholeWithin = 10 * time.Minute // for an upload
)

// patience is how long a client may take to send a form or a piece of an upload, and the
// whole of an upload: one that sends a byte now and then is let go as well.
type patience struct{ piece, whole time.Duration }

// until is when the next piece must be there, of something that began at a time.
func (p patience) until(begun, now time.Time) time.Time {
	if end := begun.Add(p.whole); end.Before(now.Add(p.piece)) {
		return end
	}
	return now.Add(p.piece)
}

// guard stands before everything: it refuses names that are not ours, sets what every
// answer carries, and bounds what is read.
func (d *Desk) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		h.Set("Cache-Control", "no-store")
		if d.o.Secure {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		if !d.knownHost(r.Host) {
			http.Error(w, "This desk is not asked for by that name.", http.StatusMisdirectedRequest)
			return
		}
		if r.Method == http.MethodPost {
			most := int64(maxForm)
			if r.URL.Path == uploadPath {
				most = maxUpload
			}
			// A client that sends nothing for that long is let go; an upload moves the time on.
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(d.patience.piece))
			r.Body = http.MaxBytesReader(w, r.Body, most)
		}
		next.ServeHTTP(w, r)
	})
}
