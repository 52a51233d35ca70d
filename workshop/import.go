package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"example.org/asfound/registry"
)

// Draft is one record as a file gives it, with the place where it stood. Faults
// are what the reader of the file already found wrong with it.
type Draft struct {
	File    string
	Row     int
	Machine string // "" means the machine that the import is for
	Body    registry.Body
	Faults  []registry.Field
	Cells   []string // the row as it stood, for the file of rejected rows
}

// Source reads drafts in order and can be read more than once.
type Source func(ctx context.Context, fn func(Draft) error) error

// ImportRequest says how drafts are to be taken in.
type ImportRequest struct {
	Machine string // for drafts that name none
	Actor   string
	// Digest of the file: a repeated or interrupted import of the same file
	// records each row once.
	Digest string
	// AcceptGood records the good rows and hands the bad ones to Rejected.
	// Without it one bad row means that nothing is recorded.
	AcceptGood bool
	DryRun     bool
	// Twice says that the source does something of its own when it is read for
	// the second time; otherwise that is left out where it can be.
	Twice bool
	// Rejected gets each bad row with its faults, once; may be nil.
	Rejected func(Draft) error
	// Progress is told how many rows have been checked, and then how many
	// recorded; may be nil.
	Progress func(rows int)
}

// ImportReport says what became of the rows.
type ImportReport struct {
	Rows     int `json:"rows"`
	Recorded int `json:"recorded"`
	// Already counts rows that an earlier import of the same file recorded.
	Already  int `json:"already_there"`
	Rejected int `json:"rejected"`
	// Faults lists what is wrong, up to MaxFaults; More counts the rest.
	Faults   []registry.Field `json:"faults,omitempty"`
	More     int              `json:"more_faults,omitempty"`
	Machines []string         `json:"machines"`
}

// MaxFaults is how many faults an import lists one by one.
const MaxFaults = 10_000

// sortedRows is up to how many rows an import holds at once, to bring the rows
// of one machine together. Larger files must have them together.
const sortedRows = 5_000

// commitBytes is how full an import makes a commit.
const commitBytes = registry.MaxCommitBytes * 3 / 4

// Import checks every draft, and only then records them: all of them, or none,
// unless AcceptGood. Rows of one machine are recorded in as few commits as
// they fit, those of several machines of a large file side by side; a stop
// between two commits is made good by importing again, which records only what
// is missing. With bad rows and without AcceptGood the error
// is CodeInvalid and the report lists every fault.
func (w *Workshop) Import(ctx context.Context, req ImportRequest, source Source) (report ImportReport, err error) {
	kept, err := w.keepPlans(req)
	if err != nil {
		return report, err
	}
	defer func() {
		if late := kept.close(); err == nil {
			err = late
		}
	}()
	bad := map[int]bool{}
	first := importPass{w: w, req: req, report: &report, trial: req.DryRun || !kept.keeps}
	first.reject = func(i int, d Draft) error {
		bad[i] = true
		first.trial = first.trial || !req.AcceptGood // nothing will be recorded
		report.Rejected++
		for _, f := range d.Faults {
			if len(report.Faults) < MaxFaults {
				report.Faults = append(report.Faults, f)
			} else {
				report.More++
			}
		}
		if req.Rejected != nil && len(d.Faults) > 0 {
			return req.Rejected(d)
		}
		return nil
	}
	if err := first.run(ctx, source, func(p *importPass, machine string, rows []row) (plan, error) {
		return p.plan(ctx, machine, rows)
	}, kept.put); err != nil {
		return report, err
	}
	report.Rows = first.rows
	slices.Sort(report.Machines)
	report.Machines = slices.Compact(report.Machines)
	if report.Rejected > 0 && !req.AcceptGood {
		return report, importRefused(report)
	}
	if req.DryRun {
		return report, nil
	}
	report.Recorded, report.Already, err = w.recordPlanned(ctx, req, kept, source, bad, report.Rows > sortedRows)
	w.follow(ctx)
	return report, err
}

