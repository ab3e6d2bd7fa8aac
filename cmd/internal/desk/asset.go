package desk

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"net/http"
	"strings"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"

	"holdproof/report/figure"
)

//go:embed asset page
var files embed.FS

// asset is a file that pages use, under a name that changes with its bytes, so that a
// browser may keep it for a year.
type asset struct {
	name, kind string
	packed     []byte // gzip
}

// readAssets returns the assets by the plain name that pages know.
func readAssets() (map[string]asset, error) {
	out := map[string]asset{}
	var fonts []string
	for _, f := range []struct {
		name string
		ttf  []byte
	}{{"regular.ttf", goregular.TTF}, {"bold.ttf", gobold.TTF}, {"mono.ttf", gomono.TTF}} {
		a, err := pack(f.name, "font/ttf", f.ttf)
		if err != nil {
			return nil, err
		}
		out[f.name] = a
		fonts = append(fonts, "{{"+f.name+"}}", "/assets/"+a.name)
	}
	var css []byte
	for _, name := range []string{"asset/desk.css", "asset/sheet.css"} {
		part, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		css = append(css, part...)
	}
	var err error
	sheet := strings.NewReplacer(fonts...).Replace(string(css)) + figure.Stylesheet()
	if out["desk.css"], err = pack("desk.css", "text/css; charset=utf-8", []byte(sheet)); err != nil {
		return nil, err
	}
	js, err := files.ReadFile("asset/desk.js")
	if err != nil {
		return nil, err
	}
	out["desk.js"], err = pack("desk.js", "text/javascript; charset=utf-8", js)
	return out, err
}

func pack(name, kind string, data []byte) (asset, error) {
	sum := sha256.Sum256(data)
	stem, ending, _ := strings.Cut(name, ".")
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return asset{}, err
	}
	if _, err := w.Write(data); err != nil {
		return asset{}, err
	}
	err = w.Close()
	return asset{stem + "-" + hex.EncodeToString(sum[:6]) + "." + ending, kind, b.Bytes()}, err
}

func (d *Desk) asset(w http.ResponseWriter, r *http.Request, _ visitor) error {
	for _, a := range d.assets {
		if a.name != r.PathValue("name") {
			continue
		}
		h := w.Header()
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
		h.Set("Content-Type", a.kind)
		if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
			z, err := gzip.NewReader(bytes.NewReader(a.packed))
			if err != nil {
				return err
			}
			var plain bytes.Buffer
			if _, err := plain.ReadFrom(z); err != nil {
				return err
			}
			_, err = w.Write(plain.Bytes())
			return err
		}
		h.Set("Content-Encoding", "gzip")
		h.Set("Vary", "Accept-Encoding")
		_, err := w.Write(a.packed)
		return err
	}
	return errNotThere
}
