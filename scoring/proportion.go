package scoring

import "math"

// LeastLooked is how many machines must have been looked at before a share of
// them is given. An assumption: with four, the interval of the method is at
// least 0.49 wide whatever was seen.
const LeastLooked = 5

const proportionNote = "It holds for machines like those on record, if each of them was as likely as any other to come on record; a register of machines that somebody cared for is no fair sample of all."

// ProportionInput is how many of those looked at are of the kind asked for.
type ProportionInput struct {
	Count  float64 `json:"count"`  // of the kind
	Looked float64 `json:"looked"` // looked at
}

// ProportionResult is the share, 0 to 1, with an interval.
type ProportionResult struct {
	Share float64 `json:"share"`
	Low   float64 `json:"low95"`
	High  float64 `json:"high95"`
	Note  string  `json:"note"`
}

// Proportion says what share of machines is of a kind: count/looked, with the
// score interval of Wilson (1927) for 95 %, which stays between 0 and 1 and is
// no point even where all or none are of the kind.
//
// It refuses (CodeInsufficient) fewer than LeastLooked machines, and
// (CodeInvalid) counts that cannot be.
func Proportion(in ProportionInput) (ProportionResult, error) {
	var fs faults
	fs.whole("/count", in.Count, maxCount, "machines")
	fs.whole("/looked", in.Looked, maxCount, "machines")
	if len(fs) == 0 && in.Count > in.Looked {
		fs.add("/count", number(in.Count), "0 to "+number(in.Looked), "More are of the kind than were looked at", "Count again.")
	}
	if err := fs.err("The share"); err != nil {
		return ProportionResult{}, err
	}
	if in.Looked < LeastLooked {
		return ProportionResult{}, insufficient("/looked", "Fewer than "+number(LeastLooked)+" machines were looked at, which leaves their share open", "Survey more machines.")
	}
	const z = 1.959963984540054 // the 0.975 quantile of the standard normal distribution
	n, p, zz := in.Looked, in.Count/in.Looked, float64(z*z)
	middle := (p + zz/float64(2*n)) / (1 + zz/n)
	half := float64(z*math.Sqrt(float64(p*(1-p))/n+zz/float64(float64(4*n)*n))) / (1 + zz/n)
	out := ProportionResult{Share: p, Low: max(0, middle-half), High: min(1, middle+half), Note: proportionNote}
	// Rounding must not leave what was seen outside.
	out.Low, out.High = min(out.Low, p), max(out.High, p)
	return out, nil
}

func readProportionInput(r *reader, n *node) (in ProportionInput) {
	r.object(n, "", member{"count", true, r.number(&in.Count)}, member{"looked", true, r.number(&in.Looked)})
	return in
}
