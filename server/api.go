package server

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/schema"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// actorHeader names the person on whose behalf a program records, by id.
const actorHeader = "Asfound-Actor"

// MachineList is one page of the list of machines.
type MachineList struct {
	Machines []workshop.Summary `json:"machines"`
	// Next continues the list; absent at its end.
	Next string `json:"next,omitempty"`
}

// maxPage is how many machines one page of the list may hold.
const maxPage = 500

func apiMachines(s *Server, r *http.Request) (answer, error) {
	limit := 100
	if given := r.URL.Query().Get("limit"); given != "" {
		n, err := strconv.Atoi(given)
		if err != nil || n < 1 || n > maxPage {
			return nil, invalidQuery("/limit", given, "1 to "+itoa(maxPage), "The limit cannot be used")
		}
		limit = n
	}
	list, err := s.Workshop.Machines(r.Context(), r.URL.Query().Get("after"), limit+1)
	if err != nil {
		return nil, err
	}
	out := MachineList{Machines: list}
	a := jsonAnswer{}
	if len(list) > limit {
		out.Machines = list[:limit]
		out.Next = out.Machines[limit-1].ID
		a.link = "</api/v1/machines?limit=" + itoa(limit) + "&after=" + url.QueryEscape(out.Next) + `>; rel="next"`
	}
	a.value = out
	return a, nil
}

func invalidQuery(pointer, found, allowed, message string) error {
	return &registry.Error{Code: registry.CodeInvalid, Message: message, Fields: []registry.Field{{Pointer: pointer, Found: quoted(found), Allowed: allowed, Message: message}}}
}

// TakeIn is a new machine: its name in the registry, and its first records,
// the machine's own among them.
type TakeIn struct {
	Machine string            `json:"machine"`
	By      string            `json:"by"` // person id, of one of the records
	Records []json.RawMessage `json:"records"`
}

func apiTakeIn(s *Server, r *http.Request) (answer, error) {
	var in TakeIn
	if err := readJSON(r, &in); err != nil {
		return nil, err
	}
	raw, err := json.Marshal(in.Records)
	if err != nil {
		return nil, err
	}
	bodies, err := s.readRecords(raw)
	if err != nil {
		return nil, under("/records", err)
	}
	if bodies[0].Kind() != "machine" {
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: "A machine is taken in with its own record first", Fields: []registry.Field{{Pointer: "/records/0/record", Found: quoted(string(bodies[0].Kind())), Allowed: "machine", Message: "The first record is not the machine's"}}}
	}
	actor, err := actorOf(r, in.By, bodies)
	if err != nil {
		return nil, err
	}
	none := uint64(0)
	receipt, err := s.Workshop.Record(r.Context(), workshop.Request{Machine: in.Machine, Actor: actor, Expect: &none, Key: apiKey(r)}, bodies...)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{status: http.StatusCreated, value: receipt, location: "/api/v1/machines/" + in.Machine, etag: versionTag(receipt.Version)}, nil
}

// apiKey is the caller's key as it is bound to a commit.
func apiKey(r *http.Request) string {
	if key := r.Header.Get(keyHeader); key != "" {
		return "api " + key
	}
	return ""
}

// actorOf finds on whose behalf something is recorded: the header, what the
// body says, or who the records themselves name.
func actorOf(r *http.Request, given string, bodies []registry.Body) (string, error) {
	actor := r.Header.Get(actorHeader)
	if mine := infoOf(r).persons; actor == "" && len(mine) == 1 {
		actor = mine[0]
	}
	if actor == "" {
		actor = given
	}
	for _, b := range bodies {
		if actor != "" {
			break
		}
		raw, err := json.Marshal(b)
		if err != nil {
			return "", err
		}
		var named struct{ By, Person, Custodian string }
		if err := json.Unmarshal(raw, &named); err == nil {
			for _, who := range []string{named.By, named.Person, named.Custodian} {
				if actor == "" {
					actor = who
				}
			}
		}
	}
	if actor == "" {
		return "", &registry.Error{Code: registry.CodeInvalid, Message: "It is not said on whose behalf this is recorded",
			Fields: []registry.Field{{Pointer: "/by", Message: "No person is named", Fix: "Name a person of the record, in the records or in the header " + actorHeader + "."}}}
	}
	return actor, registry.CheckID("/by", actor)
}

