package scoring

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// partial is a plan for the faults decided so far.
type partial struct {
	forGood, money, hours int64
	works                 float64
	parent                int32
	option                uint8
}

// before is the order in which partial plans are looked at: no plan is
// dominated by a later one, but for plans that agree.
func (p *partial) before(b *partial) bool {
	switch {
	case p.forGood != b.forGood:
		return p.forGood < b.forGood
	case p.money != b.money:
		return p.money < b.money
	case p.works != b.works:
		return p.works > b.works
	}
	return p.hours < b.hours
}

// rest says what the faults still to be decided must and may add.
type rest struct {
	money, hours int64 // at least
	most         int64 // hours at most
	works        float64
	// cheap and quick give the least money and hours for each chance that the
	// rest can still have, openings left out. They are there when both sides
	// are limited.
	cheap, quick stairs
}

// maxBound is the largest number of stairs of a bound; a longer one is thinned
// on the side of hope, so that nothing is thrown away wrongly.
const maxBound = 2000

// front gives the best plans within the limits, sorted.
func (q *planQuestion) front(l planLimits, steps int) ([]planTotals, error) {
	w := q.walk(q.options(true, l.lead), true)
	ahead := w.rests(l)
	type state struct {
		situation
		partials []partial
	}
	type source struct {
		from   int // state
		option uint8
		add    partial
	}
	type step struct {
		parent []int32
		option []uint8
	}
	now := []state{{w.start(), []partial{{works: 1}}}}
	var history []step
	for i, f := range w.order {
		var after []state
		var sources [][]source
		place := map[string]int{}
		for from := range now {
			for o, x := range q.faults[f].options {
				to, newly, ok := w.next(i, &now[from].situation, o)
				if !ok {
					continue
				}
				add := partial{forGood: x.forGood, money: x.money, hours: x.hours, works: x.works}
				for k := range q.openings {
					if newly&(1<<k) != 0 {
						add.forGood += q.openings[k].forGood
						add.money += q.openings[k].money
						add.hours += q.openings[k].hours
					}
				}
				key := to.key()
				j, there := place[key]
				if !there {
					j = len(after)
					place[key] = j
					after, sources = append(after, state{situation: to}), append(sources, nil)
				}
				sources[j] = append(sources[j], source{from, uint8(o), add})
			}
		}
		if len(after) > MaxPlanStates {
			return nil, q.tooLarge("The openings, requirements and exclusions are too entangled for an exact front: more than %s situations after %d of %d faults",
				grouped(MaxPlanStates), i+1, len(q.faults))
		}
		first := make([]int32, len(now))
		kept := int32(0)
		for j := range now {
			first[j] = kept
			kept += int32(len(now[j].partials))
		}
		var made step
		for j := range after {
			lists := make([]shifted, len(sources[j]))
			for k, s := range sources[j] {
				steps -= len(now[s.from].partials)
				lists[k] = shifted{now[s.from].partials, s.add, first[s.from], s.option}
			}
			if steps < 0 {
				return nil, q.tooLarge("An exact front would need more than %s partial plans: %s were still in play after %d of %d faults",
					grouped(MaxPlanSteps), grouped(int(kept)), i, len(q.faults))
			}
			after[j].partials = undominated(lists, l, &ahead[i])
			for _, p := range after[j].partials {
				made.parent, made.option = append(made.parent, p.parent), append(made.option, p.option)
			}
		}
		history = append(history, made)
		now = slices.DeleteFunc(after, func(s state) bool { return len(s.partials) == 0 })
	}
	var whole []planTotals
	chosen := make([]int, len(q.faults))
	for at := range history[len(history)-1].parent {
		k := int32(at)
		for i := len(history) - 1; i >= 0; i-- {
			chosen[w.order[i]] = int(history[i].option[k])
			k = history[i].parent[k]
		}
		if t := q.totals(chosen); q.keeps(&t, l) {
			whole = append(whole, t)
		}
	}
	whole = best(whole)
	if len(whole) > MaxPlanFront {
		return nil, q.tooLarge("The front has %s plans; at most %s are answered", grouped(len(whole)), grouped(MaxPlanFront))
	}
	return whole, nil
}

