package workshop

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// KilometresPerMile is exact: the international mile is 1609.344 m.
const KilometresPerMile = 1.609344

// LeftOut is a sale on record that no figure was made from, and why.
type LeftOut struct {
	ID  string `json:"id"`
	Why string `json:"why"`
}

// datedSale is a sale that can be used, with its day.
type datedSale struct {
	*registry.ComparableSale
	at time.Time
}

// sales sorts the sales on record into those that can be used and those that
// are left out, and holds the dates against the series.
func (v *valuer) sales() error {
	var used []datedSale
	today := dayOf(v.w.Now())
	oldest := v.assumed(catalog.ValueOldest)
	var all []*registry.ComparableSale
	for _, f := range registry.Live[*registry.ComparableSale](v.d) {
		all = append(all, f.Record)
	}
	for _, s := range append(all, v.q.taken...) {
		span, at, err := middle(s.Valid)
		if at.After(today) {
			at = today
		}
		why := v.unfit(s)
		switch {
		case why != "":
		case err != nil:
			why = "its date cannot be placed: " + string(s.Valid)
		case span.First.After(today):
			why = "it is dated in the future"
		case v.series == nil && years(span.Last, today) > oldest:
			why = fmt.Sprintf("it is older than %g years, and no price series leads from there to now", oldest)
		}
		if why != "" {
			v.out.LeftOut = append(v.out.LeftOut, LeftOut{s.ID, why})
			continue
		}
		used = append(used, datedSale{s, at})
	}
	if err := v.oneCurrency(used); err != nil {
		return err
	}
	if v.series == nil {
		if err := v.closeTogether(used, today); err != nil {
			return err
		}
	}
	v.blend = v.surface != nil && !slices.ContainsFunc(used, func(s datedSale) bool { return s.Surface == nil })
	var outside []string
	now := 0.0
	if v.series != nil {
		var covered bool
		if now, covered = v.series.log(today); !covered {
			outside = append(outside, "today, "+today.Format(time.DateOnly))
		}
	}
	for _, s := range used {
		sale := v.sale(s)
		if v.series != nil {
			then, covered := v.series.log(s.at)
			if !covered {
				outside = append(outside, s.ID+", "+string(s.Valid))
			}
			log := then - now
			sale.LogIndex = &log
		}
		v.out.Input.Sales = append(v.out.Input.Sales, sale)
	}
	if len(outside) > 0 {
		return registry.Refuse(registry.CodeInsufficient, "Give a series that reaches from the oldest sale to today, or withdraw sales that it does not reach.",
			"The price series runs from %s to %s and is not carried further; it does not reach: %s",
			v.series.first.Format(time.DateOnly), v.series.last.Format(time.DateOnly), strings.Join(outside, "; "))
	}
	v.speakOfSales(used)
	return nil
}

// unfit says why a sale cannot be used, "" when it can.
func (v *valuer) unfit(s *registry.ComparableSale) string {
	var lacks []string
	need := func(there bool, what string) {
		if !there {
			lacks = append(lacks, what)
		}
	}
	need(s.Substance != nil, "an index of originality")
	need(s.Condition != nil, "a condition")
	need(s.Distance != nil, "a distance")
	need(s.Running != nil, "whether it ran")
	need(s.Documented != nil, "whether its papers were there")
	switch {
	case s.PriceKind == "asking":
		return "it is an asking price, and nobody paid it"
	case v.q.PriceKind != "" && s.PriceKind != v.q.PriceKind:
		return "its price is of the kind " + s.PriceKind + ", and " + v.q.PriceKind + " was asked for"
	case v.q.Currency != "" && s.Price.Currency != v.q.Currency:
		return "its price is in " + s.Price.Currency + ", and " + v.q.Currency + " was asked for"
	case len(lacks) > 0:
		return "it lacks " + strings.Join(lacks, ", ")
	case miles(*s.Distance, s.Unit) < 1:
		return "its distance is below one mile, which the model cannot place"
	}
	return ""
}

func miles(distance float64, unit string) float64 {
	if unit == "km" {
		return distance / KilometresPerMile
	}
	return distance
}

func (v *valuer) oneCurrency(used []datedSale) error {
	counts := map[string]int{}
	for _, s := range used {
		counts[s.Price.Currency]++
	}
	v.out.Currency = v.q.Currency
	switch {
	case len(counts) > 1:
		return registry.Refuse(registry.CodeInvalid, "Say which currency to keep; the others are then left out and listed. Nothing is converted here.",
			"The sales are in several currencies: %s", counted(counts))
	case len(counts) == 1:
		v.out.Currency = used[0].Price.Currency
	}
	return nil
}

