package workshop

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// The key families of the counts over the register. Each machine adds to two
// tables, that of its model and that of all; what it added stands beside, so
// that it can be taken out again.
const (
	tallyAll   = "tally/all"    // tally, packed
	tallyModel = "tally/model/" // make and model → tally, packed
	tallyCount = "tally/count/" // make and model → modelCount
	tallyOf    = "tally/of/"    // machine id → contribution, packed
)

// tally counts machines by what they have.
type tally map[string]int

// tallies are changes to tables of counts, by the table.
type tallies map[string]tally

// add adds further changes, and says by how many keys there are more.
func (t tallies) add(more tallies) (grown int) {
	for table, by := range more {
		have := t[table]
		if have == nil {
			have = tally{}
			t[table] = have
		}
		grown -= len(have)
		for key, n := range by {
			have[key] += n
		}
		grown += len(have)
	}
	return grown
}

// count adds what a machine adds to its two tables so many times.
func (t tallies) count(c contribution, times int) {
	if len(c.Has) == 0 {
		return
	}
	for _, table := range []string{tallyAll, tallyModel + modelKeyOf(c.Make, c.Model)} {
		by := t[table]
		if by == nil {
			by = make(tally, len(c.Has))
			t[table] = by
		}
		for _, h := range c.Has {
			by[h] += times
		}
	}
}

// contribution is what one machine adds to the tables.
type contribution struct {
	Make  string   `json:"make"`
	Model string   `json:"model"`
	Has   []string `json:"has"`
}

// modelKeyOf is how a make and model stand in keys: the same whatever capitals,
// accents and signs they were typed with.
func modelKeyOf(maker, model string) string { return lookup.Plain(maker) + "/" + lookup.Plain(model) }

// modelCount is how many machines of a model are on record.
type modelCount struct {
	Make     string `json:"make"`
	Model    string `json:"model"`
	Machines int    `json:"machines"`
}

// counts says what a machine adds; nothing when its record is kept on elsewhere.
// It is read from what filters ask for, so that both mean the same.
func (w *Workshop) counts(d *registry.Dossier, m *registry.Machine, facets []string) contribution {
	c := contribution{Make: strings.TrimSpace(m.Make), Model: strings.TrimSpace(m.Model), Has: []string{"machines"}}
	if _, moved := d.MovedTo(w.Registry); moved {
		return contribution{}
	}
	if m.Invented {
		c.Has = append(c.Has, "invented")
	}
	c.Has = append(c.Has, "decade/"+decadeOf(m.Year))
	for _, f := range facets {
		kind, rest, _ := strings.Cut(f, "/")
		switch kind {
		case "phase", "survey":
			c.Has = append(c.Has, f)
		case "index":
			name, figure, _ := strings.Cut(rest, "/")
			if n, err := strconv.Atoi(figure); err == nil {
				c.Has = append(c.Has, "index/"+name+"/"+tenth(float64(n)/100))
			}
		case "origin", "finish":
			if state, component, _ := strings.Cut(rest, "/"); component != "" {
				c.Has = append(c.Has, kind+"/"+component+"/"+state)
			}
		}
	}
	if surveyed := len(registry.Live[*registry.Survey](d)); surveyed > 0 {
		fitted := 0
		for _, x := range w.components() {
			if !slices.Contains(m.NotFitted, x.ID) {
				fitted++
			}
		}
		c.Has = append(c.Has, "covered/"+tenth(float64(surveyed)/float64(max(fitted, 1))))
	}
	slices.Sort(c.Has)
	return c
}

// tenth is which tenth of 0 to 1 a figure lies in, 0 to 9; 1 lies in the last.
func tenth(v float64) string { return strconv.Itoa(min(9, max(0, int(v*10)))) }

// decadeOf is the decade in which a machine was certainly built, or "unknown".
func decadeOf(d registry.Date) string {
	years := buildYears(d)
	if len(years) == 0 || years[0]/10 != years[len(years)-1]/10 {
		return "unknown"
	}
	return strconv.Itoa(years[0] / 10 * 10)
}

