package scoring

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// Limits of every input. They are far above one machine's needs and keep a
// careless file from occupying the processor for minutes.
const (
	MaxInputBytes = 8 << 20
	MaxStates     = 32
	MaxEvidence   = 500
	MaxParts      = 1000
	MaxAssemblies = 500
	MaxOpenings   = 1000
	maxNameBytes  = 200
	maxFaults     = 50
)

// The smallest and largest weight that is not 0, in points.
const (
	minWeight = 1e-9
	maxWeight = 1e9
)

// sumTolerance is how far a distribution may miss 1 before it is refused;
// within it the distribution is scaled to 1.
const sumTolerance = 1e-9

// faults collects every fault of an input, so that all can be mended at once.
type faults []registry.Field

func (fs *faults) add(pointer, found, allowed, message, fix string) {
	if len(*fs) < maxFaults {
		*fs = append(*fs, registry.Field{Pointer: pointer, Found: found, Allowed: allowed, Message: message, Fix: fix})
	}
}

// err answers with every fault, or nil.
func (fs faults) err(what string) error {
	if len(fs) == 0 {
		return nil
	}
	message := what + " cannot be computed: " + fs[0].String()
	if len(fs) > 1 {
		message = fmt.Sprintf("%s cannot be computed: %d faults, the first is %s", what, len(fs), fs[0].String())
	}
	return &registry.Error{Code: registry.CodeInvalid, Message: strings.TrimSuffix(message, "."),
		Fix: "Mend the input at the places listed.", Fields: fs}
}

// insufficient refuses for want of anything to compute with.
func insufficient(pointer, message, fix string) error {
	return &registry.Error{Code: registry.CodeInsufficient, Message: message, Fix: fix,
		Fields: []registry.Field{{Pointer: pointer, Message: message, Fix: fix}}}
}

// at is the pointer to one element of an array, key to one key of an object.
func at(pointer string, index int) string { return pointer + "/" + strconv.Itoa(index) }

var escapePointer = strings.NewReplacer("~", "~0", "/", "~1")

func key(pointer, name string) string { return pointer + "/" + escapePointer.Replace(name) }

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// quote quotes what was found, cut to 60 characters.
func quote(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return strconv.Quote(s)
}

// probability adds a fault unless p lies in [0,1]. It also catches NaN.
func (fs *faults) probability(pointer string, p float64, what string) {
	if !(p >= 0 && p <= 1) {
		fs.add(pointer, number(p), "0 to 1", what+" lies between 0 and 1", "Write 0.85 for 85 %.")
	}
}

func (fs *faults) optionalProbability(pointer string, p *float64, what string) {
	if p != nil {
		fs.probability(pointer, *p, what)
	}
}

// weight adds a fault unless w can be a number of points.
func (fs *faults) weight(pointer string, w float64, what string) {
	if !(w == 0 || w >= minWeight && w <= maxWeight) {
		fs.add(pointer, number(w), "0, or 1e-9 to 1e9 points", what+" is a number of points, not negative", "Give it in points, such as 30.")
	}
}

// span adds a fault unless v lies between low and high.
func (fs *faults) span(pointer string, v, low, high float64, what, unit string) {
	if !(v >= low && v <= high) {
		fs.add(pointer, number(v), number(low)+" to "+number(high)+" "+unit, what+" is out of range", "Give it in "+unit+".")
	}
}

// name adds a fault unless s can be an identifier or a state.
func (fs *faults) name(pointer, s, what string) bool {
	if s == "" || len(s) > maxNameBytes {
		fs.add(pointer, quote(s), "1 to 200 bytes", what+" needs a name", "Give a short one.")
		return false
	}
	return true
}

// unique adds a fault when s is already among seen, and notes it.
func (fs *faults) unique(pointer, s, what string, seen map[string]bool) {
	if !fs.name(pointer, s, what) {
		return
	}
	if seen[s] {
		fs.add(pointer, quote(s), "each name once", what+" stands twice", "Rename one, or leave one out.")
	}
	seen[s] = true
}

// count adds a fault when a list is longer than its limit.
func (fs *faults) count(pointer string, n, limit int, what string) {
	if n > limit {
		fs.add(pointer, strconv.Itoa(n), "at most "+strconv.Itoa(limit), "Too many "+what, "Split the question.")
	}
}

// distribution checks a distribution over states and returns it sorted by
// state and scaled to sum to 1 exactly as rounding allows. Sorting makes the
// result independent of the order of keys.
func (fs *faults) distribution(pointer string, d Distribution, what string) Distribution {
	before := len(*fs)
	sorted := fs.table(pointer, d, what)
	if len(d) == 0 {
		fs.add(pointer, "{}", "at least one state", what+" has no states", "Give the probability of each state.")
	}
	if len(*fs) > before {
		return sorted
	}
	sum := 0.0
	for _, e := range sorted {
		sum += e.Value
	}
	if math.Abs(sum-1) > sumTolerance {
		fs.add(pointer, "a sum of "+number(sum), "a sum of 1 within 1e-9", what+" must sum to 1", "Add what is missing, or scale the probabilities.")
		return sorted
	}
	for i := range sorted {
		sorted[i].Value /= sum
	}
	return sorted
}

// table checks numbers in [0,1] per state and returns them sorted by state.
func (fs *faults) table(pointer string, d Distribution, what string) Distribution {
	sorted := slices.Clone(d)
	slices.SortStableFunc(sorted, func(a, b Entry[float64]) int { return cmp.Compare(a.Key, b.Key) })
	right := len(d) <= MaxStates
	for i, e := range sorted {
		right = right && e.Key != "" && len(e.Key) <= maxNameBytes && e.Value >= 0 && e.Value <= 1 &&
			(i == 0 || sorted[i-1].Key != e.Key)
	}
	if right {
		return sorted
	}
	// Only a faulty table is gone through again, to say where.
	fs.count(pointer, len(d), MaxStates, "states")
	seen := make(map[string]bool, len(d))
	for _, e := range d {
		fs.unique(key(pointer, e.Key), e.Key, "The state "+quote(e.Key), seen)
		fs.probability(key(pointer, e.Key), e.Value, what)
	}
	return sorted
}

// credited pairs a distribution with the credit of each of its states. The
// credits come sorted, as table returns them.
func (fs *faults) credited(pointer string, d, credit Distribution, what string) []outcome {
	sorted := fs.distribution(pointer, d, what)
	out := make([]outcome, 0, len(sorted))
	at := 0
	for _, e := range sorted {
		for at < len(credit) && credit[at].Key < e.Key {
			at++
		}
		if at == len(credit) || credit[at].Key != e.Key {
			fs.add(key(pointer, e.Key), quote(e.Key), "the states that have a credit: "+names(credit), "This state has no credit",
				"Add its credit (0 to 1), or take the state out.")
			continue
		}
		out = append(out, outcome{credit[at].Value, e.Value})
	}
	return out
}

// names lists the keys of a table.
func names(d Distribution) string {
	s := make([]string, len(d))
	for i, e := range d {
		s[i] = e.Key
	}
	if len(s) == 0 {
		return "none"
	}
	return strings.Join(s, ", ")
}
