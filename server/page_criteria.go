package server

import (
	"context"
	"net/http"
	"time"

	"example.org/asfound/workshop"
)

// CriteriaPage holds a machine's record against published classes.
type CriteriaPage struct {
	Base
	ID       string
	Criteria *workshop.CriteriaReport
	Names    names
}

func pageCriteria(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	out, err := s.criteriaOf(r, id, version)
	if err != nil {
		return nil, err
	}
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	page := CriteriaPage{Base: s.basis(report, "", "Published classes"), ID: id, Criteria: out, Names: s.anatomy}
	return htmlAnswer{name: "criteria", page: page}, nil
}

// criteriaOf holds a machine against every published class, or finds what was
// found of the same version on the same day: ages go by the day of asking.
func (s *Server) criteriaOf(r *http.Request, machine string, version uint64) (*workshop.CriteriaReport, error) {
	key := machine + " " + itoa(version) + " " + s.Now().UTC().Format(time.DateOnly)
	return s.criteria.find(key, func() (*workshop.CriteriaReport, bool, error) {
		out, err := s.Workshop.Criteria(context.WithoutCancel(r.Context()), machine, "")
		return out, err == nil && out.Version == version, err
	})
}

// criteriaQuery picks one rule.
var criteriaQuery = []parameter{{"rule", "string", "One published rule, by its id; all when left out."}}

func apiCriteria(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	out, err := s.Workshop.Criteria(r.Context(), id, r.URL.Query().Get("rule"))
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: out, etag: versionTag(version)}, nil
}
