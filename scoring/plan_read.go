package scoring

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// maxPlanFigure is the largest money, hours, days or points of one line.
const maxPlanFigure = 1e9

// planQuestion is a checked PlanInput in whole steps and bit sets.
type planQuestion struct {
	faults   []planFault
	openings []planOpening
	limits   planLimits
	scale    struct{ money, hours, lead, points float64 } // steps for one unit
	// fits[f][g], when it is there, gives for each option of f the set of
	// options of g that go with it.
	fits map[[2]int][]uint64
}

type planFault struct {
	id        string
	mandatory bool
	options   []planOption
}

type planOption struct {
	id                               string
	money, hours, lead, now, forGood int64
	works                            float64
	opens                            uint64 // with all that they need
	need, shut                       uint64 // openings that must, and must not, be open
}

type planOpening struct {
	id                          string
	money, hours, lead, forGood int64
}

// planLimits are limits in whole steps; the largest number where there is none.
type planLimits struct {
	money, hours, lead int64
	works              float64
}

func noLimits() planLimits {
	return planLimits{math.MaxInt64, math.MaxInt64, math.MaxInt64, 0}
}

// digits12 rounds to 12 significant digits, so that products which agree but
// for the order of their factors are equal.
func digits12(v float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 11, 64), 64)
	if err != nil {
		return v
	}
	return rounded
}

func readPlanInput(r *reader, n *node) (in PlanInput) {
	r.object(n, "",
		member{"faults", true, r.array(func(n *node, pointer string) {
			var f PlanFault
			r.object(n, pointer,
				member{"id", true, r.text(&f.ID)},
				member{"mandatory", false, r.flag(&f.Mandatory)},
				member{"options", true, r.array(func(n *node, pointer string) {
					var o PlanOption
					r.object(n, pointer,
						member{"id", true, r.text(&o.ID)},
						member{"money", false, r.number(&o.Money)},
						member{"hours", false, r.number(&o.Hours)},
						member{"lead", false, r.number(&o.Lead)},
						member{"now", false, r.number(&o.Now)},
						member{"for_good", false, r.number(&o.ForGood)},
						member{"works", false, r.optional(&o.Works)},
						member{"opens", false, r.texts(&o.Opens)},
						member{"requires", false, r.texts(&o.Requires)},
						member{"excludes", false, r.texts(&o.Excludes)},
					)
					f.Options = append(f.Options, o)
				})},
			)
			in.Faults = append(in.Faults, f)
		})},
		member{"openings", false, r.array(func(n *node, pointer string) {
			var o PlanOpening
			r.object(n, pointer,
				member{"id", true, r.text(&o.ID)},
				member{"money", false, r.number(&o.Money)},
				member{"hours", false, r.number(&o.Hours)},
				member{"lead", false, r.number(&o.Lead)},
				member{"for_good", false, r.number(&o.ForGood)},
				member{"needs", false, r.texts(&o.Needs)},
			)
			in.Openings = append(in.Openings, o)
		})},
		member{"limits", false, func(n *node, pointer string) {
			r.object(n, pointer,
				member{"money", false, r.optional(&in.Limits.Money)},
				member{"hours", false, r.optional(&in.Limits.Hours)},
				member{"lead", false, r.optional(&in.Limits.Lead)},
				member{"works", false, r.optional(&in.Limits.Works)},
			)
		}},
		member{"pick", false, r.text(&in.Pick)},
	)
	return in
}

// readPlan checks an input.
func readPlan(in PlanInput) (*planQuestion, error) {
	q := &planQuestion{limits: noLimits(), fits: map[[2]int][]uint64{}}
	var fs faults
	fs.planNames(in)
	if len(fs) == 0 {
		fs.planFigures(in, q)
	}
	if len(fs) == 0 {
		closure := fs.planOpenings(in)
		fs.planReferences(in, q, closure)
	}
	if len(fs) == 0 {
		fs.planPossible(in, q)
	}
	return q, fs.err("The plan")
}