// counted writes a table of counts, the largest first: "9 GBP, 2 EUR".
func counted(counts map[string]int) string {
	var out []string
	keys := slices.SortedFunc(maps.Keys(counts), func(a, b string) int { return cmp.Or(counts[b]-counts[a], strings.Compare(a, b)) })
	for _, k := range keys {
		out = append(out, fmt.Sprintf("%d %s", counts[k], k))
	}
	return strings.Join(out, ", ")
}

// closeTogether refuses sales that lie too far apart for prices to be level.
func (v *valuer) closeTogether(used []datedSale, today time.Time) error {
	if len(used) == 0 {
		return nil
	}
	order := func(a, b datedSale) int { return a.at.Compare(b.at) }
	first, last, limit := slices.MinFunc(used, order), slices.MaxFunc(used, order), v.assumed(catalog.ValueSeriesAfter)
	if years(first.at, last.at) > limit {
		return registry.Refuse(registry.CodeInsufficient, "Give a price series, dates with the value of an index; none comes with the program. Or withdraw the oldest sales.",
			"The sales lie %.1f years apart, from %s to %s; prices are taken as level for %g years at most", years(first.at, last.at), first.Valid, last.Valid, limit)
	}
	if years(last.at, today) > limit {
		v.out.Cautions = append(v.out.Cautions, fmt.Sprintf("The latest sale is of %s: every figure is in the prices of that time.", last.Valid))
	}
	v.assume("Prices are taken as level from %s to %s; no price series was given.", first.Valid, last.Valid)
	return nil
}

// sale is one sale as scoring takes it.
func (v *valuer) sale(s datedSale) scoring.Sale {
	price, _ := s.Price.Amount.Float64()
	out := scoring.Sale{ID: s.ID, Date: string(s.Valid), Make: strings.TrimSpace(s.Make), Model: strings.TrimSpace(s.Model), Price: price,
		Features: scoring.Features{Originality: v.originality(*s.Substance, s.Surface), Condition: float64(*s.Condition),
			Distance: miles(*s.Distance, s.Unit), Tier: v.tier(*s.Documented, *s.Running)}}
	if strings.EqualFold(out.Make, v.make) {
		out.Make = v.make
	}
	return out
}

// originality is what a price is explained by: substance alone, or substance
// and surface together when both are known throughout.
func (v *valuer) originality(substance float64, surface *float64) float64 {
	if !v.blend || surface == nil {
		return substance
	}
	share := v.assumed(catalog.ValueSurfaceShare)
	return float64((1-share)*substance) + float64(share**surface)
}

func (v *valuer) tier(documented, running bool) float64 {
	share, tier := v.assumed(catalog.ValueRunningShare), 0.0
	if documented {
		tier += 1 - share
	}
	if running {
		tier += share
	}
	return tier
}

// speakOfSales says what the sales that are used have in them.
func (v *valuer) speakOfSales(used []datedSale) {
	kinds, vague, judged, bare := map[string]int{}, 0, 0, 0
	for _, s := range used {
		kinds[s.PriceKind]++
		if span, err := s.Valid.Span(); err == nil && !span.First.Equal(span.Last) {
			vague++
		}
		if s.Judged {
			judged++
		}
		if s.Surface == nil {
			bare++
		}
	}
	if v.blend {
		share := v.assumed(catalog.ValueSurfaceShare)
		v.out.Basis = BasisBoth
		v.assume("Originality is substance and surface together, %g to %g: this machine stands at %.2f by its survey.", 1-share, share, v.originality(v.substance, v.surface))
	} else {
		v.out.Basis = BasisSubstance
		why := "this machine's surface is not surveyed far enough"
		if v.surface != nil {
			why = fmt.Sprintf("%d of the %d sales say nothing of surface", bare, len(used))
		}
		v.assume("Originality is substance alone, because %s: this machine stands at %.2f.", why, v.originality(v.substance, v.surface))
	}
	if v.series != nil {
		v.assume("Prices are carried to today along the series given, which runs from %s to %s; between its points it changes at a constant rate.",
			v.series.first.Format(time.DateOnly), v.series.last.Format(time.DateOnly))
	}
	var from []string
	for _, s := range used {
		if strings.Contains(s.ID, "/") {
			from = append(from, fmt.Sprintf("%s (%s)", s.ID, s.Source))
		}
	}
	if len(from) > 0 {
		v.assume("Sales from the records of other machines of this registry, whose owners permit it: %s.", strings.Join(from, "; "))
	}
	if vague > 0 {
		v.assume("%d of the dates are known only roughly and count as the middle of what they can mean.", vague)
	}
	if len(kinds) > 1 {
		v.out.Cautions = append(v.out.Cautions, "The prices are of several kinds, which are taken as alike: "+counted(kinds)+". To keep one of them, name it as the kind of price.")
	}
	if judged > 0 {
		v.out.Cautions = append(v.out.Cautions, fmt.Sprintf("Of the %d sales %d were judged from afar by whoever recorded them; this machine was surveyed. The two need not agree.", len(used), judged))
	}
}
