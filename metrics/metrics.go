// Package metrics tells a monitor how a running registry does: how much is asked
// and how long it takes, whether records are taken in, how far the derived views
// lag behind, what room the disk has, how old the last backup is. It knows
// nothing of machines, people, addresses and links: a label is a route's pattern,
// a method, a class of answers or the name of an event, and nothing that somebody
// typed.
package metrics

import (
	"context"
	"errors"
	"io"
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/common/expfmt"

	"example.org/asfound/registry"
)

// Metrics counts what happens. All methods may be used by several goroutines.
type Metrics struct {
	all      *prometheus.Registry
	requests *prometheus.HistogramVec
	answers  *prometheus.CounterVec
	bytes    *prometheus.CounterVec
	events   *prometheus.CounterVec
	appends  *prometheus.CounterVec
	append   prometheus.Histogram
	photos   prometheus.Counter
}

// State is how the registry stands when a monitor asks.
type State struct {
	Position, Machines, Events uint64
	// Lag is how many commits the views are behind the ledger.
	Lag uint64
	// Free is the room on the disk, and Reserve the room below which nothing is
	// written, in bytes.
	Free, Reserve int64
	// Backup is when the last backup ended; zero when none is known of.
	Backup time.Time
}

// seconds are the bounds of the latency histograms; 0.05 and 0.25 are the aims
// of docs/speed.md for a page and for the slowest of a hundred.
var seconds = []float64{0.001, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10}

// New makes the metrics of a registry, which state describes at each question.
// What state fails to find out is left out of the answer.
func New(version string, state func(ctx context.Context) (State, error)) *Metrics {
	m := &Metrics{all: prometheus.NewRegistry(),
		requests: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "asfound_http_request_duration_seconds", Help: "Time from a request to the end of its answer, by route.", Buckets: seconds}, []string{"route", "method"}),
		answers:  counters("asfound_http_requests_total", "Requests answered, by route, method and class of the status.", "route", "method", "class"),
		bytes:    counters("asfound_http_response_bytes_total", "Bytes of answers as they were sent, by route.", "route"),
		events:   counters("asfound_security_events_total", "What concerns who gets in, by event: sign-in-failed, too-often, forbidden and others.", "event"),
		appends:  counters("asfound_ledger_appends_total", "Commits handed to the ledger, by what became of them: stored, repeated, conflict, refused or failed.", "outcome"),
		append:   prometheus.NewHistogram(prometheus.HistogramOpts{Name: "asfound_ledger_append_duration_seconds", Help: "Time until the ledger answered a commit.", Buckets: seconds}),
		photos:   prometheus.NewCounter(prometheus.CounterOpts{Name: "asfound_photos_stored_total", Help: "Originals and previews handed to the store of photos."}),
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{Name: "asfound_build_info", Help: "The version of the program.", ConstLabels: prometheus.Labels{"version": version}})
	build.Set(1)
	for _, outcome := range outcomes {
		m.appends.WithLabelValues(outcome) // a rate needs its zero
	}
	m.all.MustRegister(m.requests, m.answers, m.bytes, m.events, m.appends, m.append, m.photos, build, &standing{state},
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

func counters(name, help string, labels ...string) *prometheus.CounterVec {
	return prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, labels)
}

// Request counts an answered request. route is the pattern, "" where none fits.
func (m *Metrics) Request(route, method string, status int, took time.Duration, bytes int64) {
	if route == "" {
		route = "none"
	}
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost:
	default:
		method = "other"
	}
	m.requests.WithLabelValues(route, method).Observe(took.Seconds())
	m.answers.WithLabelValues(route, method, strconv.Itoa(status/100)+"xx").Inc()
	m.bytes.WithLabelValues(route).Add(float64(bytes))
}

// Event counts what concerns who gets in, by its name.
func (m *Metrics) Event(name string) { m.events.WithLabelValues(name).Inc() }

// outcomes are what can become of a commit.
var outcomes = []string{"stored", "repeated", "conflict", "refused", "failed"}

// Ledger counts what is appended to a ledger.
func (m *Metrics) Ledger(l registry.Ledger) registry.Ledger { return &counted{l, m} }

type counted struct {
	registry.Ledger
	m *Metrics
}

func (c *counted) Append(ctx context.Context, commit registry.Commit) (registry.Receipt, error) {
	began := time.Now()
	receipt, err := c.Ledger.Append(ctx, commit)
	c.m.append.Observe(time.Since(began).Seconds())
	c.m.appends.WithLabelValues(outcomeOf(receipt, err)).Inc()
	return receipt, err
}

