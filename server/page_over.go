package server

import (
	"net/http"
	"strings"

	"example.org/asfound/workshop"
)

// OverPage says why a link, or a question at it, decides nothing now, and what
// to do.
type OverPage struct {
	Base
	Problem Problem
	Request string
	Means   []string
	Link    string // the address of the link where it still leads somewhere
}

// overRow is how one reason is told.
type overRow struct {
	title string
	means []string
	open  bool // the link itself still opens
}

const staysRecorded = "What was decided before stays recorded. The workshop can make a new link."

var overRows = map[string]overRow{
	workshop.LinkUnknown:   {"This link leads nowhere", []string{"A link is long, and is easily cut off where a message breaks its lines. Nothing was decided by opening it."}, false},
	workshop.LinkExpired:   {"This link has run out", []string{"A link works for some weeks only, so that an old message cannot decide anything.", staysRecorded}, false},
	workshop.LinkTakenBack: {"This link was taken back", []string{"The workshop ended it, perhaps because you were sent another one since.", staysRecorded}, false},
	workshop.LinkReplaced:  {"This question was replaced", []string{"The workshop asks you something else in its place. No answer to the old question counts any more.", staysRecorded}, true},
	workshop.LinkAnswered:  {"You have answered this already", []string{"A question is decided once. Your first answer stands, and nothing was recorded now."}, true},
	workshop.OfferExpired:  {"The time for this question is over", []string{"No answer to it stands: nothing was decided, and nothing may be done. Costs and parts may have changed since."}, true},
}

// overPage is nil for an error that says nothing of a link.
func (s *Server) overPage(r *http.Request, err error, instance string) *OverPage {
	row, ok := overRows[workshop.WhyOver(err)]
	if !ok {
		return nil
	}
	page := &OverPage{Base: Base{Title: row.title, Version: s.Version, Owner: true}, Problem: problemOf(err, instance), Request: instance, Means: row.means}
	if parts := strings.SplitN(r.URL.Path, "/", 4); row.open && len(parts) > 3 {
		if page.Link = "/o/" + parts[2]; parts[1] == "machines" {
			page.Link, page.ByAccount = "/machines/"+parts[2]+"/decide", true
		}
	}
	return page
}
