package scoring_test

import (
	"fmt"

	"example.org/asfound/scoring"
)

// Where did the tank come from? Its paint layers speak for original, and so
// does a dent in a picture of 1959.
func ExampleOrigin() {
	reliable := 0.95
	out, err := scoring.Origin(scoring.OriginInput{
		States: []string{"original", "donor", "reproduction"},
		Prior:  []float64{0.70, 0.20, 0.10},
		Evidence: []scoring.EvidenceItem{
			{ID: "film-layers", Cluster: "patina", Likelihood: []float64{0.60, 0.12, 0.02}},
			{ID: "photo-1959", Cluster: "photo", Reliability: &reliable, Likelihood: []float64{0.50, 0.01, 0.001}},
		},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range out.Posterior {
		fmt.Println(p.Key, scoring.Percent(p.Value))
	}
	for _, c := range out.Clusters {
		fmt.Printf("%s: %s evidence for %s\n", c.ID, c.Words, c.Favours)
	}
	// Output:
	// original >99 %
	// donor <1 %
	// reproduction <1 %
	// other <1 %
	// patina: limited evidence for original
	// photo: moderate evidence for original
}

// How original is a machine of one engine and one frame?
func ExampleIndex() {
	credit := scoring.Distribution{{Key: "original", Value: 1}, {Key: "donor", Value: 0.55}}
	original := scoring.Distribution{{Key: "original", Value: 0.98}, {Key: "donor", Value: 0.02}}
	donor := scoring.Distribution{{Key: "donor", Value: 1}}
	out, err := scoring.Index(scoring.IndexInput{Assemblies: []scoring.Assembly{
		{ID: "engine", Intact: 0.9, Parts: []scoring.IndexPart{
			{ID: "case-left", Weight: 60, Credit: credit, IfIntact: original, IfSwapped: donor},
			{ID: "case-right", Weight: 60, Credit: credit, IfIntact: original, IfSwapped: donor},
		}},
		{ID: "frame", Intact: 1, Parts: []scoring.IndexPart{
			{ID: "main-frame", Weight: 140, Credit: credit, IfIntact: original},
		}},
	}})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("mean %.3f, 80 %% within %.3f to %.3f, exact: %v\n", out.Mean, out.Low80, out.High80, out.Lattice.Exact)
	for _, h := range out.Modes {
		fmt.Printf("near %.2f with %s\n", h.At, scoring.Percent(h.Mass))
	}
	// Output:
	// mean 0.971, 80 % within 0.792 to 1.000, exact: true
	// near 0.79 with 15 %
	// near 1.00 with 85 %
}

// A donor magneto is fitted and the original boxed with the machine.
func ExampleEffect() {
	lossPerYear, years, refit := 0.02, 10.0, 0.95
	out, err := scoring.Effect(scoring.EffectInput{
		TotalWeight: 474,
		Parts: []scoring.EffectPart{{
			ID: "magneto", Weight: 30,
			Credit:     scoring.Distribution{{Key: "original", Value: 1}, {Key: "donor", Value: 0.55}},
			Before:     scoring.Distribution{{Key: "original", Value: 0.768}, {Key: "donor", Value: 0.232}},
			After:      scoring.Distribution{{Key: "donor", Value: 1}},
			Reversible: true, Custody: scoring.CustodyKept,
			LossPerYear: &lossPerYear, Years: &years, RefitChance: &refit,
		}},
		Openings: []scoring.Opening{{ID: "points-cover", WitnessPoints: 0.3}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("now %.4f of the index, for good %.4f\n", out.Now.Mean, out.ForGood.Mean)
	// Output:
	// now 0.0225 of the index, for good 0.0055
}

// Run is what a stored estimate is recomputed with.
func ExampleRun() {
	out, err := scoring.Run("origin/1", []byte(`{"states":["original","donor"],"prior":[0.75,0.25],"other":0}`))
	fmt.Println(string(out), err)
	_, err = scoring.Run("origin/1", []byte(`{"states":["original","donor"],"prior":[0.75,0.35]}`))
	fmt.Println(err)
	// Output:
	// {"posterior":{"original":0.75,"donor":0.25,"other":0},"band":{"original":[0.75,0.75],"donor":[0.25,0.25],"other":[0,0]},"without":{},"entropy_bits":[0.8112781244591328],"clusters":[],"conflict":false,"moved":false} <nil>
	// The posterior cannot be computed: /prior: The prior does not sum to 1 (found a sum of 1.1); allowed: a sum of 1, or of 1 − other = 0.98. Add what is missing, or scale it. Mend the input at the places listed.
}
