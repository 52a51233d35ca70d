package scoring

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// leaders are the causes that are most probably there and not cured.
func (l *nextLattice) leaders(in NextInput, there []float64, weight float64, most int) []NextLeader {
	out := []NextLeader{}
	for c, p := range there {
		out = append(out, NextLeader{in.Causes[c].ID, min(1, p/weight)})
	}
	slices.SortStableFunc(out, func(a, b NextLeader) int { return cmp.Compare(b.Probability, a.Probability) })
	return out[:min(len(out), most)]
}

// branches says what each outcome of an action leads to.
func (l *nextLattice) branches(in NextInput, n *latticeNode, set, action, levels int) []NextBranch {
	out := []NextBranch{}
	add := func(outcome string, to *latticeNode, tried int) {
		chance := to.persist[tried] / n.persist[set]
		b := NextBranch{After: in.Actions[action].ID, Outcome: outcome, Chance: min(1, chance), Leaders: []NextLeader{}}
		if to.persist[tried] > float64(1e-12*n.persist[set]) {
			there, _, _ := l.standing(to.results, tried)
			b.Leaders = l.leaders(in, there, to.persist[tried], 3)
			if p := l.pick(to, tried); p.stop != "" {
				b.Stop = p.stop
			} else if b.Next = in.Actions[p.action].ID; levels > 1 {
				b.Then = l.branches(in, to, tried, p.action, levels-1)
			}
		}
		out = append(out, b)
	}
	if i := slices.Index(l.repairs, action); i >= 0 {
		add("not-cured", n, set|1<<i)
		out = append(out, NextBranch{After: in.Actions[action].ID, Outcome: "cured", Chance: max(0, 1-out[0].Chance), Leaders: []NextLeader{}, Stop: "done"})
		return out
	}
	no, yes, _ := l.after(n, action)
	add("true", yes, set)
	add("false", no, set)
	return out
}

// rank lists every action that is not done, with the reason why it is not next.
func (l *nextLattice) rank(in NextInput, root *latticeNode, pick picked, stop string) []NextRank {
	weight := root.persist[0]
	var out []NextRank
	for i, a := range in.Actions {
		if slices.Contains(in.Done, a.ID) {
			continue
		}
		r := NextRank{ID: a.ID, Level: a.Level, Cost: l.cost(i, l.opened)}
		at := slices.IndexFunc(pick.others, func(w weighed) bool { return w.action == i })
		switch {
		case at >= 0:
			w := pick.others[at]
			expected, value := w.expected/weight, w.value/weight
			r.Expected, r.Value, r.Chance = &expected, &value, min(1, max(0, w.chance))
			r.Reason = l.reason(in, w, pick, stop, weight)
		case a.Observation != "":
			r.Reason = "What it would show is known."
		case slices.Contains(l.tail, i):
			r.Reason = "Not weighed: its chance for its cost is less than that of the " + strconv.Itoa(len(l.repairs)) + " repairs that were."
		default:
			r.Reason = "It cannot end the complaint."
		}
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b NextRank) int {
		first := func(r NextRank) float64 {
			switch {
			case pick.action >= 0 && stop == "" && r.ID == in.Actions[pick.action].ID:
				return math.Inf(-1)
			case r.Expected == nil:
				return math.MaxFloat64
			}
			return *r.Expected
		}
		return cmp.Compare(first(a), first(b))
	})
	return append([]NextRank{}, out...)
}

// reason says in words why an action is next, or why it is not.
func (l *nextLattice) reason(in NextInput, w weighed, pick picked, stop string, weight float64) string {
	minutes := func(v float64) string { return strconv.FormatFloat(v/weight, 'f', 1, 64) + " min" }
	var parts []string
	level := l.actions[w.action].level
	switch {
	case stop != "":
		parts = append(parts, "Not advised: "+stop+".")
	case w.action == pick.action:
		return "The least expected cost of all that may come next."
	case pick.gate >= 0 && level >= invasiveLevel:
		parts = append(parts, "Barred: level "+strconv.Itoa(level)+" while "+in.Actions[pick.gate].ID+" of level "+
			strconv.Itoa(l.actions[pick.gate].level)+" is worth its price.")
	default:
		parts = append(parts, "To begin with it costs "+minutes(w.expected-pick.expected)+" more.")
	}
	if l.actions[w.action].observation >= 0 && w.value <= 0 {
		parts = append(parts, "By itself it costs more than it saves.")
	}
	return strings.Join(parts, " ")
}
