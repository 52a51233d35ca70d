package server

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/asfound/access"
)

var linked = regexp.MustCompile(`<(?:a|form) [^>]*(href|action)="(/[^"#?]*)`)

// TestNothingIsOfferedThatIsNotAllowed follows every link of the pages that a
// role may open, and sends every form of theirs, empty.
func TestNothingIsOfferedThatIsNotAllowed(t *testing.T) {
	b := withPeople(t)
	b.join("The keeper", "keeper")
	for _, role := range []access.Role{access.Mechanic, access.Second, access.Reader} {
		c := b.join("One "+string(role), string(role)+"@drover-1957")
		asked := map[string]int{}
		for _, page := range []string{"/", "", "/drawing", "/story", "/faults", "/options", "/plan", "/work", "/parts", "/value", "/criteria", "/components/fuel.tank"} {
			at := "/machines/drover-1957" + page
			if page == "/" {
				at = page
			}
			answer := b.askAs(c, "GET", at, "", "")
			require.Equal(t, http.StatusOK, answer.Code, "%s as %s", at, role)
			for _, m := range linked.FindAllStringSubmatch(answer.Body.String(), -1) {
				method, to := "GET", m[2]
				if m[1] == "action" && !strings.Contains(m[0], `method="get"`) {
					method = "POST"
				}
				if to == "/sign-out" || strings.HasPrefix(to, "/machines/drover-1957/dossier") {
					continue
				}
				key := method + " " + to
				if _, done := asked[key]; !done {
					asked[key] = b.askAs(c, method, to, "application/x-www-form-urlencoded", "").Code
				}
				assert.NotContains(t, []int{http.StatusForbidden, http.StatusNotFound}, asked[key], "%s offers %s to %s", at, key, role)
			}
		}
	}
}
