package workshop

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
)

// The key families of the numbers that machines have in common. They hold whole
// numbers, as the private half of the search does: nothing but the functions
// below reads them, and no edition but the private one shows what they give.
const (
	numberAt   = "number/at/"   // place, make and Alike of a number → its bearers
	numberOf   = "number/of/"   // machine id → what it has under which keys
	numberPair = "number/pair/" // two machine ids and the place → sharedPair
	numberSaid = "number/said/" // machine id → what is said on its record of shared numbers
)

// maxBearers is how many readings stand under one key at most. What so many
// machines of a make have in one place is no number of a machine, such as
// "unknown"; who comes later is not held against them, and the entries and what
// an update writes stay small.
const maxBearers = 64

// everyMake is the place whose numbers no maker gives, so that machines of all
// makes are compared.
const everyMake = "registration"

// makerWithin is the make within which the numbers of a place are compared; "" for all.
func makerWithin(where, maker string) string {
	if where == everyMake {
		return ""
	}
	return maker
}

// bearer is one reading of a number on one machine.
type bearer struct {
	Machine string `json:"m"`
	Read    string `json:"r"`
	// Doubtful marks a reading that differs from what was taken down in a
	// character that can be read in more than one way.
	Doubtful bool `json:"d,omitempty"`
}

// sharedPair is how near the readings of two machines come to each other.
type sharedPair struct {
	Make     string    `json:"make"`
	Where    string    `json:"where"`
	Machines [2]string `json:"m"`
	Reads    [2]string `json:"r"`
	Apart    int       `json:"a"` // characters that only look alike
	Doubtful bool      `json:"d,omitempty"`
}

// nearer says that a pair of readings is surer than another.
func (p sharedPair) nearer(q sharedPair) bool {
	if p.Doubtful != q.Doubtful {
		return !p.Doubtful
	}
	return p.Apart < q.Apart
}

// said is a statement on a shared number as the views keep it.
type said struct {
	Other  string    `json:"o"`
	Where  string    `json:"w"`
	Says   string    `json:"s"`
	Why    string    `json:"y"`
	By     string    `json:"b"`
	At     time.Time `json:"t"`
	Record string    `json:"i"`
}

// numbersOn are the readings of a machine's numbers by their keys; none of a
// machine whose record is kept on elsewhere.
func (w *Workshop) numbersOn(d *registry.Dossier, m *registry.Machine) map[string][]bearer {
	out := map[string][]bearer{}
	if _, moved := d.MovedTo(w.Registry); moved {
		return out
	}
	for _, n := range m.Numbers {
		if n.AsRead.Value == "" {
			continue
		}
		for i, reading := range readings(n) {
			alike := lookup.Alike(reading)
			if alike == "" {
				continue // such as "?": nothing was read
			}
			where := lookup.Plain(n.Where)
			key := strings.Join([]string{where, lookup.Plain(makerWithin(where, m.Make)), alike}, "/")
			b := bearer{d.ID, reading, i > 0}
			if !slices.Contains(out[key], b) {
				out[key] = append(out[key], b)
			}
		}
	}
	return out
}

// keptNumbers are the readings of a machine's numbers as the views have them.
func (w *Workshop) keptNumbers(ctx context.Context, machine string) (out map[string][]bearer, err error) {
	raw, ok, err := w.Views.Get(ctx, numberOf+machine)
	if err != nil || !ok {
		return nil, err
	}
	return out, unmarshalView(raw, &out)
}

