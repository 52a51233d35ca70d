package exchange

import (
	"cmp"
	"slices"
	"strings"
)

// ProvAct is one activity of a PROV document, as a person reads it.
type ProvAct struct {
	ID    string `json:"id"`
	Label string `json:"label"`
	// When it began, or else ended, as the document writes it; "" when it does not say.
	When      string   `json:"when,omitempty"`
	By        []string `json:"by,omitempty"`
	Used      []string `json:"used,omitempty"`
	Generated []string `json:"generated,omitempty"`
	Ended     []string `json:"invalidated,omitempty"`
}

// Acts tells the activities of a document, with those of its bundles, in order
// of time; those without a time come last.
func (d *ProvDocument) Acts() []ProvAct {
	labels := map[string]string{}
	acts := map[string]*ProvAct{}
	var order []string
	d.each(func(r ProvRecord) {
		if l := r.first("prov:label"); l != "" {
			labels[r.ID] = l
		}
		if r.Kind == "activity" && acts[r.ID] == nil {
			acts[r.ID] = &ProvAct{ID: r.ID, When: cmp.Or(r.first("prov:startTime"), r.first("prov:endTime"))}
			order = append(order, r.ID)
		}
	})
	name := func(id string) string { return cmp.Or(labels[id], id) }
	d.each(func(r ProvRecord) {
		a := acts[r.first("prov:activity")]
		if a == nil {
			return
		}
		switch r.Kind {
		case "wasAssociatedWith":
			a.By = append(a.By, name(r.first("prov:agent")))
		case "used":
			a.Used = append(a.Used, name(r.first("prov:entity")))
		case "wasGeneratedBy":
			a.Generated = append(a.Generated, name(r.first("prov:entity")))
			a.When = cmp.Or(a.When, r.first("prov:time"))
		case "wasInvalidatedBy":
			a.Ended = append(a.Ended, name(r.first("prov:entity")))
		}
	})
	out := []ProvAct{}
	for _, id := range order {
		a := *acts[id]
		a.Label = name(id)
		out = append(out, a)
	}
	slices.SortStableFunc(out, func(x, y ProvAct) int {
		if (x.When == "") != (y.When == "") {
			return strings.Compare(y.When, x.When)
		}
		return strings.Compare(x.When, y.When)
	})
	return out
}

func (d *ProvDocument) each(fn func(ProvRecord)) {
	for _, r := range d.Records {
		fn(r)
	}
	for i := range d.Bundles {
		d.Bundles[i].each(fn)
	}
}

func (r ProvRecord) first(name string) string {
	if v := r.Attributes[name]; len(v) > 0 {
		return v[0].Text
	}
	return ""
}

// Count says how many records of each kind a document holds, with its bundles.
func (d *ProvDocument) Count() map[string]int {
	out := map[string]int{}
	d.each(func(r ProvRecord) { out[r.Kind]++ })
	return out
}
