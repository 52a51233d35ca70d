package server

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// StoryPage is the whole story for a reader who was not there and doubts it:
// always the public edition.
type StoryPage struct {
	Base
	Report *workshop.Report
	Names  names
	Scales []StoryScale
	Glance []string
	Clocks *ClocksDrawing
	Groups []StoryGroup
	Claims []StoryClaim
	Done   []StoryDone
	// Refused are answers of the owner that said no.
	Refused []StoryRefused
	Unknown []StoryUnknown
	Removed []StoryRemoved
	Pairs   []StoryPair
	// Key and Fingerprint are those of the registry.
	Key, Fingerprint string
}

// StoryScale is an index with its sum.
type StoryScale struct {
	Scale
	Refused string
	Sum     *SumLink
	Back    *SumLink // with every kept part back on it
}

// StoryGroup is one area of the machine on one line.
type StoryGroup struct {
	Name   string
	Points float64
	// Original and Other are told with 75 % at least; Leaning are likelier
	// original than anything else, and not that likely.
	Original, Leaning, Other, Open int
	Shown                          []StoryPart
}

// StoryPart is one component on one line.
type StoryPart struct {
	Claim *workshop.ClaimReport
	Name  string
	Sum   *SumLink
}

// StoryClaim is one answer with all that speaks for it and against it.
type StoryClaim struct {
	*workshop.ClaimReport
	Name   string
	Points float64
	// For and Against are the findings that make the answer likelier, and less
	// likely.
	For, Against []StoryEvidence
	// Rivals are the next likeliest answers.
	Rivals string
	// Likeliest is the answer that the findings are set against, where none is
	// told.
	Likeliest string
	Sum       SumLink
}

// StoryEvidence is one finding and how strongly it speaks.
type StoryEvidence struct {
	Kind, Says, Limits, Made string
	// Strength is in words and figures.
	Strength string
}

// StoryDone is one piece of work with who decided it and whether it can be
// undone.
type StoryDone struct {
	workshop.WorkReport
	Decided  string
	Undo     string
	Can      bool // it can be undone
	Known    bool // whether it can be undone is on record
	Losses   []StoryLoss
	Fittings string
}

// StoryLoss is what work took from an index, with its sum.
type StoryLoss struct {
	Text string
	Sum  SumLink
}

// StoryRefused is an offer that the owner refused.
type StoryRefused struct {
	What, Person, On, Reason string
}

// StoryUnknown is an open question with its sum.
type StoryUnknown struct {
	workshop.Uncertain
	Sum SumLink
}

// StoryRemoved is a removed part and where it is.
type StoryRemoved struct {
	workshop.RemovedReport
	From string
}

// StoryPair is a component with pictures from before and from afterwards.
type StoryPair struct {
	Name          string
	Before, After PhotoStrip
}

func pageStory(s *Server, r *http.Request) (answer, error) {
	id, version, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	tag := s.pageTag(r, version)
	if hasTag(r, tag) {
		return notModified(tag), nil
	}
	report, err := s.reportOf(r, id, workshop.ReportOptions{Public: true})
	if err != nil {
		return nil, err
	}
	return htmlAnswer{name: "story", page: s.storyPage(report), etag: tag}, nil
}

func (s *Server) storyPage(report *workshop.Report) StoryPage {
	page := StoryPage{Base: s.basis(report, "story", "The story of this machine, for whoever doubts it"), Report: report, Names: namesOf(report),
		Clocks: drawClocks(report), Key: s.PublicKey, Fingerprint: s.KeyFingerprint}
	report.Indices.Each(func(name string, x *workshop.IndexReport) {
		scale := StoryScale{Scale: drawIndex(name, x), Refused: x.Refused}
		if x.Now != nil {
			sum, back := sumLink(report, "How this figure comes about", "index:"+name), sumLink(report, "The same with every kept part back", "index:"+name+":back")
			scale.Sum, scale.Back = &sum, &back
		}
		page.Scales = append(page.Scales, scale)
	})
	page.parts(report)
	page.work(report)
	for _, u := range report.Uncertain {
		page.Unknown = append(page.Unknown, StoryUnknown{u, sumLink(report, "How likely each answer is", string(u.Proposition)+":"+u.Component)})
	}
	for _, p := range report.Removed {
		page.Removed = append(page.Removed, StoryRemoved{p, page.Names.Of(p.Component)})
	}
	page.pictures(report)
	page.glance(report)
	return page
}

