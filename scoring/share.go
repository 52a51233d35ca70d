package scoring

// ShareInput asks how likely it is that the weighted share of what counts
// reaches a limit. Assemblies are as in IndexInput; a credit is 1 for a state
// that counts and 0 for one that does not, or anything between.
type ShareInput struct {
	Assemblies []Assembly `json:"assemblies"`
	Least      float64    `json:"least"` // the share asked for, 0 to 1
}

// ShareResult is the answer.
type ShareResult struct {
	Least float64 `json:"least"`
	// Probability that the share is Least or more, 0 to 1.
	Probability float64 `json:"probability"`
	Printed     string  `json:"printed"`
	Mean        float64 `json:"mean"` // of the share, 0 to 1
	TotalWeight float64 `json:"total_weight"`
	Lattice     Lattice `json:"lattice"`
}

// Share is the upper tail of the distribution that Index computes: the
// probability that at least so much of the weight is in a state that counts.
// Parts of one assembly hang together through its switch, as there. A Least of
// 1 asks whether every part does.
//
// It refuses what Index refuses, and (CodeInvalid) a share outside 0 to 1.
func Share(in ShareInput) (ShareResult, error) {
	var fs faults
	fs.probability("/least", in.Least, "The share asked for")
	if err := fs.err("The share"); err != nil {
		return ShareResult{}, err
	}
	m, err := readIndex(IndexInput{Assemblies: in.Assemblies})
	if err != nil {
		return ShareResult{}, err
	}
	g := fit(m.values())
	s := spreadOf(g, m.groups(&g))
	mean, _ := m.moments()
	out := ShareResult{Least: in.Least, Mean: unit(mean / m.total), TotalWeight: m.total, Lattice: g.lattice()}
	for k := len(s.p) - 1; k >= 0; k-- { // 1e-9 is allowed for rounding, as in the weights
		if s.p[k] > 0 && s.at(k)/m.total >= in.Least-1e-9 {
			out.Probability += s.p[k]
		}
	}
	out.Probability = unit(out.Probability)
	out.Printed = Percent(out.Probability)
	return out, nil
}

func readShareInput(r *reader, n *node) (in ShareInput) {
	r.object(n, "",
		member{"assemblies", true, r.assemblies(&in.Assemblies)},
		member{"least", true, r.number(&in.Least)},
	)
	return in
}
