package server

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"
	"golang.org/x/sync/singleflight"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// maxReports is how many finished reports are kept. A report follows from a
// machine's version, the two dates and, where it speaks of what runs out, the
// time; see freshFor.
const maxReports = 12

// latest keeps the answers that were worked out last, by a key that says all
// that they follow from. What it gives must not be changed.
type latest[T any] struct {
	// most is how much is kept, as size counts it; maxReports answers when 0.
	most int
	size func(T) int

	mu     sync.Mutex
	by     map[string]T
	order  []string
	held   int
	flight singleflight.Group
}

// reportCache keeps the latest reports.
type reportCache = latest[*workshop.Report]

func (c *latest[T]) get(key string) (T, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	v, ok := c.by[key]
	return v, ok
}

func (c *latest[T]) put(key string, v T) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.by == nil {
		c.by = map[string]T{}
	}
	if old, there := c.by[key]; there {
		c.held -= c.sizeOf(old)
	} else {
		c.order = append(c.order, key)
	}
	c.by[key] = v
	c.held += c.sizeOf(v)
	for c.held > cmp.Or(c.most, maxReports) {
		c.held -= c.sizeOf(c.by[c.order[0]])
		delete(c.by, c.order[0])
		c.order = c.order[1:]
	}
}

func (c *latest[T]) sizeOf(v T) int {
	if c.size == nil {
		return 1
	}
	return c.size(v)
}

// find gives what is kept under a key, or makes it: once, however many ask for
// it at the same moment. make says whether the next to ask may have it too.
func (c *latest[T]) find(key string, make func() (T, bool, error)) (T, error) {
	if v, ok := c.get(key); ok {
		return v, nil
	}
	var none T
	v, err, _ := c.flight.Do(key, func() (any, error) {
		if v, ok := c.get(key); ok {
			return v, nil
		}
		v, keep, err := make()
		if err == nil && keep {
			c.put(key, v)
		}
		return v, err
	})
	if err != nil {
		return none, err
	}
	return v.(T), nil
}

// machineID is the machine that the address names.
func machineID(r *http.Request) (string, error) {
	id := chi.URLParam(r, "id")
	if registry.CheckID("/machine", id) != nil {
		return "", noMachine(id)
	}
	return id, nil
}

// edition reads which report the query asks for: as_of, known_at and public.
func edition(q url.Values) (workshop.ReportOptions, error) {
	var o workshop.ReportOptions
	var fields []registry.Field
	read := func(name string, endOfDay bool) time.Time {
		given := q.Get(name)
		if given == "" {
			return time.Time{}
		}
		if t, err := time.Parse(time.DateOnly, given); err == nil {
			if endOfDay {
				t = t.Add(24*time.Hour - time.Millisecond)
			}
			return t
		}
		t, err := time.Parse(time.RFC3339, given)
		if err != nil {
			fields = append(fields, registry.Field{Pointer: "/" + name, Found: quoted(given), Allowed: "a day such as 2026-03-14",
				Message: "This is not a day", Fix: "Write year, month and day with lines between."})
		}
		return t
	}
	o.At.AsOf = read("as_of", false)
	o.At.KnownAt = read("known_at", true)
	switch v := q.Get("public"); v {
	case "", "0", "false":
	case "1", "true":
		o.Public = true
	default:
		fields = append(fields, registry.Field{Pointer: "/public", Found: quoted(v), Allowed: "true or false", Message: "This is neither yes nor no"})
	}
	if len(fields) > 0 {
		return o, &registry.Error{Code: registry.CodeInvalid, Message: "The query cannot be read", Fields: fields}
	}
	return o, nil
}

// headOf is the machine's current version. CodeNotFound when there is none.
func (s *Server) headOf(r *http.Request, machine string) (uint64, error) {
	if err := workshop.MaySee(r.Context(), machine); err != nil {
		return 0, err
	}
	head, err := s.Workshop.Ledger.Head(r.Context(), machine)
	if err != nil {
		return 0, err
	}
	if head.Version == 0 {
		return 0, noMachine(machine)
	}
	return head.Version, nil
}

// machineHead is the machine in the address with its current version.
// CodeNotFound when there is none.
func (s *Server) machineHead(r *http.Request) (id string, version uint64, err error) {
	if id, err = machineID(r); err == nil {
		version, err = s.headOf(r, id)
	}
	return id, version, err
}

// reportOf makes the report of a machine, or finds the one that was made.
func (s *Server) reportOf(r *http.Request, machine string, o workshop.ReportOptions) (*workshop.Report, error) {
	version, err := s.headOf(r, machine)
	if err != nil {
		return nil, err
	}
	o.Public = o.Public || publicOnly(r, machine)
	key := machine + " " + itoa(version) + " " + s.freshUntil() + " " + o.At.AsOf.Format(time.RFC3339) + " " + o.At.KnownAt.Format(time.RFC3339Nano) + " " + o.Standpoint
	if o.Public {
		key += " public"
	}
	report, err := s.reports.find(key, func() (*workshop.Report, bool, error) {
		report, err := s.Workshop.Report(context.WithoutCancel(r.Context()), machine, o)
		return report, err == nil && report.Version == version, err
	})
	if err != nil {
		return nil, err
	}
	return actingOn(r, report), nil
}

// machineReport is the private report of the machine in the address, as it
// stands.
func (s *Server) machineReport(r *http.Request) (*workshop.Report, error) {
	id, err := machineID(r)
	if err != nil {
		return nil, err
	}
	return s.reportOf(r, id, workshop.ReportOptions{})
}

// basis makes the common part of a machine's page.
func (s *Server) basis(report *workshop.Report, tab, title string) Base {
	b := Base{Title: title, Version: s.Version, Machine: &MachineHead{ID: report.Machine.ID, Name: report.Machine.Name,
		Line: machineLine(report.Machine.Name, report.Machine.Make, report.Machine.Model, report.Machine.Year), Phase: report.Phase, Invented: report.Machine.Invented, Public: report.Public, Tab: tab}}
	if tab == "" {
		b.Crumbs = []Crumb{{"Machines", "/"}, {report.Machine.Name, "/machines/" + report.Machine.ID}}
	}
	return b
}

// names finds components by id.
type names map[string]*workshop.ComponentReport

func namesOf(r *workshop.Report) names {
	out := names{}
	for g := range r.Groups {
		for c := range r.Groups[g].Components {
			out[r.Groups[g].Components[c].ID] = &r.Groups[g].Components[c]
		}
	}
	return out
}

// Of names a component, or gives the id back.
func (n names) Of(id string) string {
	if c, ok := n[id]; ok {
		return c.Name
	}
	return id
}

// photosByID finds photos by record id.
func photosByID(list []workshop.PhotoReport) map[string]workshop.PhotoReport {
	out := map[string]workshop.PhotoReport{}
	for _, p := range list {
		out[p.ID] = p
	}
	return out
}
