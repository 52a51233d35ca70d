package server

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/csv"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/registry/ledgertest"
	"example.org/asfound/schema"
	"example.org/asfound/workshop"
)

// bench is the real application on a ledger in memory behind the real handler.
type bench struct {
	t        testing.TB
	w        *workshop.Workshop
	s        *Server
	handler  http.Handler
	log      *lockedBuffer
	clock    atomic.Int64 // seconds since begin
	ids      atomic.Int64
	photo    string // digest of the as-found picture's preview
	token    string
	proposal string
}

// lockedBuffer is a log that several requests may write.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

var loadCatalog = sync.OnceValues(func() (*catalog.Catalog, error) { return catalog.Load() })

var begin = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

func newBench(t testing.TB) *bench {
	t.Helper()
	b := &bench{t: t, log: &lockedBuffer{}}
	knowledge, err := loadCatalog()
	require.NoError(t, err)
	schemas, err := schema.Compile()
	require.NoError(t, err)
	now := func() time.Time { return begin.Add(time.Duration(b.clock.Load()) * time.Second) }
	b.w = &workshop.Workshop{Ledger: ledgertest.NewMemory(), Photos: ledgertest.NewMemoryBlobs(), Private: ledgertest.NewMemoryBlobs(), Views: ledgertest.NewMemoryViews(),
		Catalog: knowledge, Schemas: schemas, Now: now, NewID: func() string { return fmt.Sprintf("e%06d", b.ids.Add(1)) }, Random: rand.Reader}
	b.s, err = newServer(Config{Workshop: b.w, Version: "test", Now: now, Logger: slog.New(slog.NewJSONHandler(b.log, nil)),
		ReadPhoto: func(_ context.Context, r io.ReadSeeker, name string) (Picture, error) {
			c, format, err := image.DecodeConfig(r)
			if err != nil {
				return Picture{}, registry.Refuse(registry.CodeUnsupported, "Send a JPEG.", "%s is not a picture", name)
			}
			return Picture{MediaType: "image/" + format, Width: c.Width, Height: c.Height, Preview: picture(60, 45)}, nil
		},
		ReadSheet: readTestSheet, Mappings: mappingsOn(&[]Mapping{}),
		PDF: func(_ context.Context, out io.Writer, machine string, public bool) error {
			_, err := fmt.Fprintf(out, "%%PDF %s %t", machine, public)
			return err
		},
		Card: func(_ context.Context, out io.Writer, machine, option string) error {
			_, err := fmt.Fprintf(out, "%%PDF %s %s", machine, option)
			return err
		},
		Labels: func(_ context.Context, out io.Writer, machine, base, layout string) error {
			_, err := fmt.Fprintf(out, "%%PDF %s %s %s", machine, base, layout)
			return err
		},
		Receipt: func(_ context.Context, out io.Writer, r *workshop.OwnerReceipt) error {
			_, err := fmt.Fprintf(out, "%%PDF %s %s", r.Answer.Answer, r.Digest)
			return err
		},
		Bundle: func(_ context.Context, out io.Writer, machine string, public bool) error {
			_, err := fmt.Fprintf(out, "PK %s %t", machine, public)
			return err
		},
		Condition: func(_ context.Context, out io.Writer, machine string, public bool) error {
			_, err := fmt.Fprintf(out, "%%PDF condition %s %t", machine, public)
			return err
		},
		Verify: func(_ context.Context, r io.ReaderAt, size int64) (any, error) {
			return map[string]any{"bytes": size}, nil
		},
	})
	require.NoError(t, err)
	b.handler = b.s.router()
	return b
}

// readTestSheet reads "component,origin" rows.
func readTestSheet(file io.ReadSeeker, name, machine, by, _ string) (Sheet, error) {
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) == 0 {
		return Sheet{}, registry.Refuse(registry.CodeUnsupported, "Save it as CSV.", "%s is not a table", name)
	}
	return Sheet{Header: rows[0], Source: func(_ context.Context, fn func(workshop.Draft) error) error {
		for i, row := range rows[1:] {
			d := workshop.Draft{File: name, Row: i + 2, Machine: machine, Cells: row,
				Body: &registry.Survey{Common: registry.Common{ID: "row-" + row[0]}, Component: row[0], Origin: row[1], By: by}}
			if err := fn(d); err != nil {
				return err
			}
		}
		return nil
	}}, nil
}

