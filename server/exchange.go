package server

import (
	"net/http"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/exchange"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// exchangeQuery is what every format is asked for with. What leaves is public
// unless somebody says otherwise.
var exchangeQuery = []parameter{{"edition", "string", "public or private; public when left out."}}

// pageExchange sends a machine in the format that the address names.
func pageExchange(s *Server, r *http.Request) (answer, error) {
	return exchanged(chi.URLParam(r, "format"))(s, r)
}

// exchanged sends a machine in one format.
func exchanged(format string) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		f, err := exchange.FormatOf(format)
		if err != nil {
			return nil, registry.Refuse(registry.CodeNotFound, "Choose one from the machine's page.", "There is no such format to take a machine away in")
		}
		id, err := machineID(r)
		if err != nil {
			return nil, err
		}
		public := true
		if r.URL.Query().Get("edition") != "" {
			if public, err = publicEdition(r); err != nil {
				return nil, err
			}
		}
		report, err := s.reportOf(r, id, workshop.ReportOptions{Public: public})
		if err != nil {
			return nil, err
		}
		d, err := s.Workshop.Load(r.Context(), id, workshop.At{})
		if err != nil {
			return nil, err
		}
		in := exchange.Input{Report: report, Dossier: d, Base: s.BaseURL}
		body, err := f.Write(in)
		if err != nil {
			return nil, err
		}
		return bytesAnswer{mediaType: f.MediaType, body: body, attachment: f.File(in)}, nil
	}
}
