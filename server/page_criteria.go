package server

import (
	"net/http"

	"github.com/go-chi/chi/v5"

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
	id := chi.URLParam(r, "id")
	out, err := s.Workshop.Criteria(r.Context(), id, "")
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
