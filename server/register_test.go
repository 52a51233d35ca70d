package server

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// stray takes a second machine in with a frame number that looks like one on
// record.
func (b *bench) stray(machine, number string) {
	b.t.Helper()
	_, err := b.w.Record(context.Background(), workshop.Request{Machine: machine, Actor: "custodian"},
		&registry.Machine{Common: id("machine"), Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true, Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: number}}}},
		&registry.Person{Common: id("custodian"), Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}},
		&registry.Person{Common: id("owner"), Role: "owner", Name: registry.Private{Value: "Ansel Brandt"}})
	require.NoError(b.t, err)
}

func TestSharedNumbersOnPages(t *testing.T) {
	b := newBench(t)
	b.stray("first", "SK 6018")
	require.NotContains(t, b.get("/machines/first").Body.String(), "stands on another machine too")
	tag := b.get("/machines/first").Header().Get("ETag")
	b.stray("second", "SK 6O18")
	rec := b.get("/machines/first")
	require.Contains(t, readPage(t, rec.Body.String()).text(), "1 number of this machine stands on another machine too")
	require.NotEqual(t, tag, rec.Header().Get("ETag"), "the page of one machine changes with another")
	require.NotContains(t, b.get("/machines/first?public=1").Body.String(), "stands on another machine too")

	page := readPage(t, b.get("/duplicates").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "one character apart, and the two look alike")
	require.Contains(t, page.text(), "SK 6O18")
	require.Contains(t, b.get("/").Body.String(), `href="/duplicates"`)

	page = readPage(t, b.get("/machines/second/register").Body.String())
	page.landmarks()
	q := url.Values{"key": {"k1"}, "version": {"3"}, "shared": {"frame first"}, "says": {"one-is-wrong"}, "why": {"The stamping shows a nought."}, "by": {"custodian"}}
	bad := url.Values{}
	for k, v := range q {
		bad[k] = v
	}
	bad.Set("shared", "frame nobody")
	rec = b.post("/machines/second/register/number", bad.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "The stamping shows a nought.", "nothing typed is lost")
	rec = b.post("/machines/second/register/number", q.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Contains(t, readPage(t, b.get("/duplicates").Body.String()).text(), "One of the two is wrong. The stamping shows a nought. Recorded on")
	require.NotContains(t, b.get("/machines/first").Body.String(), "stands on another machine too", "what is settled cautions nobody")

	var list workshop.DuplicatesList
	b.json("/api/v1/duplicates", &list)
	require.Equal(t, workshop.SureAlike, list.Duplicates[0].Sure)
	b.json("/api/v1/machines/first/duplicates", &list)
	require.Zero(t, list.Open)
}

func (b *bench) json(path string, v any) {
	b.t.Helper()
	rec := b.get(path)
	require.Equal(b.t, http.StatusOK, rec.Code, rec.Body.String())
	require.NoError(b.t, json.Unmarshal(rec.Body.Bytes(), v))
}

func TestPermissionsOnPages(t *testing.T) {
	b := newBench(t)
	b.stray("first", "SK 6018")
	q := url.Values{"key": {"k1"}, "version": {"3"}, "for": {"share-sales"}, "prices": {"yes"}, "given_by": {"owner"}, "how": {"by letter"}, "by": {"custodian"}}
	rec := b.post("/machines/first/register/permit", q.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	text := readPage(t, b.get("/machines/first/register").Body.String()).text()
	require.Contains(t, text, "may be used for other machines, with their prices")
	d, err := b.w.Load(context.Background(), "first", workshop.At{})
	require.NoError(t, err)
	p, ok := d.Permitted(registry.ForSharingSales)
	require.True(t, ok)
	rec = b.post("/machines/first/register/stop", url.Values{"key": {"k2"}, "version": {"4"}, "permission": {p.RecordID()}, "why": {""}, "by": {"custodian"}}.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	rec = b.post("/machines/first/register/stop", url.Values{"key": {"k3"}, "version": {"4"}, "permission": {p.RecordID()}, "why": {"he wishes it"}, "by": {"custodian"}}.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.Contains(t, b.get("/machines/first/register").Body.String(), "Nothing beyond the care of the machine is permitted")
	require.Equal(t, http.StatusNotFound, b.post("/machines/first/register/stop", url.Values{"key": {"k4"}, "version": {"5"}, "permission": {p.RecordID()}, "why": {"again"}, "by": {"custodian"}}.Encode()).Code)
}

// Sales of another machine are offered on the value page, and its tag changes
// when the permission is taken back.
func TestSharedSalesOnTheValuePage(t *testing.T) {
	b := drover(t)
	b.stray("first", "SK 6018")
	price, err := registry.ParseMoney("9100", "GBP")
	require.NoError(t, err)
	do := func(body registry.Body) {
		_, err := b.w.Record(context.Background(), workshop.Request{Machine: "first", Actor: "custodian"}, body)
		require.NoError(t, err)
	}
	do(&registry.ComparableSale{Common: registry.Common{ID: "v-1", Valid: "2026-01-11"}, Source: "an invented list", PriceKind: "hammer", Price: price, Make: "Skerrow Engineering", Model: "Drover 350"})
	at := "/machines/drover-1957/value"
	require.NotContains(t, b.get(at).Body.String(), "first/v-1")
	do(&registry.Permission{Common: id("leave"), For: registry.ForSharingSales, GivenBy: "owner", How: "by letter", Prices: true, By: "custodian"})
	rec := b.get(at)
	require.Contains(t, rec.Body.String(), `value="first/v-1"`)
	var list SharedSaleList
	b.json("/api/v1/machines/drover-1957/shared-sales", &list)
	require.Equal(t, "first/v-1", list.Sales[0].ID)
	do(&registry.Withdrawal{Common: id("back"), Record: "leave", Why: "he wishes it", By: "custodian"})
	again := b.get(at)
	require.NotContains(t, again.Body.String(), "first/v-1")
	require.NotEqual(t, rec.Header().Get("ETag"), again.Header().Get("ETag"))
}

func TestStatisticsPage(t *testing.T) {
	b := withPeople(t)
	for i := range 6 {
		b.stray(fmt.Sprintf("m-%d", i), fmt.Sprintf("SK %d", 6100+i))
	}
	keeper := b.join("The keeper", "keeper")
	reader := b.join("A reader", "reader")
	one := b.join("One owner", "owner@drover-1957")
	page := func(c *http.Cookie, path string) (int, parsed) {
		rec := b.askAs(c, "GET", path, "", "")
		return rec.Code, readPage(t, rec.Body.String())
	}
	_, p := page(keeper, "/statistics")
	p.landmarks()
	require.Contains(t, p.text(), "Invented Heron", "the keeper sees every model")
	_, p = page(reader, "/statistics")
	require.NotContains(t, p.text(), "Heron", "one machine is no group")
	require.Contains(t, p.text(), "Models, decades and phases of fewer than 5 machines are told together")
	_, p = page(reader, "/statistics?make=Invented&model=Heron")
	require.Contains(t, p.text(), "would tell of single machines")
	code, _ := page(one, "/statistics")
	require.Equal(t, http.StatusForbidden, code)
	code, _ = page(reader, "/duplicates")
	require.Equal(t, http.StatusForbidden, code, "whole numbers")
	rec := b.askAs(reader, "GET", "/api/v1/statistics", "", "")
	require.Equal(t, http.StatusOK, rec.Code)
	require.Contains(t, rec.Body.String(), `"least_group":5`)
	require.False(t, strings.Contains(rec.Body.String(), "Heron"))
}

func TestHandingOverOnPages(t *testing.T) {
	b := newBench(t)
	b.w.Registry, b.s.KeyFingerprint = "registry.example/here", "12ab 34cd 56ef 7890"
	b.s.HandOver = func(_ context.Context, out io.Writer, machine string) error {
		_, err := io.WriteString(out, "the bundle of "+machine)
		return err
	}
	b.stray("first", "SK 6018")
	require.Equal(t, http.StatusConflict, b.get("/machines/first/handed-over.zip").Code, "not handed over yet")
	rec := b.post("/machines/first/register/hand-over", url.Values{"key": {"k1"}, "version": {"3"}, "because": {""}}.Encode())
	require.Equal(t, http.StatusConflict, rec.Code, rec.Body.String())
	require.Contains(t, readPage(t, rec.Body.String()).text(), "The owner has not permitted")
	rec = b.post("/machines/first/register/hand-over", url.Values{"key": {"k2"}, "version": {"3"}, "because": {"sold"}}.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	page := readPage(t, b.get("/machines/first/register").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "is kept on elsewhere")
	require.Contains(t, page.text(), "12ab 34cd 56ef 7890", "the other registry must be told it")
	require.Contains(t, b.get("/machines/first").Body.String(), "is kept on elsewhere")
	rec = b.get("/machines/first/handed-over.zip")
	require.Equal(t, http.StatusOK, rec.Code)
	require.Equal(t, "the bundle of first", rec.Body.String())
	rec = b.post("/machines/first/register/take-back", url.Values{"key": {"k3"}, "version": {"4"}, "why": {"not sold"}}.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code, rec.Body.String())
	require.NotContains(t, b.get("/machines/first/register").Body.String(), "is kept on elsewhere")
}

// TestTransfersForPrograms: what pages do to a record that goes, a program can do.
func TestTransfersForPrograms(t *testing.T) {
	b := newBench(t)
	b.w.Registry = "registry.example/here"
	b.s.HandOver = func(_ context.Context, out io.Writer, machine string) error {
		_, err := io.WriteString(out, "the bundle of "+machine)
		return err
	}
	type confirmed struct{ machine, receipt, trust string }
	var got confirmed
	b.s.ConfirmTransfer = func(_ context.Context, machine string, receipt []byte, trust string) (workshop.Receipt, error) {
		if got = (confirmed{machine, string(receipt), trust}); trust == "0000" {
			return workshop.Receipt{}, SentAtFault(&registry.Error{Code: registry.CodeTampered, Message: "The receipt was changed"})
		}
		return workshop.Receipt{Machine: machine, Version: 5}, nil
	}
	b.stray("first", "SK 6018")
	const at = "/api/v1/machines/first/transfer"
	require.Equal(t, http.StatusConflict, b.get(at+"/bundle").Code, "not handed over yet")
	require.Equal(t, http.StatusPreconditionRequired, b.send(at, `{"because":"sold"}`).Code)
	require.Equal(t, problemBase+"not-approved", problemIn(t, b.send(at, `{"by":"custodian"}`, "If-Match", versionTag(3))).Type)
	out := b.send(at, `{"because":"sold","by":"custodian"}`, "If-Match", versionTag(3))
	require.Equal(t, http.StatusCreated, out.Code, out.Body.String())
	require.Equal(t, versionTag(4), out.Header().Get("ETag"))
	bundle := b.get(at + "/bundle")
	require.Equal(t, "the bundle of first", bundle.Body.String())
	require.Equal(t, "application/zip", bundle.Header().Get("Content-Type"))

	bad := b.send(at+"/receipt", `{"receipt":{"format":"x"},"trust":"0000"}`)
	require.Equal(t, http.StatusUnprocessableEntity, bad.Code, "what is stored here is not at fault")
	good := b.send(at+"/receipt", `{"receipt":{"format":"x"},"trust":"12ab"}`)
	require.Equal(t, http.StatusCreated, good.Code, good.Body.String())
	require.Equal(t, confirmed{"first", `{"format":"x"}`, "12ab"}, got)
	page := readPage(t, b.get("/machines/first/register").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "Record its receipt")
	again := b.post("/machines/first/register/confirm", url.Values{"key": {"k5"}, "version": {"4"}, "receipt": {"{ }"}, "expected": {""}}.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, again.Code)
	require.Contains(t, readPage(t, again.Body.String()).text(), "anybody could have made the receipt")
	done := b.post("/machines/first/register/confirm", url.Values{"key": {"k6"}, "version": {"4"}, "receipt": {`{"format":"y"}`}, "expected": {"34cd"}}.Encode())
	require.Equal(t, http.StatusSeeOther, done.Code, done.Body.String())
	require.Equal(t, confirmed{"first", `{"format":"y"}`, "34cd"}, got)

	back := b.send(at+"/end", `{"why":"not sold","by":"custodian"}`, "If-Match", versionTag(4))
	require.Equal(t, http.StatusCreated, back.Code, back.Body.String())
	require.NotContains(t, b.get("/machines/first").Body.String(), "is kept on elsewhere")

	b.s.TakeOver = func(_ context.Context, q TakeOverQuestion) (*TakeOverAnswer, error) {
		raw, err := io.ReadAll(io.NewSectionReader(q.Bundle, 0, q.Size))
		return &TakeOverAnswer{Machine: string(raw), Fingerprint: q.Trust, Lacks: []string{}}, err
	}
	sent := func(path string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodPost, path, strings.NewReader("vole"))
		r.Header.Set("Content-Type", "application/zip")
		return b.ask(r)
	}
	require.Equal(t, http.StatusUnprocessableEntity, sent("/api/v1/take-over").Code)
	in := sent("/api/v1/take-over?trust=12ab")
	require.Equal(t, http.StatusCreated, in.Code, in.Body.String())
	require.JSONEq(t, `{"machine":"vole","from":"","fingerprint":"12ab","events":0,"lacks":[],"repeated":false}`, in.Body.String())
	require.Equal(t, "/api/v1/machines/vole", in.Header().Get("Location"))
}

func TestTakingOverOnAPage(t *testing.T) {
	b := newBench(t)
	var asked TakeOverQuestion
	b.s.TakeOver = func(_ context.Context, q TakeOverQuestion) (*TakeOverAnswer, error) {
		if asked = q; q.Trust == "0000" {
			return nil, registry.Refuse(registry.CodeRefused, "Ask that registry.", "The bundle is signed by somebody else")
		}
		return &TakeOverAnswer{Machine: "vole", From: "there/vole", Fingerprint: "12ab 34cd 56ef 7890", Events: 3, Lacks: []string{"skerrow 1.0.0"}}, nil
	}
	send := func(trust, bundle string) (int, parsed) {
		var body bytes.Buffer
		w := multipart.NewWriter(&body)
		part, err := w.CreateFormFile("bundle", "vole.zip")
		require.NoError(t, err)
		_, err = io.WriteString(part, bundle)
		require.NoError(t, err)
		require.NoError(t, w.WriteField("expected", trust))
		require.NoError(t, w.Close())
		r := httptest.NewRequest(http.MethodPost, "/take-over", &body)
		r.Header.Set("Content-Type", w.FormDataContentType())
		rec := b.ask(r)
		return rec.Code, readPage(t, rec.Body.String())
	}
	readPage(t, b.get("/take-over").Body.String()).landmarks()
	code, page := send("", "zip")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, page.text(), "anybody could have made the bundle")
	code, page = send("0000", "zip")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, page.text(), "signed by somebody else")
	code, _ = send("12ab", "")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	code, page = send("12ab", "zip")
	require.Equal(t, http.StatusOK, code)
	page.landmarks()
	require.Equal(t, int64(3), asked.Size)
	require.Contains(t, page.text(), "3 events were taken over as the same bytes.")
	require.Contains(t, page.text(), "skerrow 1.0.0")
}

// TestNumbersAgainstAPack holds a machine's numbers against the ranges of a pack:
// an inner, an outer, a doubtful one, and none for who may not see them.
func TestNumbersAgainstAPack(t *testing.T) {
	b := newBench(t)
	for _, machine := range []struct{ id, frame string }{{"inner", "SK 6018"}, {"outer", "SK 7018"}, {"open", "SK ????????????"}} {
		b.stray(machine.id, machine.frame)
	}
	_, err := b.w.Record(t.Context(), workshop.Request{Machine: "doubtful", Actor: "custodian"},
		&registry.Machine{Common: id("machine"), Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true, Numbers: []registry.Number{
			{Where: "Frame", AsRead: registry.Private{Value: "SK6918"}, Doubtful: []registry.DoubtfulCharacter{{Place: 3, Readings: []string{"6", "8"}}}},
			{Where: "registration", AsRead: registry.Private{Value: "ORD 57"}}}})
	require.NoError(t, err)
	const heading = "what is known of the maker’s"
	require.NotContains(t, b.get("/machines/inner/register").Body.String(), heading, "the house knows no maker's numbers")

	b.w.Catalog, err = catalog.Load(fstest.MapFS{"manifest.json": {Data: []byte(`{"id": "skerrow", "version": "1.0.0", "title": "Numbers of an invented maker", "author": "nobody"}`)},
		"numbers.json": {Data: []byte(`{"source": "Dispatch books (invented).", "number_series": [{"id": "frames", "title": "frames", "make": "Skerrow Engineering", "where": "frame", "form": "SK####",
			"ranges": [{"type": "Drover 350", "first": 6000, "last": 6999, "from_year": 1956, "to_year": 1958}]}]}`)}})
	require.NoError(t, err)
	for machine, says := range map[string]string{
		"inner":    "range of the type? holds",
		"outer":    "range of the type? does not hold: frame: it has no range of the type",
		"doubtful": "it may be SK6918, SK8918",
		"open":     "No answer: ",
	} {
		page := readPage(t, b.get("/machines/"+machine+"/register").Body.String())
		page.landmarks()
		require.Contains(t, page.text(), heading, machine)
		require.Contains(t, page.text(), says, machine)
		require.NotContains(t, page.text(), "ORD 57", "no maker gives a registration")
	}
	public, err := b.w.Report(t.Context(), "doubtful", workshop.ReportOptions{Public: true})
	require.NoError(t, err)
	_, known, err := b.w.NumberLadder(public)
	require.NoError(t, err)
	require.False(t, known, "the public edition shows no number")
}
