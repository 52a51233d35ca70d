package server

import (
	"net/http"
	"regexp"

	"github.com/go-chi/chi/v5/middleware"
)

// secretive are the addresses of pages in which such a link or code may stand.
var secretive = regexp.MustCompile(`^/(o|r|join|set-up|sign-in|new-passkey|account|people)(/|$)|/(links|readers)(/|$)`)

// compressed packs what is text for browsers that take it so: in a barn the
// line is thin. Pages in which a link or a code stands that opens something go
// as they are, since the size of what is packed together tells of it.
func compressed(next http.Handler) http.Handler {
	packed := middleware.Compress(5, "text/html", "text/css", "text/javascript", "image/svg+xml", "application/manifest+json")(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if secretive.MatchString(r.URL.Path) || isAPI(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		packed.ServeHTTP(w, r)
	})
}