// recordPlanned appends what was planned, those of a large file side by side;
// what cannot be appended as it was planned is decided again from the source.
func (w *Workshop) recordPlanned(ctx context.Context, req ImportRequest, kept *keptPlans, source Source, bad map[int]bool, large bool) (recorded, already int, err error) {
	report := ImportReport{Already: kept.already}
	pass := importPass{w: w, req: req, report: &report, skip: bad, reject: func(_ int, d Draft) error {
		return registry.Refuse(registry.CodeConflict, "Import the file again; what is recorded already is left alone.",
			"Somebody changed the record of a machine while the file was read (row %d)", d.Row)
	}}
	side := sideBySide{p: &pass, most: appendsAtOnce, done: func(p plan) error { kept.again[p.Machine] = true; return nil }}
	err = kept.each(func(next plan) error {
		if req.Progress != nil {
			req.Progress(report.Recorded + report.Already)
		}
		return side.begin(large, func(p *importPass) (plan, error) {
			begun, err := p.append(ctx, next)
			if !begun && errors.Is(err, errMoved) {
				return next, nil
			}
			p.report.Already += next.Already
			return plan{}, err
		})
	})
	if late := side.end(); err == nil {
		err = late
	}
	if err == nil && (len(kept.again) > 0 || !kept.keeps) {
		if kept.keeps {
			pass.only = kept.again
		}
		err = pass.run(ctx, source, func(p *importPass, machine string, rows []row) (plan, error) {
			next, err := p.plan(ctx, machine, rows)
			if err == nil {
				_, err = p.append(ctx, next)
			}
			return plan{}, err
		}, func(plan) error { return nil })
	}
	return report.Recorded, report.Already, err
}

func importRefused(r ImportReport) error {
	e := registry.Refuse(registry.CodeInvalid, "Mend them, or record the good rows alone with --accept-good.",
		"%d of %d rows cannot be recorded; nothing was", r.Rejected, r.Rows)
	e.Fields = r.Faults
	return e
}

// row is a draft with its place in the source.
type row struct {
	index int
	Draft
}

// importPass is one reading of the source.
type importPass struct {
	w      *Workshop
	req    ImportRequest
	report *ImportReport
	skip   map[int]bool
	only   map[string]bool // machines; nil means all
	trial  bool            // it is only to be seen what may be recorded
	reject func(index int, d Draft) error
	rows   int
}

// run reads the source, calls block with the rows of one machine at a time, and
// hands what came of them to done, in the order of the file.
func (p *importPass) run(ctx context.Context, source Source, block func(p *importPass, machine string, rows []row) (plan, error), done func(plan) error) error {
	var held []row
	streaming := false
	seen := map[string]bool{}
	side := sideBySide{p: p, most: blocksAtOnce, done: done}
	flush := func() error {
		// Small files: bring the rows of each machine together.
		if !streaming {
			slices.SortStableFunc(held, func(a, b row) int {
				if a.Machine == b.Machine {
					return 0
				}
				return order(held, a.Machine) - order(held, b.Machine)
			})
		}
		for len(held) > 0 {
			n := 1
			for n < len(held) && held[n].Machine == held[0].Machine {
				n++
			}
			machine := held[0].Machine
			if seen[machine] {
				return registry.Refuse(registry.CodeInvalid, "Sort the file by machine.",
					"Row %d: in a file of more than %s rows the rows of one machine must stand together, and %q appears again", held[0].Row, strconv.Itoa(sortedRows), machine)
			}
			seen[machine] = true
			p.report.Machines = append(p.report.Machines, machine)
			own := held[:n]
			if err := side.begin(streaming, func(p *importPass) (plan, error) { return block(p, machine, own) }); err != nil {
				return err
			}
			held = held[n:]
		}
		held = nil
		return nil
	}
	err := source(ctx, func(d Draft) error {
		index := p.rows
		p.rows++
		if p.req.Progress != nil && p.rows%512 == 0 {
			p.req.Progress(p.rows)
		}
		if d.Machine == "" {
			d.Machine = p.req.Machine
		}
		if p.only != nil && !p.only[d.Machine] {
			return nil
		}
		if d.Body != nil && registry.IDOf(d.Body) == "" {
			// The same row gets the same name, however often the file is read.
			named := clone(d.Body)
			registry.SetID(named, rowID(named.Kind(), p.req.Digest, index))
			d.Body = named
		}
		if p.skip[index] {
			return nil
		}
		if d.Machine == "" && len(d.Faults) == 0 {
			d.Faults = []registry.Field{{File: d.File, Row: d.Row, Pointer: "/machine", Message: "It is not said to which machine the row belongs", Fix: "Name the machine in a column, or for the whole import."}}
		}
		if len(d.Faults) > 0 {
			return p.reject(index, d)
		}
		if streaming && len(held) > 0 && held[0].Machine != d.Machine {
			if err := flush(); err != nil {
				return err
			}
		}
		held = append(held, row{index, d})
		if !streaming && len(held) > sortedRows {
			streaming = true
			last := held[len(held)-1].Machine
			cut := slices.IndexFunc(held, func(r row) bool { return r.Machine == last })
			tail := slices.Clone(held[cut:])
			held = held[:cut]
			if err := flush(); err != nil {
				return err
			}
			held = tail
		}
		return nil
	})
	if err == nil {
		err = flush()
	}
	if late := side.end(); err == nil {
		err = late
	}
	return err
}