func apiMachine(s *Server, r *http.Request) (answer, error) {
	id, err := machineID(r)
	if err != nil {
		return nil, err
	}
	o, err := edition(r.URL.Query())
	if err != nil {
		return nil, err
	}
	version, err := s.headOf(r, id)
	if err != nil {
		return nil, err
	}
	tag := versionTag(version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	report, err := s.reportOf(r, id, o)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{value: report, etag: versionTag(report.Version)}, nil
}

func apiComponent(s *Server, r *http.Request) (answer, error) {
	id, err := machineID(r)
	if err != nil {
		return nil, err
	}
	o, err := edition(r.URL.Query())
	if err != nil {
		return nil, err
	}
	report, err := s.reportOf(r, id, o)
	if err != nil {
		return nil, err
	}
	c, err := componentOf(report, chi.URLParam(r, "component"))
	if err != nil {
		return nil, err
	}
	tag := versionTag(report.Version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	return jsonAnswer{value: c, etag: tag}, nil
}

func apiEvents(s *Server, r *http.Request) (answer, error) {
	id, err := machineID(r)
	if err != nil {
		return nil, err
	}
	after := uint64(0)
	if given := r.URL.Query().Get("after"); given != "" {
		if after, err = strconv.ParseUint(given, 10, 64); err != nil {
			return nil, invalidQuery("/after", given, "a version, 0 or more", "This is not a version")
		}
	}
	version, err := s.headOf(r, id)
	if err != nil {
		return nil, err
	}
	tag := versionTag(version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	var b bytes.Buffer
	err = s.Workshop.Ledger.Read(r.Context(), id, after, func(rec registry.Record) error {
		for i, e := range rec.Events {
			if rec.First+uint64(i) > after {
				b.Write(e)
				b.WriteByte('\n')
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return bytesAnswer{mediaType: "application/jsonl", body: b.Bytes(), etag: tag}, nil
}

// readJSON reads the body strictly into v.
func readJSON(r *http.Request, v any) error {
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return readFailed(err)
	}
	return decodeStrict(data, v)
}

// maxRecords is how many records one request may hold.
const maxRecords = 2000

// readRecords reads one record, or a list of them, each with its kind under
// "record". Every fault of every record is named.
func (s *Server) readRecords(data []byte) ([]registry.Body, error) {
	if err := checkJSON(data); err != nil {
		return nil, err
	}
	var list []json.RawMessage
	single := !bytes.HasPrefix(bytes.TrimSpace(data), []byte("["))
	if single {
		list = []json.RawMessage{data}
	} else if err := json.Unmarshal(data, &list); err != nil {
		return nil, registry.Refuse(codeMalformed, "", "The list of records cannot be read")
	}
	switch {
	case len(list) == 0:
		return nil, registry.Refuse(registry.CodeInvalid, "Send at least one.", "There is no record")
	case len(list) > maxRecords:
		return nil, registry.Refuse(registry.CodeTooLarge, "Send them in several requests, or import a file.", "There are more than %d records", maxRecords)
	}
	var bodies []registry.Body
	var fields []registry.Field
	for i, raw := range list {
		pointer := ""
		if !single {
			pointer = "/" + itoa(i)
		}
		b, err := s.readRecord(raw)
		if err != nil {
			var e *registry.Error
			if !errors.As(err, &e) {
				return nil, err
			}
			if len(e.Fields) == 0 {
				fields = append(fields, registry.Field{Pointer: pointer, Message: e.Message, Fix: e.Fix})
			}
			for _, f := range e.Fields {
				f.Pointer = pointer + f.Pointer
				fields = append(fields, f)
			}
			continue
		}
		bodies = append(bodies, b)
	}
	if len(fields) > 0 {
		message := "The record cannot be taken"
		if !single {
			message = "Some of the records cannot be taken; nothing was recorded"
		}
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: message, Fix: "Mend what is named and send all of it again.", Fields: fields}
	}
	return bodies, nil
}

// readRecord reads one record: its kind under "record", then its fields.
func (s *Server) readRecord(raw json.RawMessage) (registry.Body, error) {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(raw, &fields); err != nil || fields == nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Write an object with its kind under \"record\".", "A record is a JSON object")
	}
	var kind string
	if err := json.Unmarshal(fields["record"], &kind); err != nil || registry.SchemaVersion(registry.Kind(kind)) == 0 {
		var kinds []string
		for _, k := range registry.Kinds() {
			kinds = append(kinds, string(k))
		}
		found := strings.Trim(string(fields["record"]), `"`)
		return nil, &registry.Error{Code: registry.CodeInvalid, Message: "It is not said of which kind the record is",
			Fields: []registry.Field{{Pointer: "/record", Found: quoted(found), Allowed: strings.Join(kinds, ", "), Message: "There is no such kind of record"}}}
	}
	delete(fields, "record")
	stripped, err := json.Marshal(fields)
	if err != nil {
		return nil, err
	}
	return s.Workshop.Decode(registry.Kind(kind), stripped)
}

// under puts a refusal's pointers below a place in the request.
func under(pointer string, err error) error {
	var e *registry.Error
	if !errors.As(err, &e) || len(e.Fields) == 0 {
		return err
	}
	moved := *e
	moved.Fields = nil
	for _, f := range e.Fields {
		f.Pointer = pointer + f.Pointer
		moved.Fields = append(moved.Fields, f)
	}
	return &moved
}

func fieldsOf(err error) []registry.Field {
	var e *registry.Error
	if errors.As(err, &e) {
		return e.Fields
	}
	return nil
}

// prepare checks what every act on a machine needs: its id and the version
// that the caller saw.
func (s *Server) prepare(r *http.Request) (string, *uint64, error) {
	id, err := machineID(r)
	if err != nil {
		return "", nil, err
	}
	seen, err := seenVersion(r)
	if err != nil {
		return "", nil, err
	}
	return id, seen, s.mustStand(r, id, seen)
}

func apiRecords(s *Server, r *http.Request) (answer, error) {
	id, seen, err := s.prepare(r)
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, readFailed(err)
	}
	bodies, err := s.readRecords(data)
	if err != nil {
		return nil, err
	}
	actor, err := s.actorOn(r, id, "", bodies)
	if err != nil {
		return nil, err
	}
	receipt, err := s.Workshop.Record(r.Context(), workshop.Request{Machine: id, Actor: actor, Expect: seen, Key: apiKey(r)}, bodies...)
	if err != nil {
		return nil, s.staleWhen(r, id, seen, err)
	}
	return created(receipt, id), nil
}

func created(receipt workshop.Receipt, id string) answer {
	return jsonAnswer{status: http.StatusCreated, value: receipt, etag: versionTag(receipt.Version), location: "/api/v1/machines/" + id}
}

// actorOn is actorOf with the custodian of the machine where nobody is named.
func (s *Server) actorOn(r *http.Request, machine, given string, bodies []registry.Body) (string, error) {
	actor, err := actorOf(r, given, bodies)
	if err == nil {
		return actor, nil
	}
	d, loadErr := s.Workshop.Load(r.Context(), machine, workshop.At{})
	if loadErr != nil {
		return "", loadErr
	}
	if a, ok := d.Agreement(); ok && r.Header.Get(actorHeader) == "" && given == "" {
		return a.Custodian, nil
	}
	return "", err
}

func apiSeal(s *Server, r *http.Request) (answer, error) {
	id, seen, err := s.prepare(r)
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, readFailed(err)
	}
	if err := checkJSON(data); err != nil {
		return nil, err
	}
	body, err := s.Workshop.Decode("survey-seal", data)
	if err != nil {
		return nil, err
	}
	seal := body.(*registry.SurveySeal)
	actor, err := s.actorOn(r, id, seal.By, nil)
	if err != nil {
		return nil, err
	}
	receipt, err := s.Workshop.SealSurvey(r.Context(), workshop.Request{Machine: id, Actor: actor, Expect: seen, Key: apiKey(r)}, *seal)
	if err != nil {
		return nil, s.staleWhen(r, id, seen, err)
	}
	return created(receipt, id), nil
}

// WeighRequest asks what options do to the indices.
type WeighRequest struct {
	Options []string `json:"options"` // all of the machine's when empty
	// Record keeps the result as a weighing.
	Record bool   `json:"record,omitempty"`
	By     string `json:"by,omitempty"`
}

// Weighed answers a WeighRequest.
type Weighed struct {
	Options []workshop.OptionReport `json:"options"`
	Receipt *workshop.Receipt       `json:"receipt,omitempty"`
}

func apiWeigh(s *Server, r *http.Request) (answer, error) {
	var in WeighRequest
	if err := readJSON(r, &in); err != nil {
		return nil, err
	}
	id, err := machineID(r)
	if err != nil {
		return nil, err
	}
	if !in.Record {
		options, _, err := s.Workshop.Weigh(r.Context(), workshop.Request{Machine: id, Actor: in.By}, in.Options, false)
		if err != nil {
			return nil, err
		}
		return jsonAnswer{value: Weighed{Options: options}}, nil
	}
	id, seen, err := s.prepare(r)
	if err != nil {
		return nil, err
	}
	actor, err := s.actorOn(r, id, in.By, nil)
	if err != nil {
		return nil, err
	}
	options, receipt, err := s.Workshop.Weigh(r.Context(), workshop.Request{Machine: id, Actor: actor, Expect: seen, Key: apiKey(r)}, in.Options, true)
	if err != nil {
		return nil, s.staleWhen(r, id, seen, err)
	}
	return jsonAnswer{status: http.StatusCreated, value: Weighed{options, &receipt}, etag: versionTag(receipt.Version)}, nil
}

// ProposeRequest puts options to the owner.
type ProposeRequest struct {
	ID          string   `json:"id,omitempty"`
	To          string   `json:"to"` // person id
	By          string   `json:"by"`
	Options     []string `json:"options"`
	Recommended []string `json:"recommended"`
	// Ceiling is what is enough with a chance of 80 % when left out.
	Ceiling   registry.Money `json:"ceiling,omitzero"`
	Expires   time.Time      `json:"expires"`
	DoNothing string         `json:"do_nothing,omitempty"`
	// Value, when given, shows the owner what the recommended options do to the
	// value.
	Value *workshop.ValueQuestion `json:"value,omitempty"`
	// Amends and Found, both set, make it a change request.
	Amends     string `json:"amends,omitempty"`
	Found      string `json:"found,omitempty"`
	Supersedes string `json:"supersedes,omitempty"`
}

// ProposedAnswer is a new proposal with its link, which is told once.
type ProposedAnswer struct {
	workshop.Proposed
	Link string `json:"link"`
}

func apiPropose(s *Server, r *http.Request) (answer, error) {
	id, seen, err := s.prepare(r)
	if err != nil {
		return nil, err
	}
	var in ProposeRequest
	if err := readJSON(r, &in); err != nil {
		return nil, err
	}
	actor, err := s.actorOn(r, id, in.By, nil)
	if err != nil {
		return nil, err
	}
	if in.Recommended == nil {
		in.Recommended = []string{}
	}
	made, err := s.Workshop.Propose(r.Context(), workshop.Request{Machine: id, Actor: actor, Expect: seen, Key: apiKey(r)}, workshop.ProposeInput{
		ID: in.ID, To: in.To, By: in.By, Options: in.Options, Recommended: in.Recommended, Ceiling: in.Ceiling, Expires: in.Expires,
		DoNothing: in.DoNothing, Value: in.Value, Amends: in.Amends, Found: in.Found, Supersedes: in.Supersedes})
	if err != nil {
		return nil, s.staleWhen(r, id, seen, err)
	}
	out := ProposedAnswer{Proposed: made, Link: s.ownerLink(r, made.Token)}
	if made.Receipt.Repeated || made.Token == "" {
		// What was recorded has the link of the first try, or one that is out.
		out.Token, out.Link = "", ""
	}
	return jsonAnswer{status: http.StatusCreated, value: out, location: "/machines/" + id + "/proposals/" + made.ID, etag: versionTag(made.Receipt.Version), secret: true}, nil
}

// photoFields are what comes with an uploaded picture, as JSON in the part
// "photo".
func apiPhotoPost(s *Server, r *http.Request) (answer, error) {
	id, _, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	if err := r.ParseMultipartForm(8 << 20); err != nil {
		return nil, readFailed(err)
	}
	defer r.MultipartForm.RemoveAll()
	file, head, err := r.FormFile("file")
	if err != nil {
		return nil, registry.Refuse(codeMalformed, "Send the picture in the part \"file\".", "There is no picture in the request")
	}
	defer file.Close()
	var in PhotoRequest
	if given := r.FormValue("photo"); given != "" {
		if err := decodeStrict([]byte(given), &in); err != nil {
			return nil, err
		}
	}
	actor, err := s.actorOn(r, id, in.By, nil)
	if err != nil {
		return nil, err
	}
	record, err := s.keepPhoto(r, workshop.Request{Machine: id, Actor: actor, Key: apiKey(r)}, registry.Photo{
		Common: registry.Common{ID: in.ID, Valid: in.Valid}, Digest: in.Digest, Shows: in.Shows, Components: in.Components, Openings: in.Openings,
		Caption: in.Caption, Scale: in.Scale, Withhold: in.Withhold, By: actor, FileName: head.Filename}, file)
	if err != nil {
		return nil, err
	}
	version, err := s.headOf(r, id)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{status: http.StatusCreated, value: PhotoKept{ID: record, Machine: id, Version: version}, etag: versionTag(version)}, nil
}

// PhotoRequest describes an uploaded picture.
type PhotoRequest struct {
	ID         string        `json:"id,omitempty"`
	Valid      registry.Date `json:"valid,omitempty"`
	Digest     string        `json:"digest,omitempty"` // of the bytes as they were sent, to be compared
	Shows      string        `json:"shows"`
	Components []string      `json:"components,omitempty"`
	Openings   []string      `json:"openings,omitempty"`
	Caption    string        `json:"caption,omitempty"`
	Scale      string        `json:"scale,omitempty"`
	Withhold   bool          `json:"withhold,omitempty"`
	By         string        `json:"by,omitempty"`
}

// PhotoKept answers an upload. ID is empty when the same upload had been kept
// before.
type PhotoKept struct {
	ID      string `json:"id"`
	Machine string `json:"machine"`
	Version uint64 `json:"version"`
}

// apiPhoto sends stored bytes under their digest, always as a file.
func apiPhoto(s *Server, r *http.Request) (answer, error) {
	digest, err := digestParam(r)
	if err != nil {
		return nil, err
	}
	body, size, err := s.Workshop.Photos.Get(r.Context(), digest)
	if err != nil {
		return nil, err
	}
	return streamAnswer{mediaType: "application/octet-stream", from: body, size: size, attachment: hexOf(digest)[:16] + ".bin", forever: true}, nil
}

// apiCalc runs one method on the JSON that the body holds.
func apiCalc(s *Server, r *http.Request) (answer, error) {
	asked := chi.URLParam(r, "method")
	name := ""
	var known []string
	for _, m := range scoring.Methods() {
		base, _, _ := strings.Cut(m.Name, "/")
		if base == asked {
			name = m.Name // the newest stands last
		}
		if !contains(known, base) {
			known = append(known, base)
		}
	}
	if name == "" {
		return nil, registry.Refuse(registry.CodeNotFound, "Use one of "+strings.Join(known, ", ")+".", "There is no method %s", quoted(asked))
	}
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, readFailed(err)
	}
	if err := checkJSON(data); err != nil {
		return nil, err
	}
	if data, err = s.Workshop.Catalog.Supply(name, data); err != nil {
		return nil, err
	}
	result, err := scoring.Run(name, data)
	if err != nil {
		return nil, err
	}
	return bytesAnswer{mediaType: "application/json", body: append(result, '\n'), header: map[string]string{"Asfound-Method": name}}, nil
}