// noteNumbers brings what the views know of a machine's numbers up to its
// record. What it reads and writes grows with the machine's numbers and those
// who share them.
func (w *Workshop) noteNumbers(tx ViewTx, d *registry.Dossier, m *registry.Machine) error {
	if err := noteSaid(tx, d); err != nil {
		return err
	}
	now := w.numbersOn(d, m)
	raw, err := json.Marshal(now)
	if err != nil {
		return err
	}
	before, _, err := tx.Get(numberOf + d.ID)
	if err != nil || bytes.Equal(before, raw) || before == nil && len(now) == 0 {
		return err
	}
	var old map[string][]bearer
	if before != nil {
		if err := unmarshalView(before, &old); err != nil {
			return err
		}
	}
	for key := range old {
		others, err := bearersAt(tx, key, d.ID)
		if err != nil {
			return err
		}
		for _, o := range others {
			tx.Delete(pairKey(d.ID, o.Machine, whereOf(key)))
		}
		if err := putBearers(tx, key, others); err != nil {
			return err
		}
	}
	pairs := map[string]sharedPair{}
	for key, mine := range now {
		others, err := bearersAt(tx, key, d.ID)
		if err != nil {
			return err
		}
		if len(others)+len(mine) > maxBearers {
			continue
		}
		for _, o := range others {
			for _, b := range mine {
				p := pairOf(m.Make, whereOf(key), b, o)
				at := pairKey(d.ID, o.Machine, whereOf(key))
				if known, ok := pairs[at]; !ok || p.nearer(known) {
					pairs[at] = p
				}
			}
		}
		if err := putBearers(tx, key, append(others, mine...)); err != nil {
			return err
		}
	}
	for at, p := range pairs {
		raw, err := json.Marshal(p)
		if err != nil {
			return err
		}
		tx.Put(at, raw)
	}
	tx.Put(numberOf+d.ID, raw)
	return nil
}

func whereOf(key string) string { where, _, _ := strings.Cut(key, "/"); return where }

func pairKey(a, b, where string) string {
	return numberPair + min(a, b) + "\x00" + max(a, b) + "\x00" + where
}

func pairOf(maker, where string, a, b bearer) sharedPair {
	if a.Machine > b.Machine {
		a, b = b, a
	}
	return sharedPair{makerWithin(where, maker), where, [2]string{a.Machine, b.Machine}, [2]string{a.Read, b.Read}, lookup.Apart(a.Read, b.Read), a.Doubtful || b.Doubtful}
}

// bearersAt are those at a key but for one machine.
func bearersAt(tx ViewTx, key, without string) ([]bearer, error) {
	raw, ok, err := tx.Get(numberAt + key)
	if err != nil || !ok {
		return nil, err
	}
	var out []bearer
	err = unmarshalView(raw, &out)
	return slices.DeleteFunc(out, func(b bearer) bool { return b.Machine == without }), err
}

func putBearers(tx ViewTx, key string, list []bearer) error {
	if len(list) == 0 {
		tx.Delete(numberAt + key)
		return nil
	}
	raw, err := json.Marshal(list)
	if err == nil {
		tx.Put(numberAt+key, raw)
	}
	return err
}

// noteSaid keeps what a machine's record says of shared numbers.
func noteSaid(tx ViewTx, d *registry.Dossier) error {
	var list []said
	for _, s := range registry.Live[*registry.SharedNumber](d) {
		if s.Record.Other.Value != "" {
			list = append(list, said{s.Record.Other.Value, lookup.Plain(s.Record.Where), s.Record.Says, s.Record.Why, s.Record.By, s.Recorded, s.RecordID()})
		}
	}
	if len(list) == 0 {
		if _, ok, err := tx.Get(numberSaid + d.ID); err != nil || !ok {
			return err
		}
		tx.Delete(numberSaid + d.ID)
		return nil
	}
	raw, err := json.Marshal(list)
	if err == nil {
		tx.Put(numberSaid+d.ID, raw)
	}
	return err
}

// unmarshalView reads an entry of the views.
func unmarshalView(raw []byte, v any) error {
	if err := json.Unmarshal(raw, v); err != nil {
		return registry.Refuse(registry.CodeTampered, "Compute the views again; the ledger itself is not touched by this.", "An entry of the views cannot be read: %v", err)
	}
	return nil
}

// How sure it is that two machines have one number.
const (
	SureExact    = "exact"     // the readings are the same but for spaces, hyphens and capitals
	SureAlike    = "one-apart" // they differ in one character, and the two look alike
	SureFar      = "more-apart"
	SureDoubtful = "doubtful" // only in another reading of a doubtful character
)

// Duplicate is a number that two machines have. Readings are whole: it belongs
// to the private edition.
type Duplicate struct {
	Where    string             `json:"where"` // frame, engine, …
	Make     string             `json:"make"`  // empty for a registration
	Sure     string             `json:"sure"`
	Apart    int                `json:"characters_apart"`
	Machines [2]DuplicateBearer `json:"machines"`
	// Said is what was last said of it, nil while nobody has.
	Said *SaidOfNumber `json:"said,omitempty"`
}