// planNames checks counts and names.
func (fs *faults) planNames(in PlanInput) {
	if len(in.Faults) == 0 {
		fs.add("/faults", "[]", "at least one fault", "There is nothing to plan", "List the faults with their options.")
	}
	fs.count("/faults", len(in.Faults), MaxPlanFaults, "faults")
	fs.count("/openings", len(in.Openings), MaxPlanOpenings, "openings")
	if in.Pick != "" && in.Pick != ByForGood && in.Pick != ByMoney && in.Pick != ByWorks {
		fs.add("/pick", quote(in.Pick), strings.Join([]string{ByForGood, ByMoney, ByWorks}, ", "), "A plan is not picked by this",
			"Name what matters most within the limits.")
	}
	one := func(pointer, id, what string, seen map[string]bool) {
		fs.unique(pointer, id, what, seen)
		if strings.Contains(id, "/") {
			fs.add(pointer, quote(id), "no stroke", `A name in a plan has no "/", which joins fault and option`, "Use a hyphen.")
		}
	}
	seenFaults, seenOpenings := map[string]bool{}, map[string]bool{}
	for i, f := range in.Faults {
		here := at("/faults", i)
		one(here+"/id", f.ID, "A fault", seenFaults)
		if len(f.Options) == 0 {
			fs.add(here+"/options", "[]", "at least one option", "This fault has no option", `Give at least the option to leave it.`)
		}
		fs.count(here+"/options", len(f.Options), MaxPlanOptions, "options of one fault")
		seen := map[string]bool{}
		for j, o := range f.Options {
			one(at(here+"/options", j)+"/id", o.ID, "An option", seen)
		}
	}
	for i, o := range in.Openings {
		one(at("/openings", i)+"/id", o.ID, "An opening", seenOpenings)
	}
}

// figure is one number of the input on its way to whole steps.
type figure struct {
	pointer  string
	value    float64
	negative bool // allowed
	to       *int64
}

// steps finds the coarsest decimal step that holds every figure, and how many
// of it make one unit.
func (fs *faults) steps(figures []figure, what, unit string) float64 {
	for _, f := range figures {
		switch {
		case !f.negative && f.value < 0:
			fs.add(f.pointer, number(f.value), "0 or more "+unit, what+" is never negative", "Give it as a positive number, or leave it out.")
		case !(math.Abs(f.value) <= maxPlanFigure):
			fs.add(f.pointer, number(f.value), "at most 1e9 "+unit, what+" is out of range", "Check the unit.")
		}
	}
	for scale := 1.0; scale <= maxScale; scale = float64(scale * 10) {
		fit := true
		for _, f := range figures {
			n, ok := whole(f.value, scale)
			fit = fit && ok
			*f.to = n
		}
		if fit {
			return scale
		}
	}
	if len(*fs) > 0 {
		return 1
	}
	for _, f := range figures {
		if _, ok := whole(f.value, maxScale); !ok {
			fs.add(f.pointer, number(f.value), "at most six decimals, and 1e12 steps of the finest figure", what+" has too many digits to be added up exactly", "Round it.")
		}
	}
	return 1
}