// rests gives, for each place of the order, what the faults after it must and
// may add.
func (w *planWalk) rests(l planLimits) []rest {
	out := make([]rest, len(w.order))
	r := rest{works: 1}
	if l.works > 0 && l.money != math.MaxInt64 {
		r.cheap = stairs{{0, 1}}
	}
	if l.works > 0 && l.hours != math.MaxInt64 {
		r.quick = stairs{{0, 1}}
	}
	for i := len(w.order) - 1; i >= 0; i-- {
		out[i] = r
		f := w.order[i]
		least := rest{money: math.MaxInt64, hours: math.MaxInt64, works: 0}
		for o, x := range w.q.faults[f].options {
			if w.allowed[f]&(1<<o) != 0 {
				least.money, least.hours = min(least.money, x.money), min(least.hours, x.hours)
				least.most, least.works = max(least.most, x.hours), max(least.works, x.works)
			}
		}
		if w.allowed[f] == 0 {
			least.money, least.hours = 0, 0
		}
		r.money += least.money
		r.hours += least.hours
		r.works = float64(r.works * least.works)
		r.most = out[i].most + least.most
		r.cheap = w.bound(r.cheap, f, l.money, func(x *planOption) int64 { return x.money })
		r.quick = w.bound(r.quick, f, l.hours, func(x *planOption) int64 { return x.hours })
	}
	for i := range out {
		for k, o := range w.q.openings {
			if w.layers[i].openable&(1<<k) != 0 {
				out[i].most += o.hours
			}
		}
	}
	return out
}

// bound adds a fault to a bound.
func (w *planWalk) bound(after stairs, f int, limit int64, cost func(*planOption) int64) stairs {
	if after == nil {
		return nil
	}
	var all stairs
	for o := range w.q.faults[f].options {
		if x := &w.q.faults[f].options[o]; w.allowed[f]&(1<<o) != 0 {
			for _, s := range after {
				if m := s.money + cost(x); m <= limit {
					all = append(all, stair{m, float64(s.works * x.works)})
				}
			}
		}
	}
	slices.SortFunc(all, func(a, b stair) int { return cmp.Or(cmp.Compare(a.money, b.money), cmp.Compare(b.works, a.works)) })
	out := stairs{}
	for _, s := range all {
		if len(out) == 0 || s.works > out[len(out)-1].works {
			out = append(out, s)
		}
	}
	if len(out) > maxBound {
		thin, each := stairs{}, (len(out)+maxBound-1)/maxBound
		for i := 0; i < len(out); i += each {
			thin = append(thin, stair{out[i].money, out[min(i+each, len(out))-1].works})
		}
		out = thin
	}
	return out
}

// least is the least money, or hours, of a bound for a chance of at least
// works; false when there is none.
func (s stairs) least(works float64) (int64, bool) {
	i := sort.Search(len(s), func(i int) bool { return s[i].works >= works })
	if i == len(s) {
		return 0, false
	}
	return s[i].money, true
}

// hopeless says whether no continuation of p can keep the limits.
func (r *rest) hopeless(p *partial, l *planLimits, least float64) bool {
	if p.money > l.money-r.money || p.hours > l.hours-r.hours || float64(p.works*r.works) < least {
		return true
	}
	if r.cheap != nil {
		if m, ok := r.cheap.least(least / p.works); !ok || p.money > l.money-m {
			return true
		}
	}
	if r.quick != nil {
		if h, ok := r.quick.least(least / p.works); !ok || p.hours > l.hours-h {
			return true
		}
	}
	return false
}

// shifted is the partial plans of one situation with one option more. Their
// order is kept by that, but for chances that rounding or a factor 0 makes
// equal.
type shifted struct {
	list   []partial
	add    partial
	first  int32
	option uint8
}

func (s *shifted) head(at int) partial {
	p := s.list[at]
	p.forGood += s.add.forGood
	p.money += s.add.money
	p.hours += s.add.hours
	p.works = float64(p.works * s.add.works)
	p.parent, p.option = s.first+int32(at), s.option
	return p
}

