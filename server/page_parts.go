package server

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// PartsPage lists what must be in hand, and says whether to wait or to buy.
type PartsPage struct {
	Base
	Report *workshop.Report
	Parts  *workshop.PartsReport
	Names  names
	// Log records a look, Stock a part that came in.
	Log, Stock Form
	// Buy asks up to what price to buy; Bought is the answer, Refused why there
	// is none.
	Buy     Form
	Bought  *workshop.SearchReport
	Prices  []string // of each year
	SumTo   string   // of the sum of Bought
	Refused string
}

func searchForm(report *workshop.Report) Form {
	return Form{Action: "/machines/" + report.Machine.ID + "/parts", Button: "Log this look", Key: newKey(), Hidden: []Hidden{{"record", "search"}},
		Parts: []FormPart{{Fields: []Field{
			{Name: "what", Label: "What was looked for", Hint: "In the words of the list above.", Kind: "text", Pointers: []string{"/what"}},
			{Name: "where", Label: "Where", Kind: "text", Pointers: []string{"/where"}},
			{Name: "found", Label: "Was one on offer?", Kind: "radios", Choices: []Choice{{"no", "No", "a look that found nothing counts too"}, {"yes", "Yes", ""}}, Pointers: []string{"/found"}},
			{Name: "asked", Label: "What was asked for it", Hint: "May stay empty.", Kind: "money", Pointers: []string{"/asked"}},
			{Name: "valid", Label: "When", Kind: "short", Hint: "A day such as 2026-03-14, or a span such as 2017-04/2025-04 in which somebody kept looking. Empty means today.", Pointers: []string{"/valid"}},
			byField(report, "Who looked"),
		}}}}
}

func stockForm(report *workshop.Report) Form {
	return Form{Action: "/machines/" + report.Machine.ID + "/parts", Button: "Put it into stock", Key: newKey(), Hidden: []Hidden{{"record", "stock"}},
		Parts: []FormPart{{Fields: []Field{
			{Name: "what", Label: "What it is", Of: "stock", Hint: "In the words of the list above; then it counts as in hand.", Kind: "text", Pointers: []string{"/what"}},
			{Name: "number", Label: "Part number", Of: "stock", Kind: "short", Pointers: []string{"/number"}},
			{Name: "origin", Label: "Where it came from in kind", Of: "stock", Kind: "select", Choices: choices(registry.Origins()), Pointers: []string{"/origin"}},
			{Name: "source", Label: "Who let it go, and where", Of: "stock", Kind: "text", Pointers: []string{"/source"}},
			{Name: "paid", Label: "What it cost", Of: "stock", Kind: "money", Pointers: []string{"/paid"}},
			{Name: "evidence", Label: "What speaks for where it came from", Of: "stock", Hint: "A part of new old stock or off a donor is fitted only with evidence.", Kind: "checks", Choices: evidenceChoices(report), Pointers: []string{"/evidence"}},
			byOf(report, "Who took it in", "stock"),
		}}}}
}

func byOf(report *workshop.Report, label, of string) Field {
	f := byField(report, label)
	f.Of = of
	return f
}

func evidenceChoices(report *workshop.Report) []Choice {
	var out []Choice
	for _, e := range report.Evidence {
		if e.Live {
			out = append(out, Choice{e.ID, upperFirst(plainWords(e.Kind)) + ": " + e.Says, ""})
		}
	}
	return out
}

func buyForm(report *workshop.Report, parts *workshop.PartsReport) Form {
	var wanted []Choice
	seen := map[string]bool{}
	for _, p := range parts.Parts {
		if !p.InHand && !seen[p.What] {
			seen[p.What] = true
			wanted = append(wanted, Choice{p.What, upperFirst(p.What), ""})
		}
	}
	return Form{Action: "/machines/" + report.Machine.ID + "/parts", Button: "Work it out", Parts: []FormPart{{Fields: []Field{
		{Name: "buy", Label: "For which part", Kind: "select", Choices: wanted, Pointers: []string{"/what"}},
		{Name: "substitute", Label: "What is paid in the end if none turns up", Hint: "For the substitute, with the originality that it loses if that has a price.", Kind: "short", Pointers: []string{"/buy/substitute"}},
		{Name: "waiting", Label: "What a year without it costs", Kind: "short", Value: "0", Pointers: []string{"/buy/waiting"}},
		{Name: "discount", Label: "Yearly rate by which later money counts less", Kind: "short", Value: "0.03", Pointers: []string{"/buy/discount"}},
		{Name: "years", Label: "Years until the substitute is taken", Kind: "short", Value: "5", Unit: "years", Pointers: []string{"/buy/years"}},
	}}}}
}