// planFigures turns every number into whole steps.
func (fs *faults) planFigures(in PlanInput, q *planQuestion) {
	var money, hours, lead, points []figure
	q.faults, q.openings = make([]planFault, len(in.Faults)), make([]planOpening, len(in.Openings))
	for i, f := range in.Faults {
		q.faults[i] = planFault{f.ID, f.Mandatory, make([]planOption, len(f.Options))}
		for j, o := range f.Options {
			x, here := &q.faults[i].options[j], at(at("/faults", i)+"/options", j)
			x.id, x.works = o.ID, 1
			money = append(money, figure{here + "/money", o.Money, false, &x.money})
			hours = append(hours, figure{here + "/hours", o.Hours, false, &x.hours})
			lead = append(lead, figure{here + "/lead", o.Lead, false, &x.lead})
			points = append(points, figure{here + "/now", o.Now, true, &x.now}, figure{here + "/for_good", o.ForGood, true, &x.forGood})
			if o.Works != nil {
				fs.probability(here+"/works", *o.Works, "The chance that it works")
				x.works = *o.Works + 0
			}
		}
	}
	for i, o := range in.Openings {
		x, here := &q.openings[i], at("/openings", i)
		x.id = o.ID
		money = append(money, figure{here + "/money", o.Money, false, &x.money})
		hours = append(hours, figure{here + "/hours", o.Hours, false, &x.hours})
		lead = append(lead, figure{here + "/lead", o.Lead, false, &x.lead})
		points = append(points, figure{here + "/for_good", o.ForGood, false, &x.forGood})
	}
	limit := func(list *[]figure, name string, v *float64, to *int64) {
		if v != nil {
			*list = append(*list, figure{"/limits/" + name, *v, false, to})
		}
	}
	limit(&money, "money", in.Limits.Money, &q.limits.money)
	limit(&hours, "hours", in.Limits.Hours, &q.limits.hours)
	limit(&lead, "lead", in.Limits.Lead, &q.limits.lead)
	if in.Limits.Works != nil {
		fs.probability("/limits/works", *in.Limits.Works, "The chance asked for")
		q.limits.works = digits12(*in.Limits.Works)
	}
	q.scale.money = fs.steps(money, "Money", "units of money")
	q.scale.hours = fs.steps(hours, "Work", "hours")
	q.scale.lead = fs.steps(lead, "A wait", "days")
	q.scale.points = fs.steps(points, "A loss", "points")
}

// planOpenings gives each opening with all that it needs.
func (fs *faults) planOpenings(in PlanInput) map[string]uint64 {
	index := map[string]int{}
	for i, o := range in.Openings {
		index[o.ID] = i
	}
	direct := make([]uint64, len(in.Openings))
	for i, o := range in.Openings {
		for j, need := range o.Needs {
			if k, ok := index[need]; ok {
				direct[i] |= 1 << k
			} else {
				fs.add(at(at("/openings", i)+"/needs", j), quote(need), "an opening of this plan", "There is no such opening", "Check its spelling, or list it.")
			}
		}
	}
	closure := map[string]uint64{}
	for i, o := range in.Openings {
		set, todo := uint64(0), direct[i]
		for todo != 0 {
			k := firstOf(todo)
			set |= 1 << k
			todo = (todo | direct[k]) &^ set
		}
		if set&(1<<i) != 0 {
			var via []string
			for k, other := range in.Openings {
				if k != i && set&(1<<k) != 0 {
					via = append(via, quote(other.ID))
				}
			}
			message := "This opening needs itself"
			if len(via) > 0 {
				message += " by way of " + strings.Join(via, ", ")
			}
			fs.add(at("/openings", i)+"/needs", quote(o.ID), "what comes off before it", message, "Take one of the needs out.")
		}
		closure[o.ID] = set | 1<<i
	}
	return closure
}

