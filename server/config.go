package server

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"sync/atomic"
	"time"

	"example.org/asfound/access"
	"example.org/asfound/language"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// Config is what the server works with. Workshop, Logger and Now must be set;
// a part that is nil answers "not offered here".
type Config struct {
	Workshop *workshop.Workshop
	// ReadSheet reads an uploaded survey sheet. by is the person who surveyed,
	// for rows that do not say so; mapping names a saved one, or is "".
	ReadSheet func(file io.ReadSeeker, name, machine, by, mapping string) (Sheet, error)
	// Mappings keeps the column mappings of tables with headings of their own.
	Mappings *Mappings
	// ReadPhoto looks at an uploaded picture and makes its preview. Codes:
	// CodeTooLarge, CodeUnsupported.
	ReadPhoto func(ctx context.Context, original io.ReadSeeker, name string) (Picture, error)
	// ReadLight reads marked parts of an uploaded picture in linear light. Codes:
	// CodeTooLarge, CodeUnsupported, CodeInvalid, CodeInsufficient.
	ReadLight func(original io.ReadSeeker, name string, marks []Mark) ([]scoring.CardSample, error)
	// PDF and Bundle write a machine's dossier, in its public or private edition.
	PDF    func(ctx context.Context, out io.Writer, machine string, public bool) error
	Bundle func(ctx context.Context, out io.Writer, machine string, public bool) error
	// Card writes the work card of an option, and Labels those of removed parts,
	// to be printed. base begins the address in each label's code.
	Card   func(ctx context.Context, out io.Writer, machine, option string) error
	Labels func(ctx context.Context, out io.Writer, machine, base, layout string) error
	// Receipt prints the receipt of an owner's answer.
	Receipt func(ctx context.Context, out io.Writer, r *workshop.OwnerReceipt) error
	// Verify checks an uploaded bundle and answers with its findings, which
	// are sent on as JSON. Nothing of the bundle is kept.
	Verify func(ctx context.Context, bundle io.ReaderAt, size int64) (any, error)
	// CheckBundle checks an uploaded bundle for the page on which people do it.
	// CodeInvalid for a key that cannot be read, CodeUnsupported for a bundle of
	// a newer format; what is found is no error.
	CheckBundle func(ctx context.Context, q BundleQuestion) (*BundleAnswer, error)
	// MaxBundle is the largest bundle that the page takes, in bytes; 512 MiB
	// when 0.
	MaxBundle int64
	// HandOver writes the bundle of a record that was handed over: private, with
	// original pictures. TakeOver verifies such a bundle and takes it over;
	// CodeRefused and CodeInvalid say why it is not. TransferReceipt
	// writes what the giving registry records of it, and ConfirmTransfer records
	// there such a receipt of a machine.
	HandOver        func(ctx context.Context, out io.Writer, machine string) error
	TakeOver        func(ctx context.Context, q TakeOverQuestion) (*TakeOverAnswer, error)
	TransferReceipt func(ctx context.Context, out io.Writer, machine string) error
	ConfirmTransfer func(ctx context.Context, machine string, receipt []byte, trust string) (workshop.Receipt, error)
	// Condition writes the condition report, in its public or private edition.
	Condition func(ctx context.Context, out io.Writer, machine string, public bool) error
	// KeyFingerprint is that of the registry's public key, and PublicKey the key.
	KeyFingerprint, PublicKey string
	// BaseURL is how people reach this server, such as
	// "http://127.0.0.1:8350"; owners' links begin with it. Empty means the
	// address that a request came to, which is safe on loopback alone.
	BaseURL string
	// Hosts are names, besides loopback and the host of BaseURL, under which
	// requests are answered. A request for another host is refused, so that a
	// strange page cannot reach the registry through a name of its own.
	Hosts []string
	// Proxies may say, in X-Forwarded-Proto, -Host and -For, how a request
	// reached them. Nobody else is believed.
	Proxies []netip.Prefix
	// People are the accounts; nil where there can be none.
	People *access.Book
	// Everyone says that other machines reach the registry. While there are no
	// accounts, nobody asks who they are.
	Everyone bool
	// HSTS is for how long a browser that came encrypted must come so again.
	// It holds for every port of the host. 0 for no such demand.
	HSTS time.Duration
	// Behind says when what is shown was the whole ledger, and why the ledger
	// cannot be reached now; a nil error while it can. nil where it always can.
	Behind func() (since time.Time, why error)
	// Limits are how much one visitor may ask; DefaultLimits where one is left
	// out.
	Limits Limits
	// Watch is told of what happens; nil where nobody watches.
	Watch   Watch
	Version string
	Logger  *slog.Logger
	Now     func() time.Time
}