func outcomeOf(receipt registry.Receipt, err error) string {
	switch code := registry.CodeOf(err); {
	case err == nil && receipt.Duplicate:
		return "repeated"
	case err == nil:
		return "stored"
	case code == registry.CodeConflict:
		return "conflict"
	case code == registry.CodeInvalid || code == registry.CodeTooLarge, errors.Is(err, context.Canceled): // whoever asked has left
		return "refused"
	}
	return "failed"
}

// Blobs keeps bytes under their digest; see workshop.Blobs.
type Blobs interface {
	Put(ctx context.Context, r io.Reader, limit int64) (digest string, size int64, err error)
	Get(ctx context.Context, digest string) (io.ReadCloser, int64, error)
	Has(ctx context.Context, digest string) (bool, error)
}

// Photos counts what is put into a store of photos.
func (m *Metrics) Photos(b Blobs) Blobs { return &countedPhotos{b, m} }

type countedPhotos struct {
	Blobs
	m *Metrics
}

func (c *countedPhotos) Put(ctx context.Context, r io.Reader, limit int64) (string, int64, error) {
	digest, size, err := c.Blobs.Put(ctx, r, limit)
	if err == nil {
		c.m.photos.Inc()
	}
	return digest, size, err
}

// standing asks for the State at each question of a monitor.
type standing struct {
	state func(ctx context.Context) (State, error)
}

// gauges are the figures of a State.
var gauges = []struct {
	desc *prometheus.Desc
	of   func(State) (float64, bool)
}{
	gauge("asfound_ledger_position", "Commits in the ledger.", func(s State) (float64, bool) { return float64(s.Position), true }),
	gauge("asfound_ledger_events", "Events in the ledger.", func(s State) (float64, bool) { return float64(s.Events), true }),
	gauge("asfound_machines", "Machines in the registry.", func(s State) (float64, bool) { return float64(s.Machines), true }),
	gauge("asfound_views_lag_commits", "Commits by which the derived views are behind the ledger.", func(s State) (float64, bool) { return float64(s.Lag), true }),
	gauge("asfound_disk_free_bytes", "Room on the disk that holds the registry.", func(s State) (float64, bool) { return float64(s.Free), true }),
	gauge("asfound_disk_reserve_bytes", "Room below which nothing is written.", func(s State) (float64, bool) { return float64(s.Reserve), true }),
	gauge("asfound_last_backup_timestamp_seconds", "When the last backup ended; left out while none is known of.", func(s State) (float64, bool) { return float64(s.Backup.Unix()), !s.Backup.IsZero() }),
}

func gauge(name, help string, of func(State) (float64, bool)) (g struct {
	desc *prometheus.Desc
	of   func(State) (float64, bool)
}) {
	g.desc, g.of = prometheus.NewDesc(name, help, nil, nil), of
	return g
}

// Describe implements prometheus.Collector.
func (s *standing) Describe(to chan<- *prometheus.Desc) {
	for _, g := range gauges {
		to <- g.desc
	}
}

// Collect implements prometheus.Collector.
func (s *standing) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	state, err := s.state(ctx)
	if err != nil {
		return
	}
	for _, g := range gauges {
		if v, known := g.of(state); known {
			to <- prometheus.MustNewConstMetric(g.desc, prometheus.GaugeValue, v)
		}
	}
}

// Handler answers GET /metrics in the text format of Prometheus, and nothing
// else. ours says whether the server is asked under a name or address of its
// own: a strange page cannot read it through a name that it points here.
func (m *Metrics) Handler(ours func(host string) bool) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /metrics", func(w http.ResponseWriter, r *http.Request) {
		if !ours(r.Host) {
			http.Error(w, "This server does not answer under the name it was asked for.", http.StatusMisdirectedRequest)
			return
		}
		families, err := m.all.Gather()
		if err != nil {
			http.Error(w, "The figures cannot be gathered.", http.StatusInternalServerError)
			return
		}
		format := expfmt.NewFormat(expfmt.TypeTextPlain)
		w.Header().Set("Content-Type", string(format))
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		to := expfmt.NewEncoder(w, format)
		for _, family := range families {
			if to.Encode(family) != nil {
				return // whoever asked has left
			}
		}
	})
	return mux
}