// planReferences resolves opens, requires and excludes.
func (fs *faults) planReferences(in PlanInput, q *planQuestion, closure map[string]uint64) {
	place, bare := map[string][2]int{}, map[string][][2]int{}
	for f := range in.Faults {
		for o := range in.Faults[f].Options {
			place[in.Faults[f].ID+"/"+in.Faults[f].Options[o].ID] = [2]int{f, o}
			bare[in.Faults[f].Options[o].ID] = append(bare[in.Faults[f].Options[o].ID], [2]int{f, o})
		}
	}
	opening := map[string]uint64{}
	for i, o := range in.Openings {
		opening[o.ID] = 1 << i
	}
	for f := range in.Faults {
		for o := range in.Faults[f].Options {
			from, x := &in.Faults[f].Options[o], &q.faults[f].options[o]
			here := at(at("/faults", f)+"/options", o)
			for i, name := range from.Opens {
				if _, ok := closure[name]; !ok {
					fs.add(at(here+"/opens", i), quote(name), "an opening of this plan", "There is no such opening", "Check its spelling, or list it.")
				}
				x.opens |= closure[name]
			}
			resolve := func(list string, names []string, set *uint64, pair func(g, p int)) {
				for i, name := range names {
					pointer := at(here+"/"+list, i)
					to, isOption := place[name]
					bit, isOpening := opening[name]
					if alike := bare[name]; !isOption && !isOpening && len(alike) == 1 {
						to, isOption = alike[0], true // its own name is enough
					}
					switch {
					case !isOption && !isOpening && len(bare[name]) > 1:
						fs.add(pointer, quote(name), `the option as "fault/option"`, "Several faults have an option of this name", "Say of which fault.")
					case isOption && to[0] == f:
						fs.add(pointer, quote(name), "options of other faults", "A fault has one option only, so its options cannot speak of one another", "Take this out.")
					case isOption:
						pair(to[0], to[1])
					case isOpening:
						*set |= bit
					default:
						fs.add(pointer, quote(name), "an opening or an option of this plan", "There is no such option or opening", "Check its spelling.")
					}
				}
			}
			resolve("requires", from.Requires, &x.need, func(g, p int) {
				for other := range q.faults[g].options {
					if other != p {
						q.exclude(f, o, g, other)
					}
				}
			})
			resolve("excludes", from.Excludes, &x.shut, func(g, p int) { q.exclude(f, o, g, p) })
			if both := x.shut & (x.opens | x.need); both != 0 {
				fs.add(here+"/excludes", quote(in.Openings[firstOf(both)].ID), "openings that it neither opens nor requires",
					"This option excludes what it needs", "Take one of the two out.")
			}
		}
	}
}

// exclude notes that option o of f and option p of g never go together.
func (q *planQuestion) exclude(f, o, g, p int) {
	for _, k := range [][2]int{{f, g}, {g, f}} {
		if q.fits[k] == nil {
			q.fits[k] = make([]uint64, len(q.faults[k[0]].options))
			for i := range q.fits[k] {
				q.fits[k][i] = 1<<len(q.faults[k[1]].options) - 1
			}
		}
	}
	q.fits[[2]int{f, g}][o] &^= 1 << p
	q.fits[[2]int{g, f}][p] &^= 1 << o
}

// shutOut lists the options of a fault, a few of many.
func (q *planQuestion) shutOut(f int) string {
	var names []string
	for _, o := range q.faults[f].options {
		if len(names) == 4 {
			names = append(names, "…")
			break
		}
		names = append(names, quote(o.id))
	}
	return "not " + strings.Join(names, ", ")
}

// planPossible refuses a fault none of whose options can ever be taken: each
// of them excludes, or is excluded by, all that is left of some other fault.
func (fs *faults) planPossible(in PlanInput, q *planQuestion) {
	alive := make([]uint64, len(q.faults))
	for f := range q.faults {
		alive[f] = 1<<len(q.faults[f].options) - 1
	}
	var pairs [][2]int
	for k := range q.fits {
		pairs = append(pairs, k)
	}
	slices.SortFunc(pairs, func(a, b [2]int) int { return slices.Compare(a[:], b[:]) })
	why := map[[2]int]string{}
	for again := true; again; {
		again = false
		for _, k := range pairs {
			f, g := k[0], k[1]
			for o, fit := range q.fits[k] {
				if alive[f]&(1<<o) == 0 || fit&alive[g] != 0 {
					continue
				}
				alive[f] &^= 1 << o
				why[[2]int{f, o}] = fmt.Sprintf("%s goes with no option of %s: %s", quote(q.faults[f].id+"/"+q.faults[f].options[o].id), quote(q.faults[g].id), q.shutOut(g))
				again = true
				if alive[f] == 0 {
					var each []string
					for o := range q.faults[f].options {
						each = append(each, why[[2]int{f, o}])
					}
					fs.add(at("/faults", f)+"/options", strings.Join(each, "; "), "at least one option that can be taken",
						"No option of "+quote(q.faults[f].id)+" can be taken", "Take out a requirement or an exclusion between them.")
					return
				}
			}
		}
	}
}