// undominated merges the lists in order and keeps what can still keep the
// limits and is not dominated by what was kept before.
func undominated(lists []shifted, l planLimits, r *rest) []partial {
	limited := l.hours != math.MaxInt64
	// Hours so few that no continuation can exceed the limit are all alike.
	floor := int64(0)
	if limited {
		floor = max(0, l.hours-r.most)
	}
	least := float64(l.works * (1 - 1e-9))
	heads := make([]partial, 0, len(lists))
	place := make([]int, len(lists))
	var heap []int
	total := 0
	for k := range lists {
		heads = append(heads, partial{})
		if len(lists[k].list) > 0 {
			heads[k] = lists[k].head(0)
			heap = append(heap, k)
			total += len(lists[k].list)
		}
	}
	earlier := func(a, b int) bool {
		if heads[a].before(&heads[b]) {
			return true
		}
		return !heads[b].before(&heads[a]) && a < b
	}
	down := func(i int) {
		for {
			c := 2*i + 1
			if c >= len(heap) {
				return
			}
			if c+1 < len(heap) && earlier(heap[c+1], heap[c]) {
				c++
			}
			if !earlier(heap[c], heap[i]) {
				return
			}
			heap[i], heap[c] = heap[c], heap[i]
			i = c
		}
	}
	for i := len(heap)/2 - 1; i >= 0; i-- {
		down(i)
	}
	a := archive{}
	if limited {
		a.rank(lists, floor, l.hours)
	} else {
		a.rows = make([]stairs, 2)
	}
	kept := make([]partial, 0, total/max(len(lists), 1))
	for len(heap) > 0 {
		k := heap[0]
		p := heads[k]
		if place[k]++; place[k] < len(lists[k].list) {
			heads[k] = lists[k].head(place[k])
		} else {
			heap[0] = heap[len(heap)-1]
			heap = heap[:len(heap)-1]
		}
		down(0)
		if r.hopeless(&p, &l, least) {
			continue
		}
		if a.add(p.money, max(p.hours, floor), p.works) {
			kept = append(kept, p)
		}
	}
	return slices.Clip(kept)
}

// archive answers whether something of at most this money and hours and at
// least this chance was added before: a binary indexed tree over the hours,
// with a staircase of money and chance at each node.
type archive struct {
	hours []int64 // every value that occurs, when hours count
	rows  []stairs
}

// stairs is money rising and chance rising.
type stairs []stair

type stair struct {
	money int64
	works float64
}

// rank lists the hours that occur.
func (a *archive) rank(lists []shifted, floor, limit int64) {
	seen := map[int64]bool{}
	for _, s := range lists {
		for i := range s.list {
			if h := max(s.list[i].hours+s.add.hours, floor); h <= limit && !seen[h] {
				seen[h] = true
				a.hours = append(a.hours, h)
			}
		}
	}
	slices.Sort(a.hours)
	a.rows = make([]stairs, len(a.hours)+1)
}

// add adds a partial plan unless one that was added before is as good.
func (a *archive) add(money, hours int64, works float64) bool {
	at := 1
	if a.hours != nil {
		i, _ := slices.BinarySearch(a.hours, hours)
		at = i + 1
	}
	for i := at; i > 0; i &= i - 1 {
		if a.rows[i].covers(money, works) {
			return false
		}
	}
	for i := at; i < len(a.rows); i += i & -i {
		a.rows[i].insert(money, works)
	}
	return true
}

// upTo is the number of stairs of at most this money.
func (s stairs) upTo(money int64) int {
	low, high := 0, len(s)
	for low < high {
		if mid := int(uint(low+high) >> 1); s[mid].money <= money {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low
}

func (s stairs) covers(money int64, works float64) bool {
	n := s.upTo(money)
	return n > 0 && s[n-1].works >= works
}

func (s *stairs) insert(money int64, works float64) {
	n := s.upTo(money)
	if n > 0 && (*s)[n-1].works >= works {
		return
	}
	first := n
	if n > 0 && (*s)[n-1].money == money {
		first--
	}
	last := n
	for last < len(*s) && (*s)[last].works <= works {
		last++
	}
	*s = slices.Replace(*s, first, last, stair{money, works})
}

// best sorts whole plans and keeps what no other dominates in loss for good,
// money and chance, and one of those that agree: the one of fewest hours, then
// of least loss now, then the first.
func best(all []planTotals) []planTotals {
	slices.SortStableFunc(all, func(a, b planTotals) int {
		return cmp.Or(cmp.Compare(a.forGood, b.forGood), cmp.Compare(a.money, b.money), cmp.Compare(b.works, a.works),
			cmp.Compare(a.hours, b.hours), cmp.Compare(a.now, b.now), slices.Compare(a.chosen, b.chosen))
	})
	a := archive{rows: make([]stairs, 2)}
	return slices.DeleteFunc(all, func(t planTotals) bool { return !a.add(t.money, 0, t.works) })
}
