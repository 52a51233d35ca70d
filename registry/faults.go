package registry

import "fmt"

// faults collects every fault of one record, so that a person can mend them
// all at once.
type faults []Field

func (fs *faults) add(pointer, found, allowed, message, fix string) {
	f := Field{Pointer: pointer, Allowed: allowed, Message: message, Fix: fix}
	if found != "" {
		f.Found = quoteShort(found)
	}
	*fs = append(*fs, f)
}

// need adds a fault when a text is empty.
func (fs *faults) need(pointer, value, message, fix string) {
	if value == "" {
		fs.add(pointer, "", "", message, fix)
	}
}

// id adds a fault when an identifier cannot be used; empty is a fault unless
// optional.
func (fs *faults) id(pointer, id string, optional bool) {
	if id == "" && optional {
		return
	}
	if id == "" {
		fs.add(pointer, "", "a name of 1 to 64 small letters, digits, '-', '.' or '_'", "The identifier is missing", "Name what is meant.")
		return
	}
	if err, ok := CheckID(pointer, id).(*Error); ok {
		*fs = append(*fs, err.Fields...)
	}
}

// date adds a fault when a date does not parse; empty is allowed.
func (fs *faults) date(pointer string, d Date) {
	if d == "" {
		return
	}
	if _, err := d.Span(); err != nil {
		fs.add(pointer, string(d), dateForms, err.Error(), "Write only as much as is known.")
	}
}

// probability adds a fault when p is outside [0,1] or not a number.
func (fs *faults) probability(pointer string, p float64) {
	if !(p >= 0 && p <= 1) {
		fs.add(pointer, fmt.Sprint(p), "0 to 1", "A probability lies between 0 and 1", "Write 0.85 for 85 %.")
	}
}

// notNegative adds a fault when v is negative or not a number.
func (fs *faults) notNegative(pointer string, v float64, unit string) {
	if !(v >= 0 && v < 1e12) {
		fs.add(pointer, fmt.Sprint(v), "0 or more "+unit, "The number cannot be negative or endless", "Give it in "+unit+".")
	}
}

// positive adds a fault when v is not a number above 0.
func (fs *faults) positive(pointer string, v float64, unit string) {
	if !(v > 0 && v < 1e12) {
		fs.add(pointer, fmt.Sprint(v), "more than 0 "+unit, "The number must be above 0", "Give it in "+unit+".")
	}
}

// distribution adds faults unless every key is a state of the proposition and
// the shares are probabilities that add up to 1.
func (fs *faults) distribution(pointer string, p Proposition, dist map[string]float64) {
	fs.shares(pointer, p, dist)
	sum := 0.0
	for _, s := range append(States(p), StateOther) {
		sum += dist[s]
	}
	if len(dist) > 0 && (sum < 1-1e-6 || sum > 1+1e-6) {
		fs.add(pointer, fmt.Sprintf("a sum of %g", sum), "a sum of 1", "The shares of the states must add up to 1", "")
	}
}

// shares is distribution without the sum: for likelihoods.
func (fs *faults) shares(pointer string, p Proposition, dist map[string]float64) {
	known := map[string]bool{StateOther: true}
	for _, s := range States(p) {
		known[s] = true
	}
	for _, s := range sortedKeys(dist) {
		if !known[s] {
			fs.add(pointer+"/"+s, s, "the states of "+string(p), "This state does not belong to the proposition", "")
		}
		fs.probability(pointer+"/"+s, dist[s])
	}
}

// err answers with every fault, or nil.
func (fs faults) err(what string) error {
	if len(fs) == 0 {
		return nil
	}
	message := what + " cannot be recorded: " + fs[0].String()
	if len(fs) > 1 {
		message = fmt.Sprintf("%s cannot be recorded: %d fields are wrong, the first is %s", what, len(fs), fs[0].String())
	}
	return &Error{Code: CodeInvalid, Message: message, Fields: fs}
}
