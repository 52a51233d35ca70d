package server

import (
	"context"
	"io"
	"net/http"
	"net/url"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// CardPage is the work card of one option, to be used with one hand.
type CardPage struct {
	Base
	Card *workshop.CardReport
	// At is the card's address; By is who works, "" while nobody has said so.
	At, By string
	People []Choice
	Errors []FormError
	// Did keeps a step that could not be recorded.
	Did      string
	Names    names
	Openings []CardOpeningView
}

// CardOpeningView is an opening with its maps drawn.
type CardOpeningView struct {
	workshop.CardOpening
	Number int
	Maps   []MapView
	Open   bool // it is open: neither shut nor closed
}

// Key makes the hidden key of one form.
func (p CardPage) Key() string { return newKey() }

func (s *Server) cardPage(r *http.Request, by string) (*CardPage, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	card, err := s.Workshop.Card(r.Context(), report.Machine.ID, chi.URLParam(r, "option"))
	if err != nil {
		return nil, err
	}
	page := &CardPage{Base: s.basis(report, "work", "Work card: "+card.Option.Title), Card: card, At: "/machines/" + report.Machine.ID + "/work/card/" + card.Option.ID,
		Names: namesOf(report), People: actingChoices(report, "mechanic", "custodian", "second-signature")}
	if len(page.People) == 0 {
		page.People = actingChoices(report)
	}
	if mechanics := actingChoices(report, "mechanic"); len(mechanics) == 1 {
		page.By = mechanics[0].Value
	}
	for _, c := range page.People {
		if c.Value == by {
			page.By = by
		}
	}
	photos := photosByID(report.Photos)
	for i, o := range card.Openings {
		view := CardOpeningView{CardOpening: o, Number: i + 1, Open: o.Opened != "" && len(o.Closed) == 0}
		for _, m := range o.Maps {
			view.Maps = append(view.Maps, drawMap(report.Machine.ID, m, photos[m.Photo]))
		}
		page.Openings = append(page.Openings, view)
	}
	return page, nil
}

func pageCard(s *Server, r *http.Request) (answer, error) {
	page, err := s.cardPage(r, r.URL.Query().Get("by"))
	if err != nil {
		return nil, err
	}
	page.Notice = noticeOf(r)
	return htmlAnswer{name: "card", page: page}, nil
}

// cardAct makes what one button of the card records.
type cardAct func(page *CardPage, t *typed) (registry.Body, error)

// pageCardPost records what one button says. What is refused is said on the
// card, which then shows the record as it stands.
func pageCardPost(anchor string, act cardAct) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		t, err := readForm(r)
		if err != nil {
			return nil, err
		}
		page, err := s.cardPage(r, t.text("by"))
		if err != nil {
			return nil, err
		}
		body, err := act(page, t)
		var receipt workshop.Receipt
		if err == nil {
			receipt, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: page.Card.Machine.ID, Actor: t.text("by"), Expect: t.seen(), Key: t.text("key")}, body)
		}
		if err != nil {
			if !mendable(err) {
				return nil, err
			}
			message, fix := messageOf(err)
			page.Errors, page.Did, page.Wrong = []FormError{{"", sentence(message, fix)}}, t.text("did"), true
			return htmlAnswer{status: rowOf(codeOf(err)).status, name: "card", page: page}, nil
		}
		query := url.Values{"by": {t.text("by")}}
		if id := firstID(receipt); id != "" {
			query.Set("recorded", id)
		}
		return seeOther(page.At + "?" + query.Encode() + anchor), nil
	}
}

var (
	pageCardCaution = pageCardPost("#cautions", func(p *CardPage, t *typed) (registry.Body, error) {
		return &registry.Acknowledgement{Caution: t.text("caution"), For: p.Card.Option.ID, By: t.text("by")}, nil
	})
	pageCardStep = pageCardPost("#steps", func(p *CardPage, t *typed) (registry.Body, error) {
		return &registry.Step{Option: p.Card.Option.ID, Did: t.text("did"), By: t.text("by")}, nil
	})
	pageCardUndo = pageCardPost("#steps", func(p *CardPage, t *typed) (registry.Body, error) {
		for _, s := range p.Card.Steps {
			if s.ID == t.text("step") && !s.Undone {
				return &registry.Withdrawal{Record: s.ID, Why: "undone on the work card", By: t.text("by")}, nil
			}
		}
		return nil, registry.Refuse(registry.CodeConflict, "Look at the steps as they stand.", "There is no such step to undo, or it was undone already")
	})
	pageCardOpen = pageCardPost("#openings", func(p *CardPage, t *typed) (registry.Body, error) {
		for _, o := range p.Card.Openings {
			if o.ID != t.text("opening") {
				continue
			}
			if len(o.Lacks) > 0 {
				// The registry knows of all but the unread cautions.
				var why, fix []string
				for _, l := range o.Lacks {
					why = append(why, l.Why)
					if !contains(fix, l.Fix) {
						fix = append(fix, l.Fix)
					}
				}
				return nil, registry.Refuse(registry.CodeRefused, strings.Join(fix, " "), "%s cannot be opened: %s", quoted(o.Title), strings.Join(why, "; "))
			}
			return &registry.Opened{Opening: o.ID, By: t.text("by")}, nil
		}
		return nil, registry.Refuse(registry.CodeNotFound, "Choose one of the card.", "The card has no opening %s", quoted(t.text("opening")))
	})
)

// printed sends a document that is made for printing.
func printed(what, name string, write func(s *Server, r *http.Request, machine string) func(ctx context.Context, out io.Writer) error) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		id, _, err := s.machineHead(r)
		if err != nil {
			return nil, err
		}
		do := write(s, r, id)
		if do == nil {
			return nil, notOffered(what)
		}
		body, err := produced(printedFor(r), do)
		if err != nil {
			return nil, err
		}
		return bytesAnswer{mediaType: "application/pdf", header: inLanguage, body: body, attachment: id + "-" + name + ".pdf"}, nil
	}
}

var (
	downloadCard = printed("The printed work card", "card", func(s *Server, r *http.Request, machine string) func(context.Context, io.Writer) error {
		if s.Card == nil {
			return nil
		}
		return func(ctx context.Context, out io.Writer) error {
			return s.Card(ctx, out, machine, chi.URLParam(r, "option"))
		}
	})
	downloadLabels = printed("Printed labels", "labels", func(s *Server, r *http.Request, machine string) func(context.Context, io.Writer) error {
		if s.Labels == nil {
			return nil
		}
		return func(ctx context.Context, out io.Writer) error {
			return s.Labels(ctx, out, machine, s.base(r), r.URL.Query().Get("layout"))
		}
	})
)

// base is how people reach this server.
func (s *Server) base(r *http.Request) string {
	if base := strings.TrimSuffix(s.BaseURL, "/"); base != "" {
		return base
	}
	scheme := "http://"
	if infoOf(r).https {
		scheme = "https://"
	}
	return scheme + r.Host // which knownHost has found to be ours
}

// pageTag is where the code on a label leads: the removed part's record.
func pageTag(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	part, err := movedPart(report, r)
	if err != nil {
		return nil, err
	}
	return seeOther("/machines/" + report.Machine.ID + "/work#" + part.ID), nil
}

func apiCard(s *Server, r *http.Request) (answer, error) {
	id, _, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	card, err := s.Workshop.Card(r.Context(), id, chi.URLParam(r, "option"))
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: card}, nil
}