// blocksAtOnce is how many machines of a large file are decided side by side,
// and appendsAtOnce of how many the rows are appended: those wait for the disk
// together.
const (
	blocksAtOnce  = 4
	appendsAtOnce = 16
)

// sideBySide works on machines side by side, and hands on what became of them
// in the order of their coming.
type sideBySide struct {
	p     *importPass
	most  int
	done  func(plan) error
	under []chan blockDone // the oldest first
}

// blockDone is what became of one machine's rows.
type blockDone struct {
	plan     plan
	report   ImportReport
	rejected []row
	err      error
	panicked any
}

// begin works on a machine, at once or, for a large file, beside others.
func (s *sideBySide) begin(large bool, work func(p *importPass) (plan, error)) error {
	if !large {
		plan, err := work(s.p)
		if err == nil && plan.Machine != "" {
			err = s.done(plan)
		}
		return err
	}
	if len(s.under) == s.most {
		if err := s.next(); err != nil {
			return err
		}
	}
	ready := make(chan blockDone, 1)
	s.under = append(s.under, ready)
	own := importPass{w: s.p.w, req: s.p.req, skip: s.p.skip, trial: s.p.trial}
	go func() {
		var out blockDone
		defer func() { out.panicked = recover(); ready <- out }()
		own.report = &out.report
		own.reject = func(i int, d Draft) error {
			out.rejected = append(out.rejected, row{i, d})
			return nil
		}
		out.plan, out.err = work(&own)
	}()
	return nil
}

// next takes in what became of the oldest.
func (s *sideBySide) next() error {
	done := <-s.under[0]
	s.under = s.under[1:]
	if done.panicked != nil {
		panic(done.panicked) // where whoever asked can catch it
	}
	s.p.report.Already += done.report.Already
	s.p.report.Recorded += done.report.Recorded
	for _, r := range done.rejected {
		if err := s.p.reject(r.index, r.Draft); err != nil {
			return errors.Join(err, done.err)
		}
	}
	if done.err == nil && done.plan.Machine != "" {
		return s.done(done.plan)
	}
	return done.err
}

// end waits for all that was begun. The first error counts.
func (s *sideBySide) end() (err error) {
	for len(s.under) > 0 {
		if e := s.next(); err == nil {
			err = e
		}
	}
	return err
}

// rowID names the record of a row that has no name of its own.
func rowID(kind registry.Kind, digest string, index int) string {
	return string(kind) + "-" + registry.LeafHash(fmt.Appendf(nil, "%s row %d", digest, index))[:20]
}

// order is where a machine first appears among rows.
func order(rows []row, machine string) int {
	return slices.IndexFunc(rows, func(r row) bool { return r.Machine == machine })
}

