package workshop

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// outlook is the demonstration weighed, with what leaving and risks come to,
// and the search log.
func outlook(t *testing.T) *bench {
	b := drafted(t)
	b.file("outlook.json")
	b.file("searches.csv")
	return b
}

// The worked example of the pit: through in 22 to 74 years, most likely 35;
// the reading alone gives 20 to 57.
func TestLeavingStandsBesideTheOptions(t *testing.T) {
	b := outlook(t)
	r := b.report(ReportOptions{})
	seen := false
	for _, f := range r.Faults {
		if f.ID != "tank" {
			continue
		}
		require.NotNil(t, f.Leaving)
		require.InDelta(t, 35, f.Leaving.Result.Pit.Likely, 0.5)
		require.Contains(t, f.Leaving.Words, "most likely 35")
		require.Contains(t, f.Leaving.Words, "only if it stays as dry")
		for _, o := range f.Options {
			require.Equal(t, o.Treatment == "leave", o.Leaving != nil, o.ID)
			seen = seen || o.Leaving != nil
		}
	}
	require.True(t, seen)
}

func TestRiskNeedsAValuationForLossesOfTheIndex(t *testing.T) {
	b := outlook(t)
	risk := func() *RiskReport {
		for _, f := range b.report(ReportOptions{}).Faults {
			for _, o := range f.Options {
				if o.ID == "tank-liner" {
					return o.Risk
				}
			}
		}
		return nil
	}
	require.Nil(t, risk().Result)
	require.Contains(t, risk().Why, "once the machine has been valued")
	require.Contains(t, risk().Words, "finish lost")

	// An offer with a valuation freezes the risk beside it, and from then on it
	// shows on the options too.
	b.file("sales.csv")
	distance := 21000.0
	proposed, err := b.Propose(context.Background(), request(), ProposeInput{ID: "offer", By: "mechanic", To: "owner", Options: []string{"tank-liner", "tank-solder", "tank-leave"},
		Recommended: []string{"tank-solder"}, Ceiling: pounds("300"), Expires: b.Now().AddDate(0, 1, 0),
		Value: &ValueQuestion{Distance: &distance, ConditionBefore: ptr(2.0), Documented: true}})
	require.NoError(t, err)
	again, err := b.Recalc(context.Background(), fmt.Sprintf("%s/%d", drover, b.version()))
	require.NoError(t, err)
	of := map[string]bool{}
	for _, e := range again {
		of[e.Of] = e.Same
	}
	require.True(t, of["leaving:leaving-tank"] && of["risk:risk-liner"], "%v", of)
	now := risk()
	require.NotNil(t, now.Result)
	require.Less(t, now.Result.Expected, now.Result.CVaR95)
	require.Contains(t, now.Words, "the worst twentieth")

	// What the owner was shown stays, whatever is recorded afterwards.
	b.do(&registry.Leaving{Common: registry.Common{ID: "leaving-tank-2", Supersedes: "leaving-tank"}, Fault: "tank", Then: "It is gone.", Source: "a guess", By: "mechanic",
		Hazard: &registry.Hazard{PerYear: registry.Likely{Low: 0.1, Likely: 0.2, High: 0.3}, Years: 5}})
	for _, o := range b.report(ReportOptions{}).Offers {
		if o.ID != proposed.ID {
			continue
		}
		for _, x := range o.Options {
			if x.ID == "tank-leave" {
				require.Contains(t, x.Leaving.Words, "most likely 35")
				require.Contains(t, x.Leaving.Then, "The seam weeps")
			}
		}
	}
}

func TestRisksAreOnlyListedWithoutASource(t *testing.T) {
	b := drafted(t)
	b.do(&registry.Risk{Common: registry.Common{ID: "r"}, Option: "tank-liner", By: "mechanic", Outcomes: []registry.RiskOutcome{{What: "finish lost"}, {What: "no harm"}}})
	for _, f := range b.report(ReportOptions{}).Faults {
		for _, o := range f.Options {
			if o.ID == "tank-liner" {
				require.Nil(t, o.Risk.Result)
				require.Contains(t, o.Risk.Words, "finish lost; no harm")
			}
		}
	}
}

// Three sightings in eight years, two ahead: 0.5421 (Gamma–Poisson, the worked
// example of the trade); with no log there is no figure.
func TestPartsSayHowLikelyTheyTurnUp(t *testing.T) {
	b := outlook(t)
	r, err := b.Parts(context.Background(), drover, 0)
	require.NoError(t, err)
	found := map[string]PartReport{}
	for _, p := range r.Parts {
		found[p.What] = p
	}
	magneto := found["donor magneto of the same type and year"]
	require.False(t, magneto.InHand)
	require.InDelta(t, 0.5421, magneto.Search.Result.Seen, 0.0005)
	require.Contains(t, magneto.Search.Words, "54 %")
	require.Nil(t, found["top-end gasket set"].Search, "what can be ordered needs no log")
	require.Contains(t, searchReport(registry.NewDossier("x"), "horn", 2).Why, "how long it was looked for")

	// A part that comes in, under whatever capitals, is in hand.
	b.do(&registry.StockPart{Common: registry.Common{ID: "shelf"}, What: "Donor magneto of the same type and  year", Origin: "donor", Source: "a jumble", By: "mechanic"})
	r, err = b.Parts(context.Background(), drover, 0)
	require.NoError(t, err)
	for _, p := range r.Parts {
		if p.What == "donor magneto of the same type and year" {
			require.True(t, p.InHand)
			require.Equal(t, "shelf", p.Stock)
			require.Nil(t, p.Search)
		}
	}
	require.Len(t, r.Stock, 1)
	_, err = b.Parts(context.Background(), drover, 1000)
	refused(t, err, registry.CodeInvalid, "number of years")
}

func TestBuyFollowsTheLog(t *testing.T) {
	b := outlook(t)
	q := BuyQuestion{What: "donor magneto of the same type and year", Substitute: 520, Waiting: 60, Discount: 0.03, Years: 5}
	r, err := b.Buy(context.Background(), drover, q)
	require.NoError(t, err)
	require.Len(t, r.Result.Buy.Reservation, 5)
	require.InDelta(t, 3.5/8, r.Result.Buy.Rate, 0.001) // (k + ½)/t
	require.Positive(t, r.Result.Buy.Worth)
	q.What = "top-end gasket set"
	_, err = b.Buy(context.Background(), drover, q)
	refused(t, err, registry.CodeInsufficient, "cannot be said")
	b.do(&registry.Search{Common: registry.Common{ID: "s1", Valid: "2020/2024"}, What: "top-end gasket set", Where: "lists", By: "mechanic"})
	_, err = b.Buy(context.Background(), drover, q)
	refused(t, err, registry.CodeInsufficient, "No price")
}

// Options name one another by record alone, and the planner understands them.
func TestPlansHeedWhatOptionsExclude(t *testing.T) {
	b := drafted(t)
	b.do(&registry.Option{Common: registry.Common{ID: "brake-reline-2", Supersedes: "brake-reline"}, Fault: "front-brake", Treatment: "repair-original", Title: "Reline, but not with the tank lined",
		Hours: 3, Works: ptr(0.98), Excludes: []string{"tank-liner"}, By: "mechanic"})
	r, err := b.Plan(context.Background(), drover, PlanRequest{})
	require.NoError(t, err)
	for _, p := range r.Result.Front {
		brake, _ := p.Options.Get("front-brake")
		tank, _ := p.Options.Get("tank")
		require.False(t, brake == "brake-reline-2" && tank == "tank-liner")
	}
	require.Positive(t, len(r.Result.Front))
}
