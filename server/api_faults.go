package server

import (
	"net/http"
	"strconv"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// faultQuery is what an hour and a point are worth in looking for a cause.
var faultQuery = []parameter{
	{"minutes_per_point", "number", "Minutes of work that one point of 1000 lost for good is worth; 60 when left out."},
	{"money_per_hour", "number", "Money that an hour of work is worth; 30 when left out."},
	{"specialist", "number", "What it would cost to hand it to a specialist."}}

// FaultList are the faults of a machine with what is known of their causes.
type FaultList struct {
	Faults []*workshop.FaultSearch `json:"faults"`
}

// ComplaintList are the complaints of the symptom library.
type ComplaintList struct {
	Complaints []workshop.ComplaintReport `json:"complaints"`
}

func apiComplaints(s *Server, _ *http.Request) (answer, error) {
	return jsonAnswer{value: ComplaintList{s.Workshop.ComplaintList()}}, nil
}

func apiFaults(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	tag := versionTag(version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	list, err := s.Workshop.FaultSearches(r.Context(), id)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: FaultList{list}, etag: tag}, nil
}

func apiFault(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	q, err := faultQuestion(r)
	if err != nil {
		return nil, err
	}
	tag := versionTag(version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	search, err := s.Workshop.FaultSearch(r.Context(), id, chi.URLParam(r, "fault"), q)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: search, etag: tag}, nil
}

func apiDrafts(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	drafts, err := s.Workshop.DraftOptions(r.Context(), id, chi.URLParam(r, "fault"), chi.URLParam(r, "cause"), r.URL.Query().Get("by"))
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: drafts, etag: versionTag(version)}, nil
}

// faultQuestion reads the query of a search for a cause. What the rates may be
// is for the computation to say.
func faultQuestion(r *http.Request) (workshop.FaultQuestion, error) {
	var fields []registry.Field
	read := func(name string) *float64 {
		given := r.URL.Query().Get(name)
		if given == "" {
			return nil
		}
		v, err := strconv.ParseFloat(given, 64)
		if err != nil {
			fields = append(fields, registry.Field{Pointer: "/" + name, Found: quoted(given), Allowed: "a number", Message: "This is not a number"})
			return nil
		}
		return &v
	}
	q := workshop.FaultQuestion{MinutesPerPoint: read("minutes_per_point"), MoneyPerHour: read("money_per_hour"), Specialist: read("specialist")}
	if len(fields) > 0 {
		return q, &registry.Error{Code: registry.CodeInvalid, Message: "The query cannot be read", Fields: fields}
	}
	return q, nil
}