// DuplicateBearer is one of the two. One that is hidden from who asks has
// neither name nor reading.
type DuplicateBearer struct {
	Machine string `json:"machine,omitempty"`
	Name    string `json:"name,omitempty"`
	Reading string `json:"reading,omitempty"`
}

// SaidOfNumber is a statement, and on which machine's record it stands.
type SaidOfNumber struct {
	Says    string    `json:"says"`
	Why     string    `json:"why"`
	Machine string    `json:"on,omitempty"`
	Record  string    `json:"record,omitempty"`
	At      time.Time `json:"at"`
}

// MaxDuplicates is how many pairs one answer holds at most.
const MaxDuplicates = 200

// DuplicatesList is an answer of Duplicates.
type DuplicatesList struct {
	Duplicates []Duplicate `json:"duplicates"`
	// Open are those of them of which nothing is said yet.
	Open int `json:"open"`
	// Next goes on after the last; absent at the end.
	Next string `json:"next,omitempty"`
}

// Duplicates lists the numbers that two machines of the registry have, those of
// which nothing is said first among the page's, at most MaxDuplicates after a
// place that an earlier answer gave. It needs no ledger.
func (w *Workshop) Duplicates(ctx context.Context, after string) (*DuplicatesList, error) {
	if err := w.refresh(ctx); err != nil {
		return nil, err
	}
	out := &DuplicatesList{Duplicates: []Duplicate{}}
	if after != "" {
		after = numberPair + after
	}
	last := ""
	err := w.Views.Scan(ctx, numberPair, after, 0, func(key string, value []byte) error {
		if len(out.Duplicates) == MaxDuplicates {
			out.Next = strings.TrimPrefix(last, numberPair)
			return errEnough
		}
		var p sharedPair
		if err := unmarshalView(value, &p); err != nil {
			return err
		}
		last = key
		if MaySee(ctx, p.Machines[0]) != nil || MaySee(ctx, p.Machines[1]) != nil {
			return nil
		}
		return w.addDuplicate(ctx, out, p)
	})
	if err != nil && !errors.Is(err, errEnough) {
		return nil, err
	}
	out.order()
	return out, nil
}

// DuplicatesOf lists the machines that share a number with one. A machine that
// is hidden from who asks is counted and not named.
func (w *Workshop) DuplicatesOf(ctx context.Context, machine string) (*DuplicatesList, error) {
	if err := MaySee(ctx, machine); err != nil {
		return nil, err
	}
	if err := w.refresh(ctx); err != nil {
		return nil, err
	}
	out := &DuplicatesList{Duplicates: []Duplicate{}}
	raw, ok, err := w.Views.Get(ctx, numberOf+machine)
	if err != nil || !ok {
		return out, err
	}
	var mine map[string][]bearer
	if err := unmarshalView(raw, &mine); err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for key := range mine {
		raw, ok, err := w.Views.Get(ctx, numberAt+key)
		if err != nil {
			return nil, err
		}
		var all []bearer
		if ok {
			err = unmarshalView(raw, &all)
		}
		if err != nil {
			return nil, err
		}
		for _, b := range all {
			at := pairKey(machine, b.Machine, whereOf(key))
			if b.Machine == machine || seen[at] {
				continue
			}
			seen[at] = true
			raw, ok, err := w.Views.Get(ctx, at)
			if err != nil {
				return nil, err
			}
			if !ok {
				continue // the other machine's number was corrected just now
			}
			var p sharedPair
			if err := unmarshalView(raw, &p); err != nil {
				return nil, err
			}
			if err := w.addDuplicate(ctx, out, p); err != nil {
				return nil, err
			}
		}
	}
	out.order()
	return out, nil
}

