package server

import (
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// ComponentPage is one component with everything that speaks about it.
type ComponentPage struct {
	Base
	Report    *workshop.Report
	Component *workshop.ComponentReport
	Claims    []ClaimView
	Photos    []workshop.PhotoReport
	Fittings  []workshop.FittingReport
	Joints    []workshop.JointReport
	Readings  []workshop.ReadingReport
	Faults    []workshop.FaultReport
	Work      []workshop.WorkReport
	Removed   []workshop.RemovedReport
}

// ClaimView is one question with its evidence, item by item.
type ClaimView struct {
	*workshop.ClaimReport
	Asks   string
	States []StateView
	Items  []ItemView
	Start  float64 // bits before any evidence
}

// StateView is one state with its probability and the band that the doubt
// about dependence leaves.
type StateView struct {
	State       string
	Probability float64
	Low, High   float64
	Banded      bool
	X, Width    string // of its bar
	BandX       string
	BandWidth   string
}

// ItemView is one piece of evidence and what it bought.
type ItemView struct {
	ID       string
	Evidence *workshop.EvidenceReport // nil for what the survey saw
	Seen     string                   // the sign or reading of the survey
	Bought   float64                  // bits
	After    float64                  // bits left
	// Without is the leading answer when this item is left out.
	Without      string
	WithoutShown string
	Changes      bool // leaving it out changes the answer
}

// asks is each question in words.
var asks = map[registry.Proposition]string{
	registry.PropositionOrigin:        "Where did this part come from?",
	registry.PropositionFinish:        "What surface does it wear?",
	registry.PropositionSpecification: "Is it as the maker's catalogue says?",
}

func pageComponent(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	o, err := edition(r.URL.Query())
	if err != nil {
		return nil, err
	}
	tag := s.pageTag(r, version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	report, err := s.reportOf(r, id, o)
	if err != nil {
		return nil, err
	}
	c, err := componentOf(report, chi.URLParam(r, "component"))
	if err != nil {
		return nil, err
	}
	page := s.componentPage(report, c)
	page.Notice = noticeOf(r)
	return htmlAnswer{name: "component", page: page, etag: tag}, nil
}

// componentOf finds a component by id, code or name.
func componentOf(report *workshop.Report, name string) (*workshop.ComponentReport, error) {
	for g := range report.Groups {
		for i := range report.Groups[g].Components {
			c := &report.Groups[g].Components[i]
			if c.ID == name || strings.EqualFold(c.Code, name) || strings.EqualFold(c.Name, name) {
				return c, nil
			}
		}
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Choose one from the machine's page.", "The machine has no component %s", quoted(name))
}

func (s *Server) componentPage(report *workshop.Report, c *workshop.ComponentReport) ComponentPage {
	page := ComponentPage{Base: s.basis(report, "", c.Name), Report: report, Component: c}
	evidence := map[string]*workshop.EvidenceReport{}
	for i := range report.Evidence {
		evidence[report.Evidence[i].ID] = &report.Evidence[i]
	}
	if !c.NotFitted {
		for _, claim := range c.Claims() {
			page.Claims = append(page.Claims, claimView(claim, evidence))
		}
	}
	photos := photosByID(report.Photos)
	for _, id := range c.Photos {
		if p, ok := photos[id]; ok {
			page.Photos = append(page.Photos, p)
		}
	}
	for _, f := range report.Fittings {
		if f.Component == c.ID {
			page.Fittings = append(page.Fittings, f)
		}
	}
	for _, j := range report.Joints {
		if contains(j.Components, c.ID) {
			page.Joints = append(page.Joints, j)
		}
	}
	for _, m := range report.Readings {
		if m.Component == c.ID {
			page.Readings = append(page.Readings, m)
		}
	}
	for _, f := range report.Faults {
		if contains(f.Components, c.ID) {
			page.Faults = append(page.Faults, f)
		}
	}
	for _, w := range report.Work {
		for _, change := range w.Changes {
			if change.Component == c.ID {
				page.Work = append(page.Work, w)
				break
			}
		}
	}
	for _, p := range report.Removed {
		if p.Component == c.ID {
			page.Removed = append(page.Removed, p)
		}
	}
	return page
}

// The bars of states lie on a scale of this width.
const stateWidth = 120.0

func claimView(c *workshop.ClaimReport, evidence map[string]*workshop.EvidenceReport) ClaimView {
	v := ClaimView{ClaimReport: c, Asks: asks[c.Proposition]}
	if len(c.EntropyBits) > 0 {
		v.Start = c.EntropyBits[0]
	}
	for _, e := range c.Posterior {
		state := StateView{State: e.Key, Probability: e.Value, Low: e.Value, High: e.Value, X: "0", Width: xText(stateWidth * e.Value)}
		if c.Band != nil {
			if band, ok := c.Band.Get(e.Key); ok {
				state.Low, state.High, state.Banded = band[0], band[1], true
			}
		}
		state.BandX, state.BandWidth = xText(stateWidth*state.Low), xText(max(stateWidth*(state.High-state.Low), 1))
		if state.High < 0.005 {
			continue // a state that nothing speaks for takes no line
		}
		v.States = append(v.States, state)
	}
	for i, id := range c.Evidence {
		item := ItemView{ID: id, Evidence: evidence[id]}
		if item.Evidence == nil {
			_, seen, found := strings.Cut(id, ":")
			if !found {
				seen = id
			}
			item.Seen = plainWords(seen)
		}
		if i+1 < len(c.EntropyBits) {
			item.After = c.EntropyBits[i+1]
			item.Bought = c.EntropyBits[i] - c.EntropyBits[i+1]
		}
		if c.Without != nil {
			if dist, ok := c.Without.Get(id); ok {
				item.Without, item.WithoutShown = leading(dist)
				top, _ := leading(c.Posterior)
				item.Changes = item.Without != top
			}
		}
		v.Items = append(v.Items, item)
	}
	return v
}

func leading(d scoring.Distribution) (state, shown string) {
	best := 0.0
	for _, e := range d {
		if e.Value > best {
			best, state = e.Value, e.Key
		}
	}
	return state, scoring.Percent(best)
}