// noteCounts brings the tables up to one machine's record.
func (w *Workshop) noteCounts(tx ViewTx, d *registry.Dossier, m *registry.Machine, facets []string) error {
	now := w.counts(d, m, facets)
	raw, _, err := tx.Get(tallyOf + d.ID)
	if err != nil {
		return err
	}
	var before contribution
	if err := unpack(raw, &before); err != nil {
		return err
	}
	same := before.Make == now.Make && before.Model == now.Model && slices.Equal(before.Has, now.Has)
	if same {
		return nil
	}
	if err := changeTallies(tx, func(t tallies) {
		t.count(before, -1)
		t.count(now, 1)
	}); err != nil {
		return err
	}
	for _, c := range []struct {
		contribution
		by int
	}{{before, -1}, {now, 1}} {
		if len(c.Has) > 0 {
			if err := addModel(tx, c.contribution, c.by); err != nil {
				return err
			}
		}
	}
	if raw, err = pack(now); err == nil {
		tx.Put(tallyOf+d.ID, raw)
	}
	return err
}

// changeTallies changes tables, at once or with those of other machines at the
// end of an update: every machine changes the same ones, which are long.
func changeTallies(tx ViewTx, change func(t tallies)) error {
	if c, ok := tx.(*countedTx); ok {
		change(c.tallies)
		return nil
	}
	changes := tallies{}
	change(changes)
	for table, by := range changes {
		if err := addTally(tx, table, by); err != nil {
			return err
		}
	}
	return nil
}

func addTally(tx ViewTx, table string, by tally) error {
	raw, _, err := tx.Get(table)
	if err != nil {
		return err
	}
	t := tally{}
	if err := unpack(raw, &t); err != nil {
		return err
	}
	for key, n := range by {
		if t[key] += n; t[key] == 0 {
			delete(t, key)
		}
	}
	if len(t) == 0 {
		tx.Delete(table)
		return nil
	}
	if raw, err = pack(t); err == nil {
		tx.Put(table, raw)
	}
	return err
}

func addModel(tx ViewTx, c contribution, by int) error {
	key := tallyCount + modelKeyOf(c.Make, c.Model)
	raw, ok, err := tx.Get(key)
	if err != nil {
		return err
	}
	n := modelCount{Make: c.Make, Model: c.Model}
	if ok {
		if err := unmarshalView(raw, &n); err != nil {
			return err
		}
	}
	if n.Machines += by; n.Machines <= 0 {
		tx.Delete(key)
		return nil
	}
	if raw, err = json.Marshal(n); err == nil {
		tx.Put(key, raw)
	}
	return err
}

// LeastCell is how many machines a group must have before a reader who does not
// keep the registry is told of it: fewer would tell of single machines.
const LeastCell = 5

// StatisticsQuestion asks for the figures of the whole register, or of one model.
type StatisticsQuestion struct {
	Make, Model string
	// Least is how many machines a group must have to be told, 0 for any; see
	// LeastCell.
	Least int
}

// Statistics are figures over the machines on record. No machine, person or
// number is in them.
type Statistics struct {
	Make     string `json:"make,omitempty"`
	Model    string `json:"model,omitempty"`
	Machines int    `json:"machines"`
	Invented int    `json:"invented,omitempty"` // demonstration data among them
	Least    int    `json:"least_group"`
	Method   string `json:"method"`

	Models  []Group `json:"models,omitempty"` // of the whole register alone
	Decades []Group `json:"decades"`
	Phases  []Group `json:"phases"`
	// Substance, Surface and Correctness are counts by tenths of the index as
	// found, when the survey was sealed; Covered by tenths of the components
	// surveyed, of machines whose survey has begun.
	Substance   Spread `json:"substance"`
	Surface     Spread `json:"surface"`
	Correctness Spread `json:"correctness"`
	Covered     Spread `json:"covered"`
	// Groups are the components by group, each with its shares.
	Groups []ShareGroup `json:"groups"`
	// Refused says what there is no figure of, why, and what would help.
	Refused []string `json:"refused"`
}