// Sheet is an opened survey sheet.
type Sheet struct {
	Source workshop.Source
	// Header are the column titles, for the file of rejected rows.
	Header []string
	// As is how the file is read, where a mapping says so: the same file read
	// otherwise is another import.
	As []byte
}

// Picture is what is known of an uploaded picture besides its bytes.
type Picture struct {
	MediaType     string
	Width, Height int    // as shown upright, in pixels; 0 when not known
	Taken         string // what the camera says
	Preview       []byte // a JPEG without place and camera; nil when none can be made
}

// Mark is a part of a picture, as fractions of its width and height when it is
// seen upright.
type Mark struct {
	ID                  string
	X, Y, Width, Height float64
}

// Watch counts what happens, without asking by whom.
type Watch interface {
	// Request is an answered request: the pattern of its route, "" when none
	// fits, the time it took, and the bytes of the answer.
	Request(route, method string, status int, took time.Duration, bytes int64)
	// Event is one of those that Server.security logs, by its name.
	Event(name string)
}

// Server answers requests. It is made by New.
type Server struct {
	Config
	host     string // of BaseURL
	pages    pagesIn
	answers  *remembered
	rejected *rejectedRows
	reports  *reportCache
	criteria *latest[*workshop.CriteriaReport]
	kept     *latest[answer] // finished pages
	budgets  budgets
	// Who makes pages, documents and previews of pictures waits for a turn.
	reading, building, decoding *turns
	openapi                     []byte
	anatomy                     names  // components by id, for pages without a report
	prefix                      string // of request ids
	nonces                      []byte // the secret by which challenges are known again
	build                       string // changes with templates, styles, catalog and program
	count                       atomic.Uint64
}

// New makes the handler of the whole registry. CodeInvalid when the
// configuration cannot be used.
func New(c Config) (http.Handler, error) {
	s, err := newServer(c)
	if err != nil {
		return nil, err
	}
	return s.router(), nil
}

func newServer(c Config) (*Server, error) {
	if c.Workshop == nil || c.Logger == nil || c.Now == nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Set the workshop, the logger and the clock.", "The server is not fully configured")
	}
	s := &Server{Config: c, prefix: rand.Text()[:6], nonces: []byte(rand.Text())}
	if c.BaseURL != "" {
		u, err := url.Parse(c.BaseURL)
		if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
			return nil, registry.Refuse(registry.CodeInvalid, "Write it with its scheme, such as http://127.0.0.1:8350.", "The base address cannot be used")
		}
		s.host = u.Hostname()
	}
	s.anatomy = names{}
	for _, c := range c.Workshop.Catalog.ComponentsInWalk() {
		s.anatomy[c.ID] = &workshop.ComponentReport{ID: c.ID, Code: c.Code, Name: c.Name}
	}
	var err error
	s.setTurns()
	if s.budgets, err = newBudgets(c.Limits, c.Now); err != nil {
		return nil, err
	}
	s.pages = newPagesIn()
	if _, err = s.pages[language.English](); err != nil {
		return nil, err
	}
	if s.build, err = buildOf(c); err != nil {
		return nil, err
	}
	s.answers = newRemembered(c.Now)
	s.rejected = &rejectedRows{}
	s.reports = &reportCache{}
	s.criteria = &latest[*workshop.CriteriaReport]{}
	s.kept = &latest[answer]{most: keptBytes, size: func(a answer) int { return a.(finishedAnswer).size() }}
	if s.openapi, err = openAPI(c.Version); err != nil {
		return nil, err
	}
	return s, nil
}

// buildOf names everything besides the record that a page follows from.
func buildOf(c Config) (string, error) {
	sum := sha256.New()
	fmt.Fprintln(sum, c.Version, c.Workshop.Catalog.Identity(), c.Everyone)
	for _, name := range slices.Sorted(maps.Keys(assets())) {
		fmt.Fprintln(sum, name, assets()[name].hash)
	}
	files, err := templateFiles.ReadDir("templates")
	if err != nil {
		return "", err
	}
	for _, f := range files {
		text, err := templateFiles.ReadFile("templates/" + f.Name())
		if err != nil {
			return "", err
		}
		sum.Write(text)
	}
	return hex.EncodeToString(sum.Sum(nil)[:6]), nil
}
