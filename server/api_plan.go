package server

import (
	"math"
	"net/http"
	"strconv"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// planQuery are the limits of a plan and what matters most within them.
var planQuery = []parameter{
	{"money", "number", "At most this much, in the currency of the options."},
	{"hours", "number", "At most this many hours of work."},
	{"lead", "number", "At most this many days of waiting."},
	{"works", "number", "At least this chance that all of it works, 0 to 1."},
	{"by", "string", "What matters most: for_good, money or works; for_good when left out."}}

func apiPlan(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	req, err := planRequest(r)
	if err != nil {
		return nil, err
	}
	tag := versionTag(version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	plan, err := s.Workshop.Plan(r.Context(), id, req)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: plan, etag: tag}, nil
}

// planRequest reads the query of a plan.
func planRequest(r *http.Request) (workshop.PlanRequest, error) {
	q := r.URL.Query()
	var fields []registry.Field
	read := func(name, allowed string, top float64) *float64 {
		given := q.Get(name)
		if given == "" {
			return nil
		}
		v, err := strconv.ParseFloat(given, 64)
		if err != nil || !(v >= 0 && v <= top) || math.IsInf(v, 0) {
			fields = append(fields, registry.Field{Pointer: "/" + name, Found: quoted(given), Allowed: allowed, Message: "The limit cannot be used"})
			return nil
		}
		return &v
	}
	req := workshop.PlanRequest{Pick: q.Get("by"), Limits: scoring.PlanLimits{Money: read("money", "0 or more", 1e9), Hours: read("hours", "0 or more", 1e6),
		Lead: read("lead", "0 or more", 1e5), Works: read("works", "0 to 1", 1)}}
	switch req.Pick {
	case "":
		req.Pick = scoring.ByForGood
	case scoring.ByForGood, scoring.ByMoney, scoring.ByWorks:
	default:
		fields = append(fields, registry.Field{Pointer: "/by", Found: quoted(req.Pick), Allowed: "for_good, money, works", Message: "This is nothing to prefer"})
	}
	if len(fields) > 0 {
		return req, &registry.Error{Code: registry.CodeInvalid, Message: "The query cannot be read", Fields: fields}
	}
	return req, nil
}

// CostRequest asks what options cost together.
type CostRequest struct {
	Options []string       `json:"options"`
	Ceiling registry.Money `json:"ceiling,omitzero"` // none when left out
}

func apiCost(s *Server, r *http.Request) (answer, error) {
	var in CostRequest
	if err := readJSON(r, &in); err != nil {
		return nil, err
	}
	id, _, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	cost, err := s.Workshop.Cost(r.Context(), id, in.Options, in.Ceiling)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: cost}, nil
}

func apiValue(s *Server, r *http.Request) (answer, error) {
	var in workshop.ValueQuestion
	if err := readJSON(r, &in); err != nil {
		return nil, err
	}
	id, _, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	value, err := s.Workshop.Value(r.Context(), id, in)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: value}, nil
}
