package workshop

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// CardMap is a fastener map with what is to be watched in it.
type CardMap struct {
	ID       string    `json:"id"`
	Opening  string    `json:"opening"`
	Photo    string    `json:"photo,omitempty"`
	Preview  string    `json:"preview,omitempty"` // digest of the picture that it is drawn over
	By       string    `json:"by"`
	Recorded time.Time `json:"recorded"`
	Note     string    `json:"note,omitempty"`
	// Fasteners as they were found.
	Fasteners []registry.Fastener `json:"fasteners"`
	// Longest is the hole of the longest fastener, Shortest that of the
	// shortest; "" while fewer than two are measured or all are alike.
	Longest  string `json:"longest,omitempty"`
	Shortest string `json:"shortest,omitempty"`
	// LeftHand and Stripped are holes; Untried those that were not turned yet.
	LeftHand []string `json:"left_hand,omitempty"`
	Stripped []string `json:"stripped,omitempty"`
	Untried  []string `json:"untried,omitempty"`
	// Unmeasured are holes without a length: nothing warns of a long one there.
	Unmeasured []string `json:"unmeasured,omitempty"`
	// Swapped are pairs that are easily taken for one another.
	Swapped  []registry.LengthPair `json:"easily_swapped,omitempty"`
	Warnings []string              `json:"warnings,omitempty"`
}

// Flags says in words what is to be watched at one hole.
func (m CardMap) Flags(hole string) []string {
	var out []string
	for _, f := range []struct {
		holes []string
		words string
	}{{m.LeftHand, "left-hand thread"}, {m.Stripped, "stripped"}, {m.Untried, "not turned yet"}} {
		if slices.Contains(f.holes, hole) {
			out = append(out, f.words)
		}
	}
	if hole == m.Longest {
		out = append(out, "longest")
	}
	if hole == m.Shortest {
		out = append(out, "shortest hole")
	}
	return out
}

func (c *cardBuilder) fasteners(m registry.Found[*registry.FastenerMap]) CardMap {
	out := CardMap{ID: m.RecordID(), Opening: m.Record.Opening, Photo: m.Record.Photo, By: c.person(m.Record.By), Recorded: m.Recorded,
		Note: c.text(m.Record.Note), Fasteners: slices.Clone(m.Record.Fasteners)}
	if p, ok := registry.Get[*registry.Photo](c.d, m.Record.Photo); ok {
		out.Preview = p.Record.Preview
	}
	var long, short *registry.Fastener
	for i := range out.Fasteners {
		f := &out.Fasteners[i]
		f.Note = c.text(f.Note)
		if f.Hand == "left" {
			out.LeftHand = append(out.LeftHand, f.Hole)
		}
		if f.Felt == "stripped" {
			out.Stripped = append(out.Stripped, f.Hole)
		}
		if f.Hand == "not-tried" || f.Felt == "not-tried" {
			out.Untried = append(out.Untried, f.Hole)
		}
		if f.Length == 0 {
			out.Unmeasured = append(out.Unmeasured, f.Hole)
			continue
		}
		if long == nil || f.Length > long.Length {
			long = f
		}
		if short == nil || f.Length < short.Length {
			short = f
		}
	}
	if long != nil && long.Length > short.Length {
		out.Longest, out.Shortest = long.Hole, short.Hole
		out.Warnings = append(out.Warnings, fmt.Sprintf("The longest, from hole %s, is %s; the shortest hole, %s, takes %s. The longest must never go in there: it would bottom before it holds and break the boss.",
			long.Hole, millimetres(long.Length), short.Hole, millimetres(short.Length)))
	}
	out.Swapped = m.Record.EasilySwapped()
	out.Warnings = append(out.Warnings, swapWarnings(out.Fasteners, out.Swapped)...)
	if len(out.LeftHand) > 0 {
		out.Warnings = append(out.Warnings, "Left-hand as found: "+holes(out.LeftHand)+". It slackens clockwise.")
	}
	if len(out.Stripped) > 0 {
		out.Warnings = append(out.Warnings, "Stripped as found: "+holes(out.Stripped)+". An insert or another size is a change of its own: ask first.")
	}
	if len(out.Untried) > 0 {
		out.Warnings = append(out.Warnings, "Not turned yet: "+holes(out.Untried)+". Supersede the map with the hand and feel as found when they are out.")
	}
	if len(out.Unmeasured) > 0 {
		out.Warnings = append(out.Warnings, "Not measured: "+holes(out.Unmeasured)+". Nothing can warn of a long one there.")
	}
	return out
}

// swapWarnings gathers pairs by their lengths, one sentence for each two.
func swapWarnings(list []registry.Fastener, pairs []registry.LengthPair) []string {
	length := map[string]float64{}
	for _, f := range list {
		length[f.Hole] = f.Length
	}
	type lengths struct{ long, short float64 }
	type both struct{ long, short []string }
	var order []lengths
	found := map[lengths]*both{}
	for _, p := range pairs {
		k := lengths{length[p.Long], length[p.Short]}
		if found[k] == nil {
			found[k] = &both{}
			order = append(order, k)
		}
		if b := found[k]; !slices.Contains(b.long, p.Long) {
			b.long = append(b.long, p.Long)
		}
		if b := found[k]; !slices.Contains(b.short, p.Short) {
			b.short = append(b.short, p.Short)
		}
	}
	var out []string
	for _, k := range order {
		out = append(out, fmt.Sprintf("Easily swapped, %s apart: the %s of %s and the %s of %s.",
			millimetres(k.long-k.short), millimetres(k.long), holes(found[k].long), millimetres(k.short), holes(found[k].short)))
	}
	return out
}

func holes(list []string) string {
	if len(list) == 1 {
		return "hole " + list[0]
	}
	return "holes " + strings.Join(list, ", ")
}

func millimetres(v float64) string {
	return Reading(float64(int(v*10+0.5))/10, 0, "mm")
}

// AllOwn is the closing in which every fastener goes back into its own hole.
func AllOwn(m *registry.FastenerMap) []registry.FastenerBack {
	var out []registry.FastenerBack
	for _, f := range m.Fasteners {
		out = append(out, registry.FastenerBack{Hole: f.Hole, From: f.Hole})
	}
	return out
}

// FastenerMap finds a map of an opening, by its id or, without one, the last
// that was drawn, with what is to be watched in it. CodeNotFound when there is
// none.
func (w *Workshop) FastenerMap(ctx context.Context, machine, opening, id string) (CardMap, *registry.FastenerMap, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return CardMap{}, nil, err
	}
	same := chain(d, opening)
	if o, ok := registry.Get[*registry.Opening](d, opening); ok && o.Record.Supersedes != "" {
		same = append(same, o.Record.Supersedes)
	}
	maps := registry.Live[*registry.FastenerMap](d)
	for _, m := range slices.Backward(maps) {
		if slices.Contains(same, m.Record.Opening) && (id == "" || m.RecordID() == id) {
			c := cardBuilder{builder: builder{seen: &seen{w: w, d: d}, reader: NewReader(d, false), r: &Report{}}}
			return c.fasteners(m), m.Record, nil
		}
	}
	return CardMap{}, nil, registry.Refuse(registry.CodeNotFound, "Draw it first: it says which fastener belongs where.", "There is no map of the fasteners of %q", opening)
}