// Group is how many machines have something in common.
type Group struct {
	Name     string `json:"name"`
	Machines int    `json:"machines"`
	// Together is how many groups are told together because each has too few
	// machines to be told alone.
	Together int `json:"together,omitempty"`
	// Make and Model are those of a model.
	Make  string `json:"make,omitempty"`
	Model string `json:"model,omitempty"`
}

// LastYear ends the decade that the group is named after.
func (g Group) LastYear() string {
	first, err := strconv.Atoi(g.Name)
	if err != nil {
		return ""
	}
	return strconv.Itoa(first + 9)
}

// Words name the group.
func (g Group) Words() string {
	if g.Together > 0 {
		return fmt.Sprintf("%d others together, each too small to be told alone or too rare to be listed", g.Together)
	}
	if g.Name == "unknown" {
		return "not known"
	}
	return g.Name
}

// Spread counts machines by tenths of a figure from 0 to 1. It is empty when
// there are too few.
type Spread struct {
	Machines int   `json:"machines"`
	Tenths   []int `json:"tenths,omitempty"`
}

// ShareGroup is the components of one group of the anatomy.
type ShareGroup struct {
	Name       string           `json:"name"`
	Components []ComponentShare `json:"components"`
	// Original and Untouched pool the components: one looked at on one machine
	// counts once.
	Original  CountOf `json:"original"`
	Untouched CountOf `json:"untouched"`
}

// CountOf is so many of those looked at.
type CountOf struct {
	Count  int `json:"count"`
	Looked int `json:"looked"`
}

// ComponentShare is on how many machines a component is original, and in the
// finish that it left the works with. A share is nil below scoring.LeastLooked.
type ComponentShare struct {
	ID        string                    `json:"id"`
	Name      string                    `json:"name"`
	Original  CountOf                   `json:"original"`
	Share     *scoring.ProportionResult `json:"share,omitempty"`
	Untouched CountOf                   `json:"untouched"`
	Finish    *scoring.ProportionResult `json:"finish,omitempty"`
}

// The shares leave out what was looked at without a result, and count a finish
// as untouched that nobody has laid anew.
var (
	notLooked       = []string{"undetermined", ""}
	untouchedStates = []string{"untouched", "worn", "cleaned", "consolidated"}
)

// Statistics gives figures over the machines on record, from the views alone.
// CodeNotFound when no machine of the model is on record, CodeInsufficient when
// there are fewer than the least group.
func (w *Workshop) Statistics(ctx context.Context, q StatisticsQuestion) (*Statistics, error) {
	if err := w.refresh(ctx); err != nil {
		return nil, err
	}
	out := &Statistics{Least: q.Least, Method: scoring.MethodProportion, Refused: []string{}}
	var t tally
	var err error
	if q.Make != "" || q.Model != "" {
		t, err = w.modelTally(ctx, q, out)
	} else if t, err = w.tallyOf(ctx, tallyAll); err == nil {
		err = w.models(ctx, q, out)
	}
	if err != nil {
		return nil, err
	}
	out.Machines, out.Invented = t["machines"], t["invented"]
	if q.Least > 0 && out.Invented < q.Least {
		out.Invented = 0
	}
	if q.Least > 0 && out.Machines < q.Least {
		return nil, registry.Refuse(registry.CodeInsufficient, "Ask the keeper of the registry.", "Fewer than %d machines are on record: figures of so few would tell of single machines", q.Least)
	}
	out.Decades = told(groupsOf(t, "decade/", nil), q.Least)
	out.Phases = told(groupsOf(t, "phase/", Phases()), q.Least)
	out.Substance, out.Surface, out.Correctness = out.spread(t, "index/substance/", "Index of substance"), out.spread(t, "index/surface/", "Index of surface"), out.spread(t, "index/correctness/", "Index of correctness")
	out.Covered = out.spread(t, "covered/", "Share of the components surveyed")
	return out, w.shares(t, out)
}

