package scoring

import (
	"errors"
	"math"
	"slices"
	"strconv"

	"example.org/asfound/registry"
)

// AgreementInput asks how far two surveyors agree.
type AgreementInput struct {
	// Counts[i][j] are the items that the first put in class i and the second in
	// class j.
	Counts [][]int `json:"counts"`
	// Settle is the kappa below which the wording is settled first.
	Settle float64 `json:"settle"`
}

// AgreementResult is their agreement beyond chance.
type AgreementResult struct {
	Kappa    float64 `json:"kappa"`
	Observed float64 `json:"observed"` // share of items in one class for both
	Chance   float64 `json:"chance"`   // share that chance gives
	Items    int     `json:"items"`
	// SE and the 95 % interval are for many items; absent when nothing scatters.
	SE     *float64 `json:"se,omitempty"`
	Low95  *float64 `json:"low95,omitempty"`
	High95 *float64 `json:"high95,omitempty"`
	// SettleFirst says whether the two should settle the words before the
	// condition is scored.
	SettleFirst bool     `json:"settle_first"`
	Advice      string   `json:"advice"`
	Cautions    []string `json:"cautions"`
}

const fewItems = 30

// Agreement is Cohen's kappa with its interval and the rule that below a limit
// two surveyors settle the wording first.
//
// Kappa as in Kappa; its standard error for many items is that of J. Fleiss, J.
// Cohen and B. Everitt, Large sample standard errors of kappa and weighted kappa,
// 1969: n(1−pₑ)⁴·var = Σᵢ pᵢᵢ[(1−pₑ) − (pᵢ.+p.ᵢ)(1−p₀)]² + (1−p₀)²ΣΣ_{i≠j} pᵢⱼ(p.ᵢ+pⱼ.)²
// − (p₀pₑ − 2pₑ + p₀)². The interval is kappa ± 1.96 of it, within −1 and 1.
//
// It refuses what Kappa refuses, and (CodeInvalid) a limit outside 0 to 1.
func Agreement(in AgreementInput) (AgreementResult, error) {
	var fs faults
	fs.probability("/settle", in.Settle, "The limit")
	fs.count("/counts", len(in.Counts), MaxStates, "classes")
	if err := fs.err("The agreement"); err != nil {
		return AgreementResult{}, err
	}
	kappa, err := Kappa(in.Counts)
	if err != nil {
		return AgreementResult{}, below(err, "/counts")
	}
	n := len(in.Counts)
	total := 0.0
	p := make([][]float64, n)
	rows, columns := make([]float64, n), make([]float64, n)
	for i := range in.Counts {
		p[i] = make([]float64, n)
		for _, c := range in.Counts[i] {
			total += float64(c)
		}
	}
	out := AgreementResult{Kappa: kappa, Items: int(total), SettleFirst: kappa < in.Settle, Cautions: []string{}}
	for i := range n {
		for j := range n {
			p[i][j] = float64(in.Counts[i][j]) / total
			rows[i] += p[i][j]
			columns[j] += p[i][j]
		}
		out.Observed += p[i][i]
	}
	for i := range n {
		out.Chance += float64(rows[i] * columns[i])
	}
	apart, left := 1-out.Observed, 1-out.Chance
	sum := 0.0
	for i := range n {
		for j := range n {
			if i == j {
				d := left - float64((rows[i]+columns[i])*apart)
				sum += float64(p[i][i] * float64(d*d))
				continue
			}
			d := float64(apart * (columns[i] + rows[j]))
			sum += float64(p[i][j] * float64(d*d))
		}
	}
	last := float64(out.Observed*out.Chance) - float64(2*out.Chance) + out.Observed
	variance := (sum - float64(last*last)) / float64(total*float64(float64(left*left)*float64(left*left)))
	if variance > 1e-12 {
		se := math.Sqrt(variance)
		half := float64(standardNormalQuantile(0.975) * se)
		low, high := max(-1, kappa-half), min(1, kappa+half)
		out.SE, out.Low95, out.High95 = &se, &low, &high
		if low < in.Settle && high >= in.Settle {
			out.Cautions = append(out.Cautions, "The interval holds "+number(in.Settle)+": only more items would tell on which side they are.")
		}
	} else {
		out.Cautions = append(out.Cautions, "Nothing scatters in this table, so no interval can be given; that is no sign that the next item would agree.")
	}
	if out.Items < fewItems {
		out.Cautions = append(out.Cautions, strconv.Itoa(out.Items)+" items are few: the interval is rough.")
	}
	out.Advice = "The two agree well enough to go on; look at the items that stand apart."
	if out.SettleFirst {
		out.Advice = "Settle the wording first: look at the items that stand apart together, mend the words, and judge again on your own."
	}
	return out, nil
}

func readAgreementInput(r *reader, n *node) (in AgreementInput) {
	r.object(n, "",
		member{"counts", true, r.array(func(n *node, pointer string) {
			row := []int{}
			r.array(func(n *node, pointer string) {
				var v int
				r.wholeNumber(&v)(n, pointer)
				row = append(row, v)
			})(n, pointer)
			in.Counts = append(in.Counts, row)
		})},
		member{"settle", true, r.number(&in.Settle)},
	)
	return in
}

// below moves the places of a refusal under a pointer.
func below(err error, pointer string) error {
	var refused *registry.Error
	if errors.As(err, &refused) {
		moved := *refused
		moved.Fields = slices.Clone(refused.Fields)
		for i := range moved.Fields {
			moved.Fields[i].Pointer = pointer + moved.Fields[i].Pointer
		}
		return &moved
	}
	return err
}