func picture(w, h int) []byte {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for x := range w {
		for y := range h {
			img.Set(x, y, color.RGBA{uint8(90 + 100*x/w), uint8(80 + 60*y/h), 60, 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// record records bodies on the Drover; every call is a minute later.
func (b *bench) record(bodies ...registry.Body) {
	b.t.Helper()
	b.clock.Add(60)
	_, err := b.w.Record(context.Background(), workshop.Request{Machine: "drover-1957", Actor: "tamsin"}, bodies...)
	require.NoError(b.t, err)
}

func id(s string) registry.Common { return registry.Common{ID: s} }

func gbp(t testing.TB, amount string) registry.Money {
	m, err := registry.ParseMoney(amount, "GBP")
	require.NoError(t, err)
	return m
}

func ptr[T any](v T) *T { return &v }

// drover is a bench with the worked example: an invented machine in the middle
// of its job.
func drover(t testing.TB) *bench {
	t.Helper()
	made.Do(func() { madeDrover, madeWorked = makeDrover(t), makeWorked(t) })
	return madeDrover.copy(t)
}

// The worked example is made once; every test gets a copy of its own.
var (
	made                   sync.Once
	madeDrover, madeWorked *bench
)

// copy is a bench with the same history.
func (b *bench) copy(t testing.TB) *bench {
	t.Helper()
	out := newBench(t)
	ctx := context.Background()
	require.NoError(t, b.w.Ledger.ReadAll(ctx, 0, func(r registry.Record) error {
		_, err := out.w.Ledger.Append(ctx, registry.Commit{ID: r.ID, Machine: r.Machine, Expect: r.First - 1, Events: r.Events})
		return err
	}))
	for _, pair := range [][2]*ledgertest.MemoryBlobs{{b.w.Photos.(*ledgertest.MemoryBlobs), out.w.Photos.(*ledgertest.MemoryBlobs)}, {b.w.Private.(*ledgertest.MemoryBlobs), out.w.Private.(*ledgertest.MemoryBlobs)}} {
		require.NoError(t, pair[0].Each(ctx, func(digest string, _ int64) error {
			r, _, err := pair[0].Get(ctx, digest)
			if err == nil {
				_, _, err = pair[1].Put(ctx, r, 1<<20)
			}
			return err
		}))
	}
	out.clock.Store(b.clock.Load())
	out.ids.Store(b.ids.Load())
	out.photo, out.token, out.proposal = b.photo, b.token, b.proposal
	return out
}

func makeDrover(t testing.TB) *bench {
	t.Helper()
	b := newBench(t)
	ctx := context.Background()
	b.record(
		&registry.Machine{Common: id("machine"), Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true,
			Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "D350-2217"}, Doubtful: []registry.DoubtfulCharacter{{Place: 6, Readings: []string{"2", "Z"}}}}},
			Story:   "Under hay sacks in the dairy barn since 1988."},
		&registry.Person{Common: id("imogen"), Role: "executor", Name: registry.Private{Value: "Imogen Aske"}, Contact: registry.Private{Value: "by letter"}},
		&registry.Person{Common: id("tamsin"), Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}},
		&registry.Person{Common: id("reuben"), Role: "second-signature", Name: registry.Private{Value: "Reuben Quill"}},
		&registry.CustodyAgreement{Common: id("agreement"), Owner: "imogen", Custodian: "tamsin", Authority: "grant of probate", Purpose: "occasional",
			Care: []string{"dust off"}, Stop: []string{"never refinish the tank"}, Ceiling: gbp(t, "50"), Inventory: []registry.InventoryItem{{ID: "keys", What: "keys", Count: 2}}})
	var survey []registry.Body
	for i, c := range b.w.Catalog.ComponentsInWalk() {
		s := &registry.Survey{Common: id("survey-" + c.ID), Component: c.ID, Origin: "original", Finish: "worn", Specification: "to-catalogue", Condition: ptr(3 - i%3), Function: "works", By: "tamsin"}
		switch {
		case c.ID == "ignition.condenser":
			s.Note = "Never opened, <script>alert(1)</script> said nobody. " + "Warm, it leaks."
		case c.ID == "electrical.horn":
			s.Origin = "undetermined"
		case c.ID == "ignition.magneto":
			s.Signs = []registry.SignSeen{{Sign: "wear-agrees-with-neighbours"}, {Sign: "mark-form-right"}}
		case i%11 == 0:
			s.Origin, s.Finish = "period-service", "cleaned"
		case i%29 == 0:
			s.Origin, s.Finish, s.Specification = "reproduction", "refinished", "off-specification"
		}
		survey = append(survey, s)
	}
	b.record(survey...)
	b.record(
		&registry.Evidence{Common: id("stamp"), Evidence: "date-stamp", Cluster: "stamps", Says: "The magneto body is stamped 3/57.", Limits: "A stamp says when it was made, not when it was fitted.", Reliability: ptr(0.9), By: "tamsin",
			Bears: []registry.Bearing{{Component: "ignition.magneto", Proposition: "origin", Sign: "stamp-fits"}}},
		&registry.Evidence{Common: id("bill"), Evidence: "invoice", Cluster: "papers", Says: "A garage bill of 1961 charges a magneto.", Made: "1961-05", By: "tamsin",
			Bears: []registry.Bearing{{Component: "ignition.magneto", Proposition: "origin", Sign: "invoice-second-hand"}}},
		&registry.Joint{Common: id("joint-magneto"), Joint: "magneto-mount", Components: []string{"ignition.magneto", "engine.timing-cover"}, Witness: "undisturbed", Sign: "dirt line unbroken", By: "tamsin"},
		&registry.Measurement{Common: id("gap"), Component: "ignition.contact-breaker", Quantity: "gap", Value: 0.32, Unit: "mm", Uncertainty: 0.02, Instrument: "feeler gauge", By: "tamsin"},
		&registry.Fitting{Common: registry.Common{ID: "shell-1957", Valid: "1957-06/1959-10"}, Component: "gearbox.shell", Part: "gearbox shell of 1957"},
		&registry.Fitting{Common: registry.Common{ID: "shell-1959", Valid: "1959-10/.."}, Component: "gearbox.shell", Part: "gearbox shell under warranty", Stamp: "10/59", Origin: "period-service"},
		&registry.Fault{Common: id("magneto"), Complaint: "It starts cold and dies when warm.", Cause: "the condenser leaks when warm", Components: []string{"ignition.magneto", "ignition.condenser"}, By: "tamsin"},
		&registry.Opening{Common: id("magneto-off"), Title: "Take the magneto off", Joints: []string{"magneto-mount"}, Hours: 1.5, WitnessPoints: 0.4, Behind: []string{"ignition.armature", "ignition.condenser"},
			Needs: []registry.Need{{What: "base gasket", InHand: true}}},
		&registry.Fault{Common: id("hooter"), Complaint: "The horn croaks.", Components: []string{"electrical.horn"}, By: "tamsin"},
		&registry.Option{Common: id("hooter-leave"), Fault: "hooter", Treatment: "leave", Title: "Leave the horn", Works: ptr(0.0), By: "tamsin"},
		&registry.Option{Common: id("hooter-clean"), Fault: "hooter", Treatment: "clean", Title: "Clean the horn's points", Hours: 0.5, Money: gbp(t, "6"), MoneyLow: gbp(t, "4"), MoneyHigh: gbp(t, "14"), Works: ptr(0.7), By: "tamsin",
			Finds: []registry.Find{{What: "the winding is broken", Chance: 0.2, Money: gbp(t, "30")}}},
		&registry.Option{Common: id("leave-it"), Fault: "magneto", Treatment: "leave", Title: "Leave it as it is", Hours: 0, Works: ptr(0.0), By: "tamsin"},
		&registry.Option{Common: id("external-condenser"), Fault: "magneto", Treatment: "substitute", Title: "Set a condenser outside, the armature untouched", Why: "The old condenser stays where it is, cut off.", Hours: 2, Money: gbp(t, "18"), LeadDays: 5, Works: ptr(0.9), By: "tamsin", Undo: "take the new condenser out again",
			Changes: []registry.Change{{Component: "ignition.condenser", Proposition: "origin", After: map[string]float64{"substitute": 1}, Removes: true, Keep: &registry.KeepPromise{Custody: "kept-with-machine", LossPerYear: 0.01, Years: 20, RefitChance: 0.95}}}, Openings: []string{"magneto-off"}},
		&registry.Option{Common: id("rewind"), Fault: "magneto", Treatment: "re-machine", Title: "Rewind the armature", Hours: 1, Money: gbp(t, "180"), LeadDays: 40, Works: ptr(0.97), By: "tamsin", Openings: []string{"magneto-off"},
			Changes: []registry.Change{{Component: "ignition.armature", Proposition: "origin", Keeps: ptr(0.4)}, {Component: "ignition.armature", Proposition: "finish", Keeps: ptr(0.2)}}},
	)
	b.clock.Add(60)
	_, err := b.w.AddPhoto(ctx, workshop.Request{Machine: "drover-1957", Actor: "tamsin"}, &registry.Photo{Common: id("photo-magneto"), MediaType: "image/jpeg", Shows: "as-found", Components: []string{"ignition.magneto"}, Openings: []string{"magneto-off"}, Caption: "Magneto, drive side", Scale: "100 mm bar", By: "tamsin"}, bytes.NewReader(picture(400, 300)), picture(60, 45))
	require.NoError(t, err)
	b.clock.Add(60)
	_, err = b.w.SealSurvey(ctx, workshop.Request{Machine: "drover-1957", Actor: "tamsin"}, registry.SurveySeal{By: "tamsin"})
	require.NoError(t, err)
	b.clock.Add(60)
	_, _, err = b.w.Weigh(ctx, workshop.Request{Machine: "drover-1957", Actor: "tamsin"}, nil, true)
	require.NoError(t, err)
	b.clock.Add(60)
	made, err := b.w.Propose(ctx, workshop.Request{Machine: "drover-1957", Actor: "tamsin"}, workshop.ProposeInput{ID: "ask-magneto", To: "imogen", By: "tamsin",
		Options: []string{"leave-it", "external-condenser", "rewind"}, Recommended: []string{"external-condenser"}, Ceiling: gbp(t, "110"), Expires: b.w.Now().AddDate(0, 0, 14), DoNothing: "It cannot be ridden further than a mile."})
	require.NoError(t, err)
	b.token, b.proposal = made.Token, made.ID
	report, err := b.w.Report(ctx, "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	b.photo = hexOf(report.Photos[0].Preview)
	return b
}

// worked goes on with the worked example: approved, opened, done, checked.
func worked(t testing.TB) *bench {
	t.Helper()
	drover(t)
	return madeWorked.copy(t)
}

func makeWorked(t testing.TB) *bench {
	t.Helper()
	b := makeDrover(t)
	b.approve()
	option, _ := registry.Get[*registry.Option](b.load(), "external-condenser")
	change := option.Record.Changes[0]
	change.Keep = nil
	b.record(&registry.Opened{Common: id("opened-magneto"), Opening: "magneto-off", By: "tamsin"})
	b.record(&registry.Work{Common: id("work-condenser"), Option: "external-condenser", Treatment: "substitute", Did: "Set a condenser under the tank rail.", Changes: []registry.Change{change},
		Openings: []string{"magneto-off"}, Hours: 2.2, Spent: gbp(t, "17.40"), Fitted: []registry.Fitted{{Component: "ignition.condenser", Part: "film condenser", Origin: "substitute", Mark: "26 TO"}}, By: "tamsin"})
	b.record(&registry.RemovedPart{Common: id("old-condenser"), Component: "ignition.condenser", Work: "work-condenser", Tag: "D-014", What: "the old condenser", Custody: "kept-with-machine", Place: registry.Private{Value: "shelf 3"}, Reason: "leaks when warm", By: "tamsin"})
	b.record(&registry.Work{Common: id("polish"), Treatment: "clean", Did: "Polished the tank badges before anybody asked.", Hours: 0.3, By: "tamsin", AlreadyDone: true})
	b.record(&registry.Check{Common: id("spark-warm"), What: "Spark jumps 5 mm after ten minutes warm", Components: []string{"ignition.magneto"}, Outcome: "passed",
		Readings: []registry.Reading{{Quantity: "spark gap", Value: 5.5, Unit: "mm", Uncertainty: 0.5, Instrument: "adjustable gap"}}, By: "tamsin", Second: "reuben"})
	return b
}

func (b *bench) load() *registry.Dossier {
	b.t.Helper()
	d, err := b.w.Load(context.Background(), "drover-1957", workshop.At{})
	require.NoError(b.t, err)
	return d
}

func (b *bench) approve() {
	b.t.Helper()
	b.clock.Add(60)
	asked, err := b.w.OpenLink(context.Background(), b.token)
	require.NoError(b.t, err)
	_, _, err = b.w.AnswerLink(context.Background(), b.token, registry.Decision{Digest: asked.Digest, Answer: "approve"})
	require.NoError(b.t, err)
}

// ask sends a request as a browser on this machine would.
func (b *bench) ask(r *http.Request) *httptest.ResponseRecorder {
	b.t.Helper()
	r.Host = "127.0.0.1:8350"
	rec := httptest.NewRecorder()
	b.handler.ServeHTTP(rec, r)
	return rec
}

func (b *bench) get(path string) *httptest.ResponseRecorder {
	b.t.Helper()
	return b.ask(httptest.NewRequest(http.MethodGet, path, nil))
}

// post sends a form.
func (b *bench) post(path string, form string) *httptest.ResponseRecorder {
	b.t.Helper()
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form))
	r.Header.Set("Content-Type", formType)
	return b.ask(r)
}

// send sends JSON with header pairs.
func (b *bench) send(path, body string, headers ...string) *httptest.ResponseRecorder {
	b.t.Helper()
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(body))
	r.Header.Set("Content-Type", jsonType)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	return b.ask(r)
}

func (b *bench) end() registry.Position {
	b.t.Helper()
	end, err := b.w.Ledger.End(context.Background())
	require.NoError(b.t, err)
	return end
}