func (w *Workshop) tallyOf(ctx context.Context, table string) (tally, error) {
	raw, _, err := w.Views.Get(ctx, table)
	if err != nil {
		return nil, err
	}
	t := tally{}
	return t, unpack(raw, &t)
}

// modelTally is the table of one model. A model that is told together with
// others is not told alone either: what is left without it would be told.
func (w *Workshop) modelTally(ctx context.Context, q StatisticsQuestion, out *Statistics) (tally, error) {
	raw, ok, err := w.Views.Get(ctx, tallyCount+modelKeyOf(q.Make, q.Model))
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "Write make and model as they stand on record.", "There is no machine %s %s in this registry", q.Make, q.Model)
	}
	var n modelCount
	if err := unmarshalView(raw, &n); err != nil {
		return nil, err
	}
	out.Make, out.Model = n.Make, n.Model
	if q.Least > 0 {
		list, err := w.allModels(ctx)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(told(list, q.Least), func(g Group) bool { return g.Together == 0 && g.Make == n.Make && g.Model == n.Model }) {
			return nil, registry.Refuse(registry.CodeInsufficient, "Ask the keeper of the registry.", "Fewer than %d machines are of this model, or of all others that are too few to be told alone: figures of so few would tell of single machines", q.Least)
		}
	}
	return w.tallyOf(ctx, tallyModel+modelKeyOf(q.Make, q.Model))
}

// modelsShown is how many models are listed, the most frequent first.
const modelsShown = 50

// allModels are the models on record, the most frequent first.
func (w *Workshop) allModels(ctx context.Context) ([]Group, error) {
	var list []Group
	err := w.Views.Scan(ctx, tallyCount, "", 0, func(_ string, value []byte) error {
		var n modelCount
		if err := unmarshalView(value, &n); err != nil {
			return err
		}
		list = append(list, Group{Name: strings.TrimSpace(n.Make + " " + n.Model), Machines: n.Machines, Make: n.Make, Model: n.Model})
		return nil
	})
	slices.SortStableFunc(list, func(a, b Group) int { return cmp.Or(b.Machines-a.Machines, strings.Compare(a.Name, b.Name)) })
	return list, err
}

func (w *Workshop) models(ctx context.Context, q StatisticsQuestion, out *Statistics) error {
	list, err := w.allModels(ctx)
	list = told(list, q.Least)
	if len(list) > modelsShown {
		rest := Group{Together: len(list) - modelsShown + 1}
		for _, g := range list[modelsShown-1:] {
			rest.Machines += g.Machines
			rest.Together += max(0, g.Together-1)
		}
		list = append(list[:modelsShown-1:modelsShown-1], rest)
	}
	out.Models = list
	return err
}

// groupsOf are the counts under a prefix, in a given order or that of their
// names.
func groupsOf(t tally, prefix string, order []string) []Group {
	out := []Group{}
	for _, key := range slices.Sorted(maps.Keys(t)) {
		if name, ok := strings.CutPrefix(key, prefix); ok {
			out = append(out, Group{Name: name, Machines: t[key]})
		}
	}
	if order != nil {
		slices.SortStableFunc(out, func(a, b Group) int { return slices.Index(order, a.Name) - slices.Index(order, b.Name) })
	}
	return out
}

// told puts the groups that are too small to be told into one. When that one
// would be too small itself, or hold a single group, the smallest of the others
// goes with it: otherwise it could be worked out from the sum.
func told(list []Group, least int) []Group {
	small := 0
	kept := slices.Clone(list)
	rest := Group{}
	for _, g := range list {
		if g.Machines < least {
			rest.Machines += g.Machines
			rest.Together++
		}
	}
	if rest.Together == 0 {
		return kept
	}
	kept = slices.DeleteFunc(kept, func(g Group) bool { return g.Machines < least })
	for len(kept) > 0 && (rest.Machines < least || rest.Together == 1) && small < 2 {
		at := 0
		for i, g := range kept {
			if g.Machines < kept[at].Machines {
				at = i
			}
		}
		rest.Machines += kept[at].Machines
		rest.Together++
		kept = slices.Delete(kept, at, at+1)
		small++
	}
	return append(kept, rest)
}