// maxBundle is the largest bundle that is checked, in bytes.
const maxBundle = 512 << 20

// apiVerify checks an uploaded bundle. It lies in a temporary file meanwhile.
func apiVerify(s *Server, r *http.Request) (answer, error) {
	if s.Verify == nil {
		return nil, notOffered("Checking bundles")
	}
	f, size, err := spooled(r)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	findings, err := s.Verify(r.Context(), f, size)
	if err != nil {
		return nil, SentAtFault(err)
	}
	return jsonAnswer{value: findings}, nil
}

// spooled brings the body to a file that lasts as long as it is open.
func spooled(r *http.Request) (f *os.File, size int64, err error) {
	if f, err = nameless(); err != nil {
		return nil, 0, err
	}
	if size, err = io.Copy(f, r.Body); err != nil {
		_ = f.Close()
		return nil, 0, readFailed(err)
	}
	return f, size, nil
}

// nameless makes a file that lasts as long as it is open.
func nameless() (*os.File, error) {
	f, err := os.CreateTemp("", "asfound-*")
	if err != nil {
		return nil, err
	}
	if err := os.Remove(f.Name()); err != nil {
		_ = f.Close()
		return nil, err
	}
	return f, nil
}

// SchemaList names the JSON Schemas.
type SchemaList struct {
	Schemas []string `json:"schemas"`
}

func apiSchemas(*Server, *http.Request) (answer, error) {
	names, err := fs.Glob(schema.Schemas(), "*.schema.json")
	return jsonAnswer{value: SchemaList{names}}, err
}

func apiSchema(_ *Server, r *http.Request) (answer, error) {
	raw, err := schema.Raw(chi.URLParam(r, "name"))
	if err != nil {
		return nil, err
	}
	return bytesAnswer{mediaType: "application/schema+json", body: raw}, nil
}

func apiDocument(s *Server, _ *http.Request) (answer, error) {
	return bytesAnswer{mediaType: "application/openapi+json", body: s.openapi}, nil
}
