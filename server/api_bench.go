package server

import (
	"net/http"

	"example.org/asfound/workshop"
)

const exampleBenchEvidence = `{"component":"electrical.dynamo","method":"stamp","input":{"build":"1957-06","stamps":[{"id":"dynamo","code":"3/57","scheme":"month-year"}]},"by":"custodian"}`

func apiBenchEvidence(s *Server, r *http.Request) (answer, error) {
	id, seen, err := s.prepare(r)
	if err != nil {
		return nil, err
	}
	var in workshop.BenchEvidence
	if err := readJSON(r, &in); err != nil {
		return nil, err
	}
	actor, err := s.actorOn(r, id, in.By, nil)
	if err != nil {
		return nil, err
	}
	out, err := s.Workshop.AttachEvidence(r.Context(), workshop.Request{Machine: id, Actor: actor, Expect: seen, Key: apiKey(r)}, in)
	if err != nil {
		return nil, s.staleWhen(r, id, seen, err)
	}
	return jsonAnswer{status: http.StatusCreated, value: out, location: "/api/v1/machines/" + id + "/components/" + out.Evidence.Bears[0].Component, etag: versionTag(out.Receipt.Version)}, nil
}
