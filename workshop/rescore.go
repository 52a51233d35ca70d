package workshop

import (
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// Every machine's indices with the credits left out, kept ready so that the
// whole register can be looked at from another standpoint without computing
// every machine anew. They are made when they are first asked for, and again for
// machines whose record, or for all whose catalog, has changed since.
const (
	viewFolded  = "folded/"     // machine id → its folded indices
	viewDue     = "due/"        // machine id → version up to which it must be folded anew
	foldedUnder = "folded-with" // the catalog's identity and the form of what is folded
)

// foldedForm is raised when what stands under viewFolded changes its shape.
const foldedForm = "1 "

// Rescored is the register from one standpoint.
type Rescored struct {
	Standpoint string            `json:"standpoint"`
	Title      string            `json:"title"`
	Sentence   string            `json:"sentence"`
	Catalog    string            `json:"catalog"`
	By         string            `json:"by"` // the index that they are ordered by
	Machines   int               `json:"machines"`
	Indices    []RescoredIndex   `json:"indices"`
	Rows       []RescoredMachine `json:"rows"` // the most original first; refused ones last
}

// RescoredIndex is how one index lies over the register: of the machines that
// have a figure, the lowest, the middle and the highest mean.
type RescoredIndex struct {
	Name    string  `json:"name"`
	Count   int     `json:"with_a_figure"`
	Refused int     `json:"refused"`
	Low     float64 `json:"lowest_mean"`
	Median  float64 `json:"median_mean"`
	High    float64 `json:"highest_mean"`
}

// RescoredMachine is one machine from the standpoint.
type RescoredMachine struct {
	ID          string       `json:"id"`
	Substance   RescoredMean `json:"substance"`
	Surface     RescoredMean `json:"surface"`
	Correctness RescoredMean `json:"correctness"`
}

// RescoredMean is the mean of an index and its standard deviation, both 0 to 1,
// by the closed forms of index/1. Both are 0 when it is refused.
type RescoredMean struct {
	Mean     float64 `json:"mean"`
	SD       float64 `json:"sd"`
	Coverage float64 `json:"coverage"` // share of the weight that rests on more than the prior
	Refused  bool    `json:"refused,omitempty"`
}

// Of is one of the means, by the index's name.
func (m *RescoredMachine) Of(index string) *RescoredMean {
	switch index {
	case "surface":
		return &m.Surface
	case "correctness":
		return &m.Correctness
	}
	return &m.Substance
}

// Rescore looks at the whole register from a standpoint, "" for the catalog's
// first, ordered by an index, "" for substance. progress is told how many
// machines had to be folded; it may be nil. CodeNotFound for a standpoint that
// is not there, CodeInvalid for another index.
func (w *Workshop) Rescore(ctx context.Context, standpointID, by string, progress func(done int)) (*Rescored, error) {
	sp, err := w.standpoint(standpointID)
	if err != nil {
		return nil, err
	}
	known, _ := w.Catalog.Standpoint(standpointID)
	by = cmp.Or(by, indexNames[0])
	if !slices.Contains(indexNames[:], by) {
		return nil, registry.Refuse(registry.CodeInvalid, "Name one of: "+strings.Join(indexNames[:], ", ")+".", "There is no index %q", by)
	}
	if err := w.fold(ctx, progress); err != nil {
		return nil, err
	}
	out := &Rescored{Standpoint: sp.id, Title: known.Title, Sentence: known.Sentence, Catalog: w.catalogIdentity(), By: by, Rows: []RescoredMachine{}}
	credits := foldedCredits(sp)
	err = w.eachFolded(ctx, func(machine string, folded []byte) error {
		row := RescoredMachine{ID: machine}
		if err := row.read(folded, credits, sp.minimum); err != nil {
			return err
		}
		out.Rows = append(out.Rows, row)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Machines = len(out.Rows)
	for _, name := range indexNames {
		out.Indices = append(out.Indices, summed(name, out.Rows))
	}
	slices.SortStableFunc(out.Rows, func(a, b RescoredMachine) int {
		x, y := a.Of(by), b.Of(by)
		if x.Refused != y.Refused {
			if x.Refused {
				return 1
			}
			return -1
		}
		return cmp.Compare(y.Mean, x.Mean)
	})
	return out, nil
}

func summed(name string, rows []RescoredMachine) RescoredIndex {
	out := RescoredIndex{Name: name}
	means := make([]float64, 0, len(rows))
	for i := range rows {
		if m := rows[i].Of(name); m.Refused {
			out.Refused++
		} else {
			means = append(means, m.Mean)
		}
	}
	if out.Count = len(means); out.Count > 0 {
		slices.Sort(means)
		out.Low, out.Median, out.High = means[0], means[(len(means)-1)/2], means[len(means)-1]
	}
	return out
}

// eachFolded gives the folded indices of every machine that may be seen.
func (w *Workshop) eachFolded(ctx context.Context, fn func(machine string, folded []byte) error) error {
	return w.Views.Scan(ctx, viewFolded, "", 0, func(key string, value []byte) error {
		machine := key[len(viewFolded):]
		if MaySee(ctx, machine) != nil {
			return nil
		}
		return fn(machine, value)
	})
}

// markDue notes that a machine must be folded anew.
func markDue(tx ViewTx, machine string, version uint64) {
	tx.Put(viewDue+machine, binary.AppendUvarint(nil, version))
}

// foldStep is how many machines are folded for one update.
const foldStep = 64

// fold brings every machine's folded indices up to date.
func (w *Workshop) fold(ctx context.Context, progress func(done int)) error {
	if err := w.refresh(ctx); err != nil {
		return err
	}
	if err := w.foldUnderCatalog(ctx); err != nil {
		return err
	}
	done := 0
	for {
		var due []string
		if err := w.Views.Scan(ctx, viewDue, "", foldStep, func(key string, _ []byte) error {
			due = append(due, key[len(viewDue):])
			return nil
		}); err != nil || len(due) == 0 {
			return err
		}
		type folded struct {
			version uint64
			value   []byte // nil for a record that is kept on elsewhere
		}
		made := make([]folded, len(due))
		for i, machine := range due {
			d, err := w.replay(ctx, machine)
			if err != nil {
				return err
			}
			made[i].version = d.Version()
			if _, moved := d.MovedTo(w.Registry); moved {
				continue // it is counted where it is kept
			}
			if made[i].value, err = w.folded(d); err != nil {
				return fmt.Errorf("fold %s: %w", machine, err)
			}
		}
		if err := w.updateViews(ctx, func(tx ViewTx) error {
			for i, machine := range due {
				if made[i].value == nil {
					tx.Delete(viewFolded + machine)
				} else {
					tx.Put(viewFolded+machine, made[i].value)
				}
				raw, _, err := tx.Get(viewDue + machine)
				if err != nil {
					return err
				}
				if version, _ := binary.Uvarint(raw); version <= made[i].version {
					tx.Delete(viewDue + machine)
				}
			}
			return nil
		}); err != nil {
			return err
		}
		if done += len(due); progress != nil {
			progress(done)
		}
	}
}

// updateViews writes what does not hang on how far the views have come.
func (w *Workshop) updateViews(ctx context.Context, fn func(tx ViewTx) error) error {
	for try := 1; ; try++ {
		at, _, err := w.Views.Checkpoint(ctx)
		if err != nil {
			return err
		}
		err = w.Views.Update(ctx, at, fn)
		if registry.CodeOf(err) != registry.CodeConflict || try == maxTries {
			return err
		}
	}
}

// foldUnderCatalog marks every machine when what is folded was computed with
// another catalog: its weights and priors are in it.
func (w *Workshop) foldUnderCatalog(ctx context.Context) error {
	want := foldedForm + w.catalogIdentity()
	have, _, err := w.Views.Get(ctx, foldedUnder)
	if err != nil || string(have) == want {
		return err
	}
	after := ""
	for {
		var page []string
		if err := w.Views.Scan(ctx, viewMachine, after, stepEntries, func(key string, _ []byte) error {
			after = key
			page = append(page, key[len(viewMachine):])
			return nil
		}); err != nil {
			return err
		}
		if err := w.updateViews(ctx, func(tx ViewTx) error {
			for _, machine := range page {
				markDue(tx, machine, 0) // any version will do
			}
			if len(page) < stepEntries {
				tx.Put(foldedUnder, []byte(want))
			}
			return nil
		}); err != nil || len(page) < stepEntries {
			return err
		}
	}
}

// neutral is a standpoint under which every state counts in full, so that what
// is left of a credit is what work has left of it.
func neutral() standpoint {
	out := standpoint{credits: map[registry.Proposition]scoring.Distribution{}}
	for _, p := range indexQuestion {
		for _, s := range foldedStates(p) {
			out.credits[p] = append(out.credits[p], scoring.Entry[float64]{Key: s, Value: 1})
		}
	}
	return out
}

// foldedStates are the states of a question in the order of what is folded.
func foldedStates(p registry.Proposition) []string {
	return append(registry.States(p), registry.StateOther)
}

// foldedCredits are the credits of a standpoint, by index, in that order.
func foldedCredits(sp standpoint) [len(indexNames)][]float64 {
	var out [len(indexNames)][]float64
	for i, name := range indexNames {
		p := indexQuestion[name]
		for _, s := range foldedStates(p) {
			c, _ := sp.credits[p].Get(s)
			out[i] = append(out[i], c)
		}
	}
	return out
}

// folded packs a machine's three indices: coverage, weight, linear and square
// terms, each a double with its lowest byte first. An index that has no figure
// whatever the credits, for want of weight or because its evidence contradicts
// itself, has NaN for its weight: one such machine keeps no other from its own.
func (w *Workshop) folded(d *registry.Dossier) ([]byte, error) {
	s, none := w.look(d, "")
	if none != nil && registry.CodeOf(none) == registry.CodeInternal {
		return nil, none
	}
	if none == nil {
		s.standpoint = neutral()
	}
	var out []byte
	put := func(values ...float64) {
		for _, v := range values {
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
		}
	}
	for _, name := range indexNames {
		states := foldedStates(indexQuestion[name])
		f, coverage, err := scoring.Folded{}, 0.0, none
		if err == nil {
			coverage = s.coverage(name)
			f, err = s.foldedIndex(name, states)
		}
		switch {
		case err == nil:
		case registry.CodeOf(err) == registry.CodeInternal:
			return nil, err
		default:
			f = scoring.Folded{Weight: math.NaN(), Linear: make([]float64, len(states)), Square: make([]float64, scoring.SquareSize(len(states)))}
		}
		put(coverage, f.Weight)
		put(f.Linear...)
		put(f.Square...)
	}
	return out, nil
}

func (s *seen) foldedIndex(name string, states []string) (scoring.Folded, error) {
	in, err := s.indexInput(name, false)
	if err != nil {
		return scoring.Folded{}, err
	}
	return scoring.Fold(in, states)
}

// read computes a machine's means under credits. The terms are read where they
// stand: a register has many of them.
func (m *RescoredMachine) read(folded []byte, credits [len(indexNames)][]float64, minimum float64) error {
	var terms [2 + 16 + 16*17/2]float64
	for i, name := range indexNames {
		n := len(credits[i])
		count := 2 + n + scoring.SquareSize(n)
		if len(folded) < 8*count || count > len(terms) {
			return registry.Refuse(registry.CodeTampered, "Compute the views again; the ledger itself is not touched by this.", "The folded indices of %s cannot be read", m.ID)
		}
		for k := range count {
			terms[k] = math.Float64frombits(binary.LittleEndian.Uint64(folded[8*k:]))
		}
		folded = folded[8*count:]
		x := m.Of(name)
		if x.Coverage = terms[0]; x.Coverage < minimum || math.IsNaN(terms[1]) {
			x.Refused = true
			continue
		}
		x.Mean, x.SD = scoring.Folded{Weight: terms[1], Linear: terms[2 : 2+n], Square: terms[2+n : count]}.Under(credits[i])
	}
	return nil
}

// ListRescored is the register from a standpoint as a sheet.
func ListRescored(r *Rescored) List {
	headings := []string{"machine"}
	for _, name := range indexNames {
		headings = append(headings, name+" mean (0 to 1)", name+" standard deviation (0 to 1)", name+" coverage (share of the weight)")
	}
	return List{Name: "rescored", Headings: append(headings, "standpoint"), Each: func(fn func([]any) error) error {
		for i := range r.Rows {
			cells := []any{r.Rows[i].ID}
			for _, name := range indexNames {
				if m := r.Rows[i].Of(name); m.Refused {
					cells = append(cells, nil, nil, m.Coverage)
				} else {
					cells = append(cells, m.Mean, m.SD, m.Coverage)
				}
			}
			if err := fn(append(cells, r.Standpoint)); err != nil {
				return err
			}
		}
		return nil
	}}
}
