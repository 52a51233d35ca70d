package server

import (
	"context"
	"io"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
)

func pageRobots(*Server, *http.Request) (answer, error) {
	return bytesAnswer{mediaType: "text/plain; charset=utf-8", body: []byte("User-agent: *\nDisallow: /\n")}, nil
}

func pageHealthy(*Server, *http.Request) (answer, error) {
	return bytesAnswer{mediaType: "text/plain; charset=utf-8", body: []byte("ok\n")}, nil
}

// pageReady says whether the ledger can be read.
func pageReady(s *Server, r *http.Request) (answer, error) {
	if _, err := s.Workshop.Ledger.End(r.Context()); err != nil {
		s.Logger.Error("not ready", "error", err.Error())
		return nil, registry.Refuse(registry.CodeBusy, "Try again in a little while.", "The ledger cannot be read")
	}
	if b, why := s.behindNow(); b != nil {
		s.Logger.Error("not ready", "since", b.Since, "error", why.Error())
		return nil, registry.Refuse(registry.CodeBusy, "See to the cluster that keeps the ledger.", "The ledger cannot be reached; pages are shown as it stood at %s, and nothing is recorded", b.Since.UTC().Format(time.RFC3339))
	}
	return bytesAnswer{mediaType: "text/plain; charset=utf-8", body: []byte("ready\n")}, nil
}

// publicEdition reads ?edition=public or private; private is the default.
func publicEdition(r *http.Request) (bool, error) {
	switch e := r.URL.Query().Get("edition"); e {
	case "public":
		return true, nil
	case "", "private":
		return false, nil
	default:
		return false, &registry.Error{Code: registry.CodeInvalid, Message: "There is no such edition", Fields: []registry.Field{{Pointer: "/edition", Found: quoted(e),
			Allowed: "public, private", Message: "There is no such edition", Fix: "Ask for the public or the private one."}}}
	}
}

func editionName(public bool) string {
	if public {
		return "public"
	}
	return "private"
}

// download sends a dossier made by one of the exporters.
func download(what, mediaType, ending string, exporter func(s *Server) func(context.Context, io.Writer, string, bool) error) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		id, err := machineID(r)
		if err != nil {
			return nil, err
		}
		public, err := publicEdition(r)
		public = public || publicOnly(r, chi.URLParam(r, "id"))
		if err != nil {
			return nil, err
		}
		if _, err := s.headOf(r, id); err != nil {
			return nil, err
		}
		write := exporter(s)
		if write == nil {
			return nil, notOffered(what)
		}
		body, err := produced(printedFor(r), func(ctx context.Context, out io.Writer) error { return write(ctx, out, id, public) })
		if err != nil {
			return nil, err
		}
		return bytesAnswer{mediaType: mediaType, header: inLanguage, body: body, attachment: id + "-" + editionName(public) + ending}, nil
	}
}

var (
	downloadPDF       = download("The PDF dossier", "application/pdf", ".pdf", func(s *Server) func(context.Context, io.Writer, string, bool) error { return s.PDF })
	downloadZip       = download("The data bundle", "application/zip", ".zip", func(s *Server) func(context.Context, io.Writer, string, bool) error { return s.Bundle })
	downloadCondition = download("The condition report", "application/pdf", "-condition.pdf", func(s *Server) func(context.Context, io.Writer, string, bool) error { return s.Condition })
)
