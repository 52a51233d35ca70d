package scoring

import (
	"strconv"
	"strings"
)

// VINInput asks what a number of seventeen characters says.
type VINInput struct {
	Number string `json:"number"` // "[38]" for a doubtful character
	// CheckDigit is whether the market for which the machine was built uses the
	// check digit: "used" (North America), "not-used", or "unknown".
	CheckDigit string `json:"check_digit"`
}

// VINResult is what the number says, for each way in which it may be read.
type VINResult struct {
	Numbers []VINAnswer `json:"numbers"`
	Says    string      `json:"says"`
}

// VINAnswer is one number.
type VINAnswer struct {
	Number string `json:"number"`
	// Sum is that of weights and values, Expected the check digit that follows
	// and Found what stands in position 9.
	Sum      int    `json:"sum"`
	Expected string `json:"expected"`
	Found    string `json:"found"`
	Agrees   bool   `json:"agrees"`
	// Verdict is "agrees", "fails" where the market uses the digit, and
	// "not checked" where a failing digit says nothing.
	Verdict string `json:"verdict"`
	// ModelYears are both that position 10 may mean; none if it holds no year.
	ModelYears []int  `json:"model_years"`
	SmallMaker bool   `json:"small_maker"` // position 3 is 9: positions 12 to 14 name the maker too
	Serial     string `json:"serial"`      // positions 12 to 17
}

const (
	vinLength  = 17
	vinLetters = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
	// vinYears are the codes of position 10 from 1980, thirty years long.
	vinYears = "ABCDEFGHJKLMNPRSTVWXY123456789"
)

// vinValues gives each character its value: A to H 1 to 8, J to N 1 to 5, P 7,
// R 9, S to Z 2 to 9.
const (
	vinOrder  = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
	vinValues = "012345678912345678123457923456789"
)

var vinWeights = [vinLength]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

const vinSays = "For a motorcycle position 10 leaves two years open: the rule by which position 7 tells them apart binds cars and light trucks alone. A failing digit is no proof of anything where the market does not use it."

// VIN reads a number of seventeen characters (ISO 3779): the check digit of
// 49 CFR 565.15 (weights and values of each position, modulo 11, 10 being X),
// the model years and the last six characters. For a motorcycle the year stays
// open between two that lie thirty years apart. A number whose digit fails is
// answered and never rejected: outside North America position 9 is a filler.
//
// It refuses (CodeInvalid) any other length, the letters I, O and Q, which never
// stand in such a number, and other characters. Before 1980 there is no number
// of seventeen characters: ask identity instead.
func VIN(in VINInput) (VINResult, error) {
	var fs faults
	list, _, unreadable := fs.completions("/number", in.Number)
	switch {
	case len(fs) > 0:
	case len(list[0]) != vinLength:
		fs.add("/number", quote(in.Number)+", "+strconv.Itoa(len(list[0]))+" characters", "17 characters", "A number of this standard has seventeen characters", "Count again; a frame number from before 1980 is free text, for which the method identity is made.")
		fallthrough
	default:
		if i := strings.IndexAny(list[0], "IOQ"); i >= 0 {
			fs.add("/number", "the letter "+list[0][i:i+1]+" at position "+strconv.Itoa(i+1), vinLetters, "The letters I, O and Q never stand in such a number", "Look again: it is a 1 or a 0.")
		} else if i := strings.IndexFunc(list[0], func(c rune) bool { return !strings.ContainsRune(vinLetters, c) }); i >= 0 {
			fs.add("/number", quote(list[0][i:i+1])+" at position "+strconv.Itoa(i+1), vinLetters, "This character cannot stand in such a number", "Leave out what stands before and after it.")
		}
	}
	if unreadable > 0 {
		fs.add("/number", quote(in.Number), "candidates in square brackets", "A character of such a number may be a letter, so that ? says too little", "Write what it may be, such as [8B].")
	}
	if in.CheckDigit != "used" && in.CheckDigit != "not-used" && in.CheckDigit != "unknown" {
		fs.add("/check_digit", quote(in.CheckDigit), "used, not-used, unknown", "The market uses the check digit, or not, or nobody knows", "Say for which market the machine was built: North America uses it.")
	}
	if err := fs.err("The number"); err != nil {
		return VINResult{}, err
	}
	out := VINResult{Numbers: []VINAnswer{}, Says: vinSays}
	for _, n := range list {
		if !strings.ContainsAny(n, "IOQ") {
			out.Numbers = append(out.Numbers, vin(n, in.CheckDigit))
		}
	}
	return out, nil
}

func vin(n, checkDigit string) VINAnswer {
	a := VINAnswer{Number: n, Found: n[8:9], ModelYears: []int{}, SmallMaker: n[2] == '9', Serial: n[11:], Verdict: "not checked"}
	for i, w := range vinWeights {
		a.Sum += w * int(vinValues[strings.IndexByte(vinOrder, n[i])]-'0')
	}
	a.Expected = "0123456789X"[a.Sum%11 : a.Sum%11+1]
	a.Agrees = a.Expected == a.Found
	switch {
	case a.Agrees:
		a.Verdict = "agrees"
	case checkDigit == "used":
		a.Verdict = "fails"
	}
	if i := strings.IndexByte(vinYears, n[9]); i >= 0 {
		a.ModelYears = append(a.ModelYears, 1980+i, 2010+i)
	}
	return a
}

func readVINInput(r *reader, n *node) (in VINInput) {
	r.object(n, "",
		member{"number", true, r.text(&in.Number)},
		member{"check_digit", true, r.text(&in.CheckDigit)},
	)
	return in
}
