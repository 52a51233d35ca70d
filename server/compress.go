package server

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// secretive are the addresses of pages in which such a link or code may stand.
var secretive = regexp.MustCompile(`^/(o|r|join|set-up|sign-in|new-passkey|account|people)(/|$)|/(links|readers)(/|$)`)

// packable are the types of text that are packed: in a barn the line is thin.
var packable = []string{"text/html", "text/css", "text/javascript", "image/svg+xml", "application/manifest+json"}

// packs says whether an answer of a type is packed for whoever asks. Pages in
// which a link or a code stands that opens something go as they are, since the
// size of what is packed together tells of it.
func packs(r *http.Request, mediaType string) bool {
	plain, _, _ := strings.Cut(mediaType, ";")
	return slices.Contains(packable, plain) && takesPacked(r) && !secretive.MatchString(r.URL.Path) && !isAPI(r.URL.Path)
}

// takesPacked says whether the asker reads gzip.
func takesPacked(r *http.Request) bool {
	for _, part := range strings.Split(r.Header.Get("Accept-Encoding"), ",") {
		coding, weight, weighted := strings.Cut(strings.TrimSpace(part), ";")
		if strings.TrimSpace(coding) == "gzip" {
			return !weighted || strings.TrimLeft(strings.TrimSpace(weight), "q=0.") != ""
		}
	}
	return false
}

// packers are used again: each has tables of most of a megabyte.
var packers = sync.Pool{New: func() any { return gzip.NewWriter(io.Discard) }}

func packed(body []byte) []byte {
	var b bytes.Buffer
	w := packers.Get().(*gzip.Writer)
	defer packers.Put(w)
	w.Reset(&b)
	w.Write(body) // into memory: it cannot fail
	w.Close()
	return b.Bytes()
}

// send writes a finished body with its status, packed where it is and the asker
// reads that. packed is nil for what is not.
func send(w http.ResponseWriter, r *http.Request, status int, body, packed []byte) {
	if packed != nil {
		w.Header().Add("Vary", "Accept-Encoding")
	}
	if packed != nil && takesPacked(r) {
		w.Header().Set("Content-Encoding", "gzip")
		body = packed
	}
	w.WriteHeader(status)
	w.Write(body) // nothing can be told to somebody who has left
}