// plan tries the rows of one machine on its dossier; rows that are refused go
// to reject, and what is left is given back decided.
func (p *importPass) plan(ctx context.Context, machine string, rows []row) (plan, error) {
	d, err := p.w.replay(ctx, machine)
	if err != nil {
		return plan{}, err
	}
	expect, before := d.Version(), p.report.Already
	req := Request{Machine: machine, Actor: p.req.Actor, trial: p.trial}
	good := make([]decided, 0, len(rows))
	bodies := make([]registry.Body, 0, len(rows))
	for _, r := range rows {
		bodies = append(bodies, r.Body)
	}
	known := secretsOf(d, bodies...)
	for len(rows) > 0 {
		n := 1
		for n < len(rows) && rows[n].Row > 0 && rows[n].Row == rows[0].Row && rows[n].File == rows[0].File {
			n++
		}
		var group []decided
		if d, group, err = p.decideRow(ctx, d, req, known, rows[:n]); err != nil {
			return plan{}, err
		}
		good = append(good, group...)
		rows = rows[n:]
	}
	if p.trial {
		good = nil
	}
	return planOf(machine, expect, p.report.Already-before, good), nil
}

// decideRow tries the drafts of one row of the file, which stands or falls as a
// whole. It gives the dossier as it is with the row, or without it when the row
// was refused.
func (p *importPass) decideRow(ctx context.Context, d *registry.Dossier, req Request, known []secret, row []row) (*registry.Dossier, []decided, error) {
	trial := d
	if len(row) > 1 {
		trial = d.Known(p.w.Now().AddDate(1000, 0, 0)) // a copy of all of it
	}
	var good []decided
	var faults []registry.Field
	already := 0
	for _, r := range row {
		there, err := p.w.alreadyThere(trial, r.Body, known)
		if err != nil {
			return nil, nil, err
		}
		if there {
			already++
			continue
		}
		b, err := p.w.decideAll(ctx, trial, req, known, []registry.Body{r.Body})
		var refusal *registry.Error
		if errors.As(err, &refusal) {
			faults = append(faults, placed(r.Draft, refusal)...)
		} else if err != nil {
			return nil, nil, err
		}
		good = append(good, decided{r, b})
	}
	p.report.Already += already
	if len(faults) == 0 {
		return trial, good, nil
	}
	for _, r := range good {
		// The first of the row carries what is wrong with any of it.
		r.Faults, faults = faults, nil
		if err := p.reject(r.index, r.Draft); err != nil {
			return nil, nil, err
		}
	}
	return d, nil, nil
}

// decided is a row with its events.
type decided struct {
	row
	batch
}

// placed puts a refusal at its place in the file.
func placed(d Draft, e *registry.Error) []registry.Field {
	if len(e.Fields) == 0 {
		return []registry.Field{{File: d.File, Row: d.Row, Message: e.Message, Fix: e.Fix}}
	}
	var out []registry.Field
	for _, f := range e.Fields {
		f.File, f.Row = d.File, d.Row
		out = append(out, f)
	}
	return out
}

// alreadyThere says whether the very record stands in the dossier, so that a
// file can be imported twice. A date that an act got on the day of its first
// import is not held against it.
func (w *Workshop) alreadyThere(d *registry.Dossier, given registry.Body, known []secret) (bool, error) {
	e, ok := d.Entry(registry.IDOf(given))
	if !ok || e.Kind != given.Kind() {
		return false, nil
	}
	want := clone(given)
	for i, p := range registry.Privates(want) {
		old := registry.Privates(e.Body)
		if i < len(old) && p.Digest == "" && p.Value == old[i].Value {
			*p = *old[i]
		}
	}
	// Deciding writes components by their ids before it refuses what is there.
	_ = registry.Decide(d, w.rules(), registry.Act{At: w.Now(), Body: want})
	completed(want, e.Body)
	want, err := withhold(want, known)
	if err != nil {
		return false, err
	}
	// A name may have become known since it was recorded.
	recorded, err := withhold(e.Body, known)
	if err != nil {
		return false, err
	}
	return registry.SameRecord(recorded, want)
}

// completed fills in what recording completes besides what registry.SameRecord
// leaves aside.
func completed(given, recorded registry.Body) {
	switch given := given.(type) {
	case *registry.Machine:
		old, ok := recorded.(*registry.Machine)
		for i := range given.Numbers {
			if ok && i < len(old.Numbers) && given.Numbers[i].Masked == "" {
				given.Numbers[i].Masked = old.Numbers[i].Masked
			}
		}
	case *registry.Claim:
		if old, ok := recorded.(*registry.Claim); ok && given.Estimate == nil {
			given.Estimate = old.Estimate
		}
	}
}
