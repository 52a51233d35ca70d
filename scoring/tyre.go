package scoring

import (
	"strconv"
	"time"
)

// TyreInput asks when a tyre was made, by the figures at the end of its code.
type TyreInput struct {
	Code     string `json:"code"`               // three or four figures, such as 2316
	Triangle bool   `json:"triangle,omitempty"` // whether a triangle stands after three figures
	On       string `json:"on,omitempty"`       // the day on which it was read, if the age is asked for
}

// TyreResult is every year that the code may mean.
type TyreResult struct {
	Week  int   `json:"week"`
	Years []int `json:"years"`
	// OldestYears and YoungestYears are its age on the day asked for, in years.
	OldestYears   *float64 `json:"oldest_years,omitempty"`
	YoungestYears *float64 `json:"youngest_years,omitempty"`
	Says          string   `json:"says"`
}

// TyreDate reads the date code of a tyre: week and year in four figures since
// 2000; week and the last figure of the year in three before, so that the
// decade stays open between the 1970s, 1980s and 1990s; a triangle after them
// means the 1990s (49 CFR 574.5 and its earlier wording).
//
// It refuses (CodeInvalid) a week that does not exist, any other number of
// figures, a triangle after four, and a year after the day of reading.
func TyreDate(in TyreInput) (TyreResult, error) {
	var fs faults
	var on time.Time
	if in.On != "" {
		on = fs.date("/on", in.On)
	}
	_, err := strconv.ParseUint(in.Code, 10, 32)
	if err != nil || len(in.Code) != 3 && len(in.Code) != 4 {
		fs.add("/code", quote(in.Code), "three or four figures", "A date code has three figures, or four since 2000", "Give the last group of figures alone.")
	} else if in.Triangle && len(in.Code) == 4 {
		fs.add("/triangle", "true", "only after three figures", "A code of four figures has no triangle", "Look again.")
	}
	if err := fs.err("The age of the tyre"); err != nil {
		return TyreResult{}, err
	}
	week, _ := strconv.Atoi(in.Code[:2])
	last, _ := strconv.Atoi(in.Code[2:])
	var decades []int
	out := TyreResult{Week: week, Years: []int{}, Says: "Three figures leave the decade open."}
	switch {
	case len(in.Code) == 4:
		decades, out.Says = []int{2000}, "Four figures: week and year, since 2000."
	case in.Triangle:
		decades, out.Says = []int{1990}, "Three figures and a triangle: the 1990s."
	default:
		decades = []int{1970, 1980, 1990}
	}
	if week < 1 || week > 53 {
		fs.add("/code", quote(in.Code), "weeks 01 to 53", "There is no week "+in.Code[:2], "Look again: a figure is misread, or these figures are no date.")
	} else {
		for _, d := range decades {
			made, ok := isoMonday(d+last, week)
			if !ok || in.On != "" && made.After(on) {
				continue
			}
			out.Years = append(out.Years, d+last)
			if in.On != "" {
				age := on.Sub(made).Hours() / 24 / 365.25
				if out.OldestYears == nil {
					out.OldestYears = &age
				}
				out.YoungestYears = &age
			}
		}
		if len(out.Years) == 0 {
			fs.add("/code", quote(in.Code), "a week that has been", "No year fits this code", "Look again: a figure is misread, or these figures are no date.")
		}
	}
	if err := fs.err("The age of the tyre"); err != nil {
		return TyreResult{}, err
	}
	return out, nil
}

func readTyreInput(r *reader, n *node) (in TyreInput) {
	r.object(n, "",
		member{"code", true, r.text(&in.Code)},
		member{"triangle", false, r.flag(&in.Triangle)},
		member{"on", false, r.text(&in.On)},
	)
	return in
}