// claimsTold is how many answers are told with all their evidence.
const claimsTold = 14

// parts tells of the components, area by area, and of those answers that rest
// on more than what the surveyor read off.
func (p *StoryPage) parts(report *workshop.Report) {
	evidence := map[string]*workshop.EvidenceReport{}
	for i := range report.Evidence {
		evidence[report.Evidence[i].ID] = &report.Evidence[i]
	}
	for _, g := range report.Groups {
		group := StoryGroup{Name: g.Name, Points: g.Points}
		for i := range g.Components {
			c := &g.Components[i]
			if c.NotFitted {
				continue
			}
			part := StoryPart{Claim: &c.Origin, Name: c.Name}
			if c.Origin.Input != nil && c.Origin.Basis == "evidence" {
				sum := sumLink(report, "Sum", "origin:"+c.ID)
				part.Sum = &sum
			}
			group.Shown = append(group.Shown, part)
			switch {
			case c.Origin.Basis == "prior" || c.Origin.Undetermined:
				group.Open++
			case c.Origin.Leading == "":
				if top, _ := leading(c.Origin.Posterior); top == "original" {
					group.Leaning++
				} else {
					group.Open++
				}
			case c.Origin.Leading == "original":
				group.Original++
			default:
				group.Other++
			}
			for _, a := range c.Claims() {
				if hasEvidence(a, evidence) {
					p.Claims = append(p.Claims, storyClaim(report, c, a, evidence))
				}
			}
		}
		if len(group.Shown) > 0 {
			p.Groups = append(p.Groups, group)
		}
	}
	slices.SortStableFunc(p.Claims, func(a, b StoryClaim) int {
		if a.Conflict != b.Conflict {
			return map[bool]int{true: -1, false: 1}[a.Conflict]
		}
		return int(math.Copysign(math.Ceil(math.Abs(b.Points-a.Points)), b.Points-a.Points))
	})
	if len(p.Claims) > claimsTold {
		p.Claims = p.Claims[:claimsTold]
	}
}

// hasEvidence says whether an answer rests on evidence beyond the survey, or on
// evidence that contradicts itself.
func hasEvidence(a *workshop.ClaimReport, evidence map[string]*workshop.EvidenceReport) bool {
	return a.Input != nil && len(a.Posterior) > 0 && (a.Conflict || a.Statement != "" || slices.ContainsFunc(a.Evidence, func(id string) bool { return evidence[id] != nil }))
}

func storyClaim(report *workshop.Report, c *workshop.ComponentReport, a *workshop.ClaimReport, evidence map[string]*workshop.EvidenceReport) StoryClaim {
	out := StoryClaim{ClaimReport: a, Name: c.Name, Points: c.Points, Sum: sumLink(report, "How this figure comes about", string(a.Proposition)+":"+c.ID)}
	top, _ := leading(a.Posterior)
	with, _ := a.Posterior.Get(top)
	for _, id := range a.Evidence {
		e := StoryEvidence{Kind: "Seen at the survey", Says: surveySaid(id)}
		if x := evidence[id]; x != nil {
			e = StoryEvidence{Kind: upperFirst(plainWords(x.Kind)), Says: x.Says, Limits: x.Limits, Made: dayWords(x.Made)}
			if x.Recollected {
				e.Kind += ", recollected later"
			}
		}
		without := with
		if a.Without != nil {
			if d, ok := a.Without.Get(id); ok {
				without, _ = d.Get(top)
			}
		}
		ratio := odds(with) / odds(without)
		e.Strength = strengthWords(ratio)
		if ratio < 1/1.05 {
			out.Against = append(out.Against, e)
		} else {
			out.For = append(out.For, e)
		}
	}
	out.Rivals = rivalWords(a.Posterior, top)
	if a.Undetermined || a.Leading == "" {
		out.Likeliest = plainWords(top) + " " + scoring.Percent(with)
	}
	return out
}

