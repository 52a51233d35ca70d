package server

import (
	"encoding/pem"
	"net/http"
	"strings"

	"rsc.io/qr"

	"example.org/asfound/language"
	"example.org/asfound/registry"
)

// Install is what the page tells that helps a phone to trust this registry.
type Install struct {
	Root        []byte   // the authority's certificate, as DER
	Fingerprint string   // of it, in blocks
	Limits      []string // names and networks that it can vouch for
	Until       string   // the day on which it ends
	Addresses   []string // of the registry, the best first
	Here        string   // the address of this page
}

// InstallPage is shown to whoever comes without encryption.
type InstallPage struct {
	Base
	Install
	QR     QRCode
	Blocks []string // of the fingerprint
}

// authorityMedia is the type by which phones know a certificate to install.
const authorityMedia = "application/x-x509-ca-cert"

// NewInstall makes the handler of the one page that is served without
// encryption. It tells how to trust the registry and holds nothing of it.
func NewInstall(in Install, version string) (http.Handler, error) {
	pages := newPagesIn()
	page := InstallPage{Base: Base{Title: "Let this phone reach the registry", Version: version}, Install: in, Blocks: strings.Fields(in.Fingerprint)}
	var err error
	if page.QR, err = NewQRCode(in.Here); err != nil {
		return nil, err
	}
	if _, err := pages.render(language.English, "install", page); err != nil {
		return nil, err
	}
	m := http.NewServeMux()
	file := func(path, mediaType string, body []byte) {
		m.HandleFunc("GET "+path, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", mediaType)
			w.Write(body)
		})
	}
	m.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) {
		l := language.Named(r.URL.Query().Get("language"))
		if l == nil {
			l = languageOf(r)
		}
		body, err := pages.render(l, "install", page)
		if err != nil {
			http.Error(w, "The page cannot be shown.", http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", htmlType)
		w.Write(body)
	})
	file("/asfound.crt", authorityMedia, in.Root)
	file("/asfound.pem", "application/x-pem-file", pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: in.Root}))
	file("/static/asfound.css", "text/css; charset=utf-8", assets()["asfound.css"].body)
	m.Handle("GET /", http.RedirectHandler("/", http.StatusSeeOther))
	m.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "Nothing is taken in without encryption. Begin at "+in.Addresses[0]+"/ instead.", http.StatusForbidden)
	})
	return secure(m), nil
}

// OnPlain answers connections without encryption: the registry to a browser on
// this computer, which needs none, and the page for phones to everybody else.
func OnPlain(registry, install http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if isLoopback(hostOf(r.RemoteAddr)) && isLoopback(hostOf(r.Host)) {
			registry.ServeHTTP(w, r)
			return
		}
		install.ServeHTTP(w, r)
	})
}

// QRCode is a code that cameras read, as a path of unit squares.
type QRCode struct {
	Text string
	Size int // modules a side, with the quiet zone
	Path string
	code *qr.Code
}

// Dark says whether the module in a column and row is dark.
func (q QRCode) Dark(x, y int) bool { return q.code.Black(x-quiet, y-quiet) }

// quiet is the width of the margin that a code needs, in modules.
const quiet = 4

// NewQRCode encodes a text with the error correction of level M. CodeTooLarge
// when it is too long.
func NewQRCode(text string) (QRCode, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return QRCode{}, registry.Refuse(registry.CodeTooLarge, "Use a shorter address.", "The address is too long for a code: %v", err)
	}
	var path strings.Builder
	for y := range code.Size {
		for x := range code.Size {
			if code.Black(x, y) {
				path.WriteString("M" + itoa(x+quiet) + " " + itoa(y+quiet) + "h1v1h-1z")
			}
		}
	}
	return QRCode{Text: text, Size: code.Size + 2*quiet, Path: path.String(), code: code}, nil
}