// addDuplicate puts names and the last statement to a pair.
func (w *Workshop) addDuplicate(ctx context.Context, out *DuplicatesList, p sharedPair) error {
	d := Duplicate{Where: p.Where, Make: p.Make, Apart: p.Apart, Sure: SureExact}
	switch {
	case p.Doubtful:
		d.Sure = SureDoubtful
	case p.Apart == 1:
		d.Sure = SureAlike
	case p.Apart > 1:
		d.Sure = SureFar
	}
	var newest said
	for i, machine := range p.Machines {
		if MaySee(ctx, machine) != nil {
			continue
		}
		d.Machines[i] = DuplicateBearer{Machine: machine, Reading: p.Reads[i]}
		raw, ok, err := w.Views.Get(ctx, viewMachine+machine)
		if err != nil {
			return err
		}
		var s Summary
		if ok {
			if err := unmarshalView(raw, &s); err != nil {
				return err
			}
		}
		d.Machines[i].Name = s.Name
		list, err := w.saidOn(ctx, machine)
		if err != nil {
			return err
		}
		for _, x := range list {
			if x.Other == p.Machines[1-i] && x.Where == p.Where && !x.At.Before(newest.At) {
				newest = x
				d.Said = &SaidOfNumber{Says: x.Says, Why: x.Why, Machine: machine, Record: x.Record, At: x.At}
			}
		}
	}
	if d.Said == nil {
		out.Open++
	}
	out.Duplicates = append(out.Duplicates, d)
	return nil
}

func (w *Workshop) saidOn(ctx context.Context, machine string) ([]said, error) {
	raw, ok, err := w.Views.Get(ctx, numberSaid+machine)
	if err != nil || !ok {
		return nil, err
	}
	var list []said
	return list, unmarshalView(raw, &list)
}

// order puts what is open before what is settled, and the surer before.
func (l *DuplicatesList) order() {
	rank := []string{SureExact, SureAlike, SureFar, SureDoubtful}
	settled := func(d Duplicate) int {
		if d.Said != nil {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(l.Duplicates, func(a, b Duplicate) int {
		return cmp.Or(settled(a)-settled(b), slices.Index(rank, a.Sure)-slices.Index(rank, b.Sure),
			strings.Compare(a.Machines[0].Machine, b.Machines[0].Machine), strings.Compare(a.Machines[1].Machine, b.Machines[1].Machine), strings.Compare(a.Where, b.Where))
	})
}

// SayOfNumber records what is to be thought of a number that two machines have,
// on the first one's record. CodeInvalid when they have none in common at that
// place.
func (w *Workshop) SayOfNumber(ctx context.Context, req Request, s *registry.SharedNumber) (Receipt, error) {
	known, err := w.DuplicatesOf(ctx, req.Machine)
	if err != nil {
		return Receipt{}, err
	}
	shared := slices.ContainsFunc(known.Duplicates, func(d Duplicate) bool {
		return d.Where == lookup.Plain(s.Where) && (d.Machines[0].Machine == s.Other.Value || d.Machines[1].Machine == s.Other.Value)
	})
	if !shared || s.Other.Value == req.Machine {
		return Receipt{}, &registry.Error{Code: registry.CodeInvalid, Message: "The two machines have no number in common there", Fix: "List the duplicates to see which have.",
			Fields: []registry.Field{{Pointer: "/other", Message: "The two machines have no number in common there"}}}
	}
	return w.Record(ctx, req, s)
}

// Cautions are sentences about numbers that a machine shares with others and of
// which nothing is said yet.
func (l *DuplicatesList) Cautions(machine string) []string {
	out := []string{}
	for _, d := range l.Duplicates {
		if d.Said != nil {
			continue
		}
		other := d.Machines[0]
		if other.Machine == machine {
			other = d.Machines[1]
		}
		if other.Machine == "" {
			out = append(out, "Another machine of this registry, which is not yours to see, has the same "+d.Where+" number: ask the keeper.")
			continue
		}
		out = append(out, d.sentence(other.Machine))
	}
	return out
}

// sentence says how near the other machine's number comes.
func (d Duplicate) sentence(other string) string {
	switch d.Sure {
	case SureExact:
		return "The machine " + other + " has the same " + d.Where + " number. Look at both, and say which it is: one machine twice, two machines, or a wrong reading."
	case SureAlike:
		return "The machine " + other + " has a " + d.Where + " number that differs in one character, and the two look alike. Look at both."
	case SureDoubtful:
		return "The machine " + other + " has the same " + d.Where + " number in one reading of a doubtful character. Look at both."
	}
	return "The machine " + other + " has a " + d.Where + " number that differs only in characters that look alike. Look at both."
}