// surveySaid is what a survey's entry says, without its id.
func surveySaid(id string) string {
	_, seen, ok := strings.Cut(id, ":")
	if !ok {
		return upperFirst(plainWords(id))
	}
	switch registry.Proposition(seen) {
	case registry.PropositionOrigin, registry.PropositionFinish, registry.PropositionSpecification:
		return "The surveyor’s own reading of the " + seen + "."
	}
	return upperFirst(plainWords(seen)) + "."
}

func odds(p float64) float64 { return max(p, 1e-12) / max(1-p, 1e-12) }

// strengthWords says how far a finding shifts the odds of the answer, with the
// others standing.
func strengthWords(ratio float64) string {
	switch {
	case ratio > 1.05:
		return fmt.Sprintf("Speaks for it: %s, %s.", scoring.Verbal(ratio), together(ratioWords(ratio)))
	case ratio < 1/1.05:
		return fmt.Sprintf("Speaks against it: %s, %s.", scoring.Verbal(1/ratio), together(ratioWords(1/ratio)))
	}
	return "Changes little, the others standing."
}

// together keeps a figure on one line.
func together(s string) string { return strings.ReplaceAll(s, " ", "\u00a0") }

// rivalWords are the next likeliest answers, down to one in a hundred.
func rivalWords(d scoring.Distribution, top string) string {
	rivals := slices.DeleteFunc(slices.Clone(d), func(e scoring.Entry[float64]) bool { return e.Key == top || e.Value < 0.01 })
	slices.SortStableFunc(rivals, func(a, b scoring.Entry[float64]) int { return int(math.Copysign(1, b.Value-a.Value)) })
	var out []string
	for _, e := range rivals[:min(len(rivals), 3)] {
		out = append(out, plainWords(e.Key)+" "+scoring.Percent(e.Value))
	}
	return strings.Join(out, ", ")
}

// work tells what was done and what was refused.
func (p *StoryPage) work(report *workshop.Report) {
	options := map[string]workshop.OptionReport{}
	for _, f := range report.Faults {
		for _, o := range f.Options {
			options[o.ID] = o
		}
	}
	answers := map[string]workshop.AnswerReport{}
	for _, o := range report.Offers {
		for _, a := range o.Answers {
			answers[a.ID] = a
			if a.Answer != "refuse" {
				continue
			}
			var titles []string
			for _, x := range o.Options {
				if slices.Contains(o.Recommended, x.ID) {
					titles = append(titles, x.Title)
				}
			}
			p.Refused = append(p.Refused, StoryRefused{What: strings.Join(titles, "; "), Person: a.Person, On: dayWords(a.Recorded), Reason: a.Reason})
		}
	}
	for _, w := range report.Work {
		d := StoryDone{WorkReport: w}
		switch a, ok := answers[w.Standing.Decision]; {
		case ok && len(a.Conditions) > 0:
			d.Decided = fmt.Sprintf("Decided by %s on %s, on condition: %s.", a.Person, dayWords(a.Recorded), strings.TrimSuffix(strings.Join(a.Conditions, "; "), "."))
		case ok:
			d.Decided = fmt.Sprintf("Decided by %s on %s.", a.Person, dayWords(a.Recorded))
		case w.Standing.Mark == "care":
			d.Decided = "On the list of care that may be done without asking."
		case w.Standing.Mark == "make-safe":
			d.Decided = "Done to make it harmless, without asking first."
		default:
			d.Decided = "Nobody had decided it: " + strings.TrimSuffix(strings.Join(w.Standing.Why, "; "), ".") + "."
		}
		if o, ok := options[w.Option]; ok {
			d.Known, d.Can, d.Undo = true, o.Reversible, undoWords(o.Undo)
			d.Losses = storyLosses(report, o)
		}
		for _, f := range w.Fitted {
			d.Fittings = strings.TrimPrefix(d.Fittings+"; "+f.Part, "; ")
		}
		p.Done = append(p.Done, d)
	}
}

