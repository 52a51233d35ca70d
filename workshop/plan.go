package workshop

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// PlanRequest asks which combinations of options are the sensible ones.
type PlanRequest struct {
	Limits scoring.PlanLimits
	// Pick names a preference; see scoring.PlanInput. Empty picks nothing.
	Pick string
}

// PlanReport is the answer, with exactly the input that `calc plan` takes.
type PlanReport struct {
	Currency string             `json:"currency"`
	Input    scoring.PlanInput  `json:"input"`
	Result   scoring.PlanResult `json:"result"`
	// Settled are faults that work has already been done for; they are not
	// planned again.
	Settled []string `json:"settled_faults"`
	// Titles are the options' and faults' words.
	Titles map[string]string `json:"titles"`
	// Assumptions are what the figures rest on, in sentences.
	Assumptions []string `json:"assumptions"`
}

// Plan enumerates the plans for the faults that are still open: one option for
// each, openings paid once. Losses are in points of the anatomy, substance and
// surface together. CodeInsufficient when the survey is too thin or an option
// says nothing of its chance to work; CodeInvalid for a mix of currencies.
func (w *Workshop) Plan(ctx context.Context, machine string, req PlanRequest) (*PlanReport, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	s, err := w.look(d, "")
	if err != nil {
		return nil, err
	}
	out := &PlanReport{Settled: []string{}, Titles: map[string]string{}, Assumptions: []string{
		"Points lost are the means of the same estimates that weighing shows, substance and surface together, because means add up over a plan; a gain counts as no loss.",
		"The chance that a whole plan works is the product of its options' chances, as if they had nothing to do with each other.",
		"Each chance is the mechanic's assumption. A chance is no permission to ride: the gates decide.",
	}}
	b := planBuilder{seen: s, out: out}
	if err := b.build(); err != nil {
		return nil, err
	}
	out.Input.Limits, out.Input.Pick = req.Limits, req.Pick
	out.Result, err = scoring.Plan(out.Input)
	return out, err
}

type planBuilder struct {
	*seen
	out *PlanReport
}

func (b *planBuilder) build() error {
	needed := map[string]bool{}
	var silent []string
	for _, f := range registry.Live[*registry.Fault](b.d) {
		if settled(b.d, f.RecordID()) {
			b.out.Settled = append(b.out.Settled, f.RecordID())
			continue
		}
		fault := scoring.PlanFault{ID: f.RecordID(), Mandatory: f.Record.Grave && b.toRun()}
		b.out.Titles[f.RecordID()] = NewReader(b.d, false).Text(f.Record.Complaint)
		for _, o := range registry.Live[*registry.Option](b.d) {
			if o.Record.Fault != f.RecordID() {
				continue
			}
			if o.Record.Works == nil {
				silent = append(silent, o.RecordID())
				continue
			}
			option, err := b.option(o.Record)
			if err != nil {
				return err
			}
			for _, id := range option.Opens {
				for _, need := range b.d.OpeningsNeeded([]string{id}) {
					needed[need] = true
				}
			}
			fault.Options = append(fault.Options, option)
		}
		if len(fault.Options) > 0 {
			b.out.Input.Faults = append(b.out.Input.Faults, fault)
		}
	}
	if len(silent) > 0 {
		return registry.Refuse(registry.CodeInsufficient, "Give each option its chance to work, 0 for leaving it as it is.",
			"Nothing is said of how likely these are to work: %s", strings.Join(silent, ", "))
	}
	if len(b.out.Input.Faults) == 0 {
		return registry.Refuse(registry.CodeInsufficient, "Record faults, and options for them.", "There is nothing to plan: no open fault has an option")
	}
	return b.openings(needed)
}

// toRun says whether the machine is to be run or ridden: then what could hurt
// someone must be put right.
func (b *planBuilder) toRun() bool {
	a, ok := b.d.Agreement()
	return !ok || a.Purpose != "static"
}

// settled says whether work was done for one of a fault's options.
func settled(d *registry.Dossier, fault string) bool {
	return slices.ContainsFunc(registry.Live[*registry.Work](d), func(w registry.Found[*registry.Work]) bool {
		o, ok := registry.Get[*registry.Option](d, w.Record.Option)
		return ok && o.Record.Fault == fault
	})
}

func (b *planBuilder) option(o *registry.Option) (scoring.PlanOption, error) {
	b.out.Titles[o.ID] = NewReader(b.d, false).Text(o.Title)
	out := scoring.PlanOption{ID: o.ID, Hours: o.Hours, Lead: o.LeadDays, Works: o.Works, Requires: o.Requires, Excludes: o.Excludes,
		Opens: slices.DeleteFunc(slices.Clone(o.Openings), b.d.IsOpened)}
	var err error
	if out.Money, err = b.money(o.ID, o.Money); err != nil {
		return out, err
	}
	for _, name := range []string{"substance", "surface"} {
		if why := b.incomplete(name); why != "" {
			return out, registry.Refuse(registry.CodeInsufficient, "Survey first, and plan then.", "No plan can be weighed yet. %s", why)
		}
		in, err := b.effectInput(o, name)
		if err != nil {
			return out, err
		}
		in.Openings = nil // they are paid once for the whole plan
		if len(in.Parts) == 0 {
			continue
		}
		r, err := scoring.Effect(in)
		if err != nil {
			return out, err
		}
		out.Now += max(0, float64(r.Now.Mean*in.TotalWeight))
		out.ForGood += max(0, float64(r.ForGood.Mean*in.TotalWeight))
	}
	out.Now, out.ForGood = hundredths(out.Now), hundredths(min(out.ForGood, out.Now))
	return out, nil
}

// hundredths rounds points for a plan: more figures would be invented.
func hundredths(v float64) float64 { return math.Round(v*100) / 100 }

func (b *planBuilder) money(of string, m registry.Money) (float64, error) {
	if m.IsZero() {
		return 0, nil
	}
	if b.out.Currency == "" {
		b.out.Currency = m.Currency
	}
	if m.Currency != b.out.Currency {
		return 0, registry.Refuse(registry.CodeInvalid, "Price everything in one currency.", "%q is priced in %s, others in %s", of, m.Currency, b.out.Currency)
	}
	v, ok := m.Amount.Float64()
	if !ok {
		return 0, registry.Refuse(registry.CodeInvalid, "", "The price of %q cannot be used", of)
	}
	return v, nil
}

// openings describes those that any option needs and that are not made yet.
func (b *planBuilder) openings(needed map[string]bool) error {
	for _, o := range registry.Live[*registry.Opening](b.d) {
		id := o.RecordID()
		if !needed[id] && !needed[o.Record.Supersedes] || b.d.IsOpened(id) {
			continue
		}
		if needed[o.Record.Supersedes] {
			id = o.Record.Supersedes // options name it as it was first described
		}
		money, err := b.money(id, o.Record.Money)
		if err != nil {
			return err
		}
		b.out.Titles[id] = o.Record.Title
		b.out.Input.Openings = append(b.out.Input.Openings, scoring.PlanOpening{ID: id, Money: money, Hours: o.Record.Hours, Lead: o.Record.LeadDays,
			ForGood: o.Record.WitnessPoints, Needs: slices.DeleteFunc(slices.Clone(o.Record.Requires), b.d.IsOpened)})
	}
	return nil
}

// Words says in one sentence what a plan chooses.
func (r *PlanReport) Words(p scoring.PlanChoice) string {
	var out []string
	for _, c := range p.Options {
		out = append(out, fmt.Sprintf("%s: %s", c.Key, c.Value))
	}
	return strings.Join(out, "; ")
}