func (s *Server) partsPage(r *http.Request, report *workshop.Report) (PartsPage, error) {
	parts, err := s.Workshop.Parts(r.Context(), report.Machine.ID, 0)
	if err != nil {
		return PartsPage{}, err
	}
	return PartsPage{Base: s.basis(report, "parts", "What must be in hand"), Report: report, Parts: parts, Names: namesOf(report),
		Log: searchForm(report), Stock: stockForm(report), Buy: buyForm(report, parts)}, nil
}

func pageParts(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	page, err := s.partsPage(r, report)
	if err != nil {
		return nil, err
	}
	page.Notice = noticeOf(r)
	t := &typed{Values: r.URL.Query(), comma: decimalComma(r)}
	if t.text("buy") == "" && t.text("substitute") == "" {
		return htmlAnswer{name: "needed", page: page}, nil
	}
	page.Buy.fill(t.Values)
	q := readBuyForm(t)
	wrong := t.err()
	if wrong == nil {
		page.Bought, wrong = s.Workshop.Buy(r.Context(), report.Machine.ID, q)
	}
	switch {
	case wrong == nil:
		for i, p := range page.Bought.Result.Buy.Reservation {
			page.Prices = append(page.Prices, fmt.Sprintf("year %d: up to %.0f %s", i+1, p, page.Bought.Asked[0].Currency))
		}
		page.SumTo = "/machines/" + report.Machine.ID + "/sum/buy?" + r.URL.Query().Encode()
		return htmlAnswer{name: "needed", page: page}, nil
	case !mendable(wrong):
		return nil, wrong
	case codeOf(wrong) == registry.CodeInsufficient:
		var e *registry.Error
		errors.As(wrong, &e)
		page.Refused = sentence(e.Message, e.Fix)
		return htmlAnswer{name: "needed", page: page}, nil
	}
	page.Wrong = true
	page.Buy.refuse(wrong)
	return htmlAnswer{status: http.StatusUnprocessableEntity, name: "needed", page: page}, nil
}

func readBuyForm(t *typed) workshop.BuyQuestion {
	q := workshop.BuyQuestion{What: t.text("buy"), Substitute: t.given("substitute", "/buy/substitute", "the currency of the log"), Waiting: t.number("waiting", "/buy/waiting", "the same currency"),
		Discount: t.number("discount", "/buy/discount", "a share, 0.03 for 3 %"), Years: int(t.given("years", "/buy/years", "whole years"))}
	if q.What == "" {
		t.fault("/what", "", "It is not said for which part", "Choose one of the list.")
	}
	return q
}

// pagePartsPost records a look or a part that came in.
func pagePartsPost(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	page, err := s.partsPage(r, report)
	if err != nil {
		return nil, err
	}
	var body registry.Body
	form := &page.Log
	if t.text("record") == "stock" {
		form = &page.Stock
		p := &registry.StockPart{What: t.text("what"), Number: t.text("number"), Origin: t.text("origin"), Source: t.text("source"), Evidence: t.list("evidence"), By: t.text("by")}
		if t.text("paid") != "" {
			p.Paid = t.money("paid", "/paid")
		}
		body = p
	} else {
		l := &registry.Search{Common: registry.Common{Valid: registry.Date(t.text("valid"))}, What: t.text("what"), Where: t.text("where"), Found: t.text("found") == "yes", By: t.text("by")}
		if t.text("found") == "" {
			t.fault("/found", "", "It is not said whether one was on offer", "Choose yes or no.")
		}
		if t.text("asked") != "" {
			l.Asked = t.money("asked", "/asked")
		}
		body = l
	}
	form.fill(t.Values)
	err = t.err()
	var receipt workshop.Receipt
	if err == nil {
		receipt, err = s.Workshop.Record(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Key: t.text("key")}, body)
	}
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		page.Wrong = true
		form.refuse(err)
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "needed", page: page}, nil
	}
	return seeOther("/machines/" + report.Machine.ID + "/parts?recorded=" + firstID(receipt)), nil
}

func apiParts(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	ahead := 0.0
	if given := r.URL.Query().Get("ahead"); given != "" {
		if ahead, err = strconv.ParseFloat(given, 64); err != nil {
			return nil, registry.Refuse(registry.CodeInvalid, "Write a number of years.", "%s is no number of years to look ahead", quoted(given))
		}
	}
	tag := versionTag(version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	parts, err := s.Workshop.Parts(r.Context(), id, ahead)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: parts, etag: tag}, nil
}