// storyLosses are what an option took for good, as it was weighed last.
func storyLosses(report *workshop.Report, o workshop.OptionReport) []StoryLoss {
	var out []StoryLoss
	if o.Effects == nil {
		return nil
	}
	for _, e := range o.Effects.Estimates {
		_, index, _ := strings.Cut(e.Of, "/")
		o.Effects.Each(func(name string, x *scoring.EffectResult) {
			if name == index && (x.ForGood.High80 > 0 || x.Now.High80 > 0) {
				out = append(out, StoryLoss{fmt.Sprintf("%s: %s points of 1000 as it stands, %s of them for good.", upperFirst(name), pointsWords(x.Now.Median), pointsWords(x.ForGood.Median)),
					sumLink(report, "How the "+name+" figures come about", "effect:"+o.ID+":"+name)})
			}
		})
	}
	return out
}

// pictures pairs what was photographed as found with what was photographed
// afterwards, component by component.
func (p *StoryPage) pictures(report *workshop.Report) {
	told := map[string]bool{}
	for _, after := range report.Photos {
		if after.Shows != "after" || after.Preview == "" || after.Withheld {
			continue
		}
		for _, c := range after.Components {
			pair := StoryPair{Name: p.Names.Of(c), Before: PhotoStrip{"/machines/" + report.Machine.ID + "/photos", nil, false}}
			pair.After = pair.Before
			for _, x := range report.Photos {
				if x.Withheld || x.Preview == "" || told[x.ID+" "+c] || !slices.Contains(x.Components, c) {
					continue
				}
				switch x.Shows {
				case "as-found":
					pair.Before.Photos = append(pair.Before.Photos, x)
				case "after":
					pair.After.Photos = append(pair.After.Photos, x)
				default:
					continue
				}
				told[x.ID+" "+c] = true
			}
			if len(pair.After.Photos) > 0 {
				p.Pairs = append(p.Pairs, pair)
			}
		}
	}
}

// glance says in a few sentences what the page holds, with what speaks against
// the machine among it.
func (p *StoryPage) glance(report *workshop.Report) {
	var original, leaning, other, open int
	for _, g := range p.Groups {
		original, leaning, other, open = original+g.Original, leaning+g.Leaning, other+g.Other, open+g.Open
	}
	unapproved := 0
	for _, w := range p.Done {
		if w.Standing.Mark == "unapproved" {
			unapproved++
		}
	}
	p.Glance = []string{
		fmt.Sprintf("%s. Told as original: %d. Likelier original than anything else, but not told: %d. Told as something else: %d. Open: %d.", plural(original+leaning+other+open, "component", "components"), original, leaning, other, open),
		fmt.Sprintf("Pieces of work: %d. Of them without anybody’s approval: %d. Proposals that the owner refused: %d.", len(p.Done), unapproved, len(p.Refused)),
		fmt.Sprintf("Parts taken off: %d. Of them kept with the machine: %d.", len(report.Removed), keptParts(report)),
		fmt.Sprintf("Open questions on this page: %d.", len(report.Uncertain)+len(report.Questions)),
	}
	if s := report.Survey; s.Sealed {
		p.Glance = append(p.Glance, fmt.Sprintf("The as-found survey was sealed on %s, before any work. Gaps named in it: %d.", dayWords(s.SealedOn), len(s.Gaps)))
	} else {
		p.Glance = append(p.Glance, "The as-found survey has not been sealed: it can still change.")
	}
}

func keptParts(report *workshop.Report) int {
	n := 0
	for _, p := range report.Removed {
		if p.Custody == "kept-with-machine" {
			n++
		}
	}
	return n
}