// spread counts by tenths, and refuses too few.
func (s *Statistics) spread(t tally, prefix, what string) Spread {
	out := Spread{Tenths: make([]int, 10)}
	for i := range 10 {
		out.Tenths[i] = t[prefix+strconv.Itoa(i)]
		out.Machines += out.Tenths[i]
	}
	if out.Machines >= scoring.LeastLooked {
		return out
	}
	s.Refused = append(s.Refused, fmt.Sprintf("%s: no figure. It is known of %d machines, and fewer than %d say nothing of the others. Survey more machines and seal the surveys.", what, out.Machines, scoring.LeastLooked))
	return Spread{Machines: out.Machines}
}

// shares are the shares of original parts and of finishes that were left alone.
func (w *Workshop) shares(t tally, out *Statistics) error {
	byComponent := map[string][2]CountOf{}
	for key, n := range t {
		kind, rest, _ := strings.Cut(key, "/")
		if kind != "origin" && kind != "finish" {
			continue
		}
		component, state, _ := strings.Cut(rest, "/")
		if slices.Contains(notLooked, state) {
			continue
		}
		c := byComponent[component]
		i, of := 0, state == "original"
		if kind == "finish" {
			i, of = 1, slices.Contains(untouchedStates, state)
		}
		c[i].Looked += n
		if of {
			c[i].Count += n
		}
		byComponent[component] = c
	}
	at := map[string]int{}
	few := 0
	for _, x := range w.components() {
		c, ok := byComponent[x.ID]
		if !ok {
			continue
		}
		if _, known := at[x.GroupName]; !known {
			at[x.GroupName] = len(out.Groups)
			out.Groups = append(out.Groups, ShareGroup{Name: x.GroupName})
		}
		group := &out.Groups[at[x.GroupName]]
		row := ComponentShare{ID: x.ID, Name: x.Name, Original: c[0], Untouched: c[1]}
		var err error
		if row.Share, err = proportion(c[0]); err != nil {
			return err
		}
		if row.Finish, err = proportion(c[1]); err != nil {
			return err
		}
		if row.Share == nil && row.Finish == nil {
			few++
			continue
		}
		group.Components = append(group.Components, row.hidden())
		if row.Share != nil {
			group.Original.Count, group.Original.Looked = group.Original.Count+c[0].Count, group.Original.Looked+c[0].Looked
		}
		if row.Finish != nil {
			group.Untouched.Count, group.Untouched.Looked = group.Untouched.Count+c[1].Count, group.Untouched.Looked+c[1].Looked
		}
	}
	out.Groups = slices.DeleteFunc(out.Groups, func(g ShareGroup) bool { return len(g.Components) == 0 })
	if few > 0 {
		out.Refused = append(out.Refused, fmt.Sprintf("No share for %d components: fewer than %d machines were looked at, which leaves their share open. Survey more machines.", few, scoring.LeastLooked))
	}
	return nil
}

// hidden leaves out the counts that are too small to give a share.
func (c ComponentShare) hidden() ComponentShare {
	if c.Share == nil {
		c.Original = CountOf{}
	}
	if c.Finish == nil {
		c.Untouched = CountOf{}
	}
	return c
}

// proportion is scoring.Proportion; nil where it says that there are too few.
func proportion(c CountOf) (*scoring.ProportionResult, error) {
	r, err := scoring.Proportion(scoring.ProportionInput{Count: float64(c.Count), Looked: float64(c.Looked)})
	if registry.CodeOf(err) == registry.CodeInsufficient {
		return nil, nil
	}
	return &r, err
}
