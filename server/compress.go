package server

import (
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5/middleware"
)

// compressed packs what is text for browsers that take it so: in a barn the
// line is thin. The owner's pages go as they are, since a link that opens them
// stands in them, and the size of what is packed together tells of it.
func compressed(next http.Handler) http.Handler {
	packed := middleware.Compress(5, "text/html", "text/css", "text/javascript", "image/svg+xml", "application/manifest+json")(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/o/") || isAPI(r.URL.Path) {
			next.ServeHTTP(w, r)
			return
		}
		packed.ServeHTTP(w, r)
	})
}
