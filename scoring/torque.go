package scoring

import (
	"math"
	"slices"
	"strings"
)

// TorqueInput asks which torque a fastener of known grade and lubrication bears
// at most, or what tension a torque makes.
type TorqueInput struct {
	Diameter     *float64 `json:"diameter_mm,omitempty"`
	DiameterInch *float64 `json:"diameter_in,omitempty"`
	Pitch        *float64 `json:"pitch_mm,omitempty"`
	TPI          *float64 `json:"tpi,omitempty"`
	// Form is that of the thread: "metric", "unified", "whitworth", "cycle" or
	// "ba". A grade is one of a form.
	Form        string  `json:"form"`
	Grade       string  `json:"grade,omitempty"` // as it stands on the head
	Lubrication string  `json:"lubrication"`
	Share       float64 `json:"share"` // of the proof load that the tension may reach
	// Torque is one whose tension is asked for.
	Torque     *float64 `json:"torque_nm,omitempty"`
	TorqueFoot *float64 `json:"torque_lbf_ft,omitempty"`

	Grades       []FastenerGrade `json:"grades"`
	Lubrications []Lubrication   `json:"lubrications"`
}

// FastenerGrade is a grade with its proof stress up to a size.
type FastenerGrade struct {
	ID    string  `json:"id"`
	Form  string  `json:"form"`
	UpTo  float64 `json:"up_to_mm"` // of the diameter
	Proof float64 `json:"proof_mpa"`
}

// Lubrication is the range of K in T = K·d·F.
type Lubrication struct {
	ID   string  `json:"id"`
	Low  float64 `json:"k_low"`
	High float64 `json:"k_high"`
}

// TorqueResult is a ceiling and the tension of a torque.
type TorqueResult struct {
	Area float64 `json:"area_mm2"` // tensile stress area
	// Proof is the load that the grade must bear without setting, Ceiling the
	// largest torque that stays below the share of it even where the friction is
	// least. There is none without a grade.
	Proof       *float64       `json:"proof_n,omitempty"`
	Ceiling     *float64       `json:"ceiling_nm,omitempty"`
	CeilingFoot *float64       `json:"ceiling_lbf_ft,omitempty"`
	Tension     *TorqueTension `json:"tension,omitempty"`
	Says        string         `json:"says"`
}

// TorqueTension is what one torque makes, over the range of friction.
type TorqueTension struct {
	Torque float64 `json:"torque_nm"`
	Low    float64 `json:"low_n"`
	High   float64 `json:"high_n"`
	// LowShare and HighShare are shares of the proof load, if a grade is known.
	LowShare  *float64 `json:"low_share,omitempty"`
	HighShare *float64 `json:"high_share,omitempty"`
}

const torqueSays = "A ceiling is no torque to tighten to: follow the maker's handbook, or say that none is known. Torque is a poor guide to tension. Old studs, soft castings and lined threads bear less."

// Torque uses T = K·d·F (the short form of the torque equation; K is the nut
// factor) with the tensile stress area π/4·(d − 0.938194·p)² of ISO 898-1, or
// π/4·(D − 0.9743/n)² of ASME B1.1 for unified threads. The ceiling takes the
// smallest K of the lubrication, for with it the same torque pulls hardest.
//
// It refuses (CodeInsufficient) a fastener whose grade or lubrication is not
// known, since no torque is invented; and (CodeInvalid) a grade of another form
// of thread: a Whitworth or cycle thread of unknown steel gets no metric grade.
func Torque(in TorqueInput) (TorqueResult, error) {
	var fs faults
	d, _ := fs.length("", "diameter", "The diameter", in.Diameter, in.DiameterInch, 0.5, 100, true)
	pitch, _ := fs.pitch("", in.Pitch, in.TPI)
	asked, isAsked := measure{what: "The torque", first: in.Torque, second: in.TorqueFoot, firstKey: "torque_nm", secondKey: "torque_lbf_ft",
		firstOf: func(v float64) float64 { return float64(v * newtonMetresPerPoundFoot) }, least: 0.01, most: 5000, unit: "N·m"}.read(&fs, "")
	forms := []string{"metric", "unified", "whitworth", "cycle", "ba"}
	if !slices.Contains(forms, in.Form) {
		fs.add("/form", quote(in.Form), strings.Join(forms, ", "), "The form of the thread is to be known", "Ask the method thread which it is.")
	}
	fs.span("/share", in.Share, 0.05, 0.9, "The share of the proof load", "as a share")
	in.tables(&fs)
	if len(fs) == 0 && pitch >= d/1.2 {
		fs.add("/pitch_mm", number(pitch)+" mm", "well below the diameter of "+number(d)+" mm", "No thread is so coarse", "Check both readings.")
	}
	if err := fs.err("The torque"); err != nil {
		return TorqueResult{}, err
	}
	if in.Lubrication == "" {
		return TorqueResult{}, insufficient("/lubrication", "It is not said how the threads are lubricated, and no torque is invented",
			"Say one of: "+joinIDs(in.Lubrications, func(l Lubrication) string { return l.ID })+".")
	}
	k := slices.IndexFunc(in.Lubrications, func(l Lubrication) bool { return l.ID == in.Lubrication })
	if k < 0 {
		return TorqueResult{}, insufficient("/lubrication", "The friction of threads that are "+quote(in.Lubrication)+" is not known, and no torque is invented",
			"Say one of: "+joinIDs(in.Lubrications, func(l Lubrication) string { return l.ID })+".")
	}
	friction := in.Lubrications[k]
	if in.Grade == "" && !isAsked {
		return TorqueResult{}, insufficient("/grade", "The grade of the fastener is not known, and no torque is invented", "Quote a handbook, or say that none is known.")
	}
	loss := 0.938194
	if in.Form == "unified" {
		loss = 0.9743
	}
	core := d - float64(loss*pitch)
	out := TorqueResult{Area: float64(math.Pi / 4 * float64(core*core)), Says: torqueSays}
	if in.Grade != "" {
		stress, err := in.proof(d)
		if err != nil {
			return TorqueResult{}, err
		}
		proof := float64(stress * out.Area)
		ceiling := float64(float64(friction.Low*d) / 1000 * float64(in.Share*proof))
		foot := ceiling / newtonMetresPerPoundFoot
		out.Proof, out.Ceiling, out.CeilingFoot = &proof, &ceiling, &foot
	}
	if isAsked {
		t := TorqueTension{Torque: asked, Low: float64(asked*1000) / float64(friction.High*d), High: float64(asked*1000) / float64(friction.Low*d)}
		if out.Proof != nil {
			low, high := t.Low / *out.Proof, t.High / *out.Proof
			t.LowShare, t.HighShare = &low, &high
		}
		out.Tension = &t
	}
	return out, nil
}

// proof is the proof stress of the grade at a diameter.
func (in *TorqueInput) proof(d float64) (float64, error) {
	known, form := false, ""
	best := -1
	for i, g := range in.Grades {
		if g.ID != in.Grade {
			continue
		}
		known, form = true, g.Form
		if g.Form == in.Form && d <= g.UpTo && (best < 0 || g.UpTo < in.Grades[best].UpTo) {
			best = i
		}
	}
	switch {
	case best >= 0:
		return in.Grades[best].Proof, nil
	case !known:
		return 0, insufficient("/grade", "The grade "+quote(in.Grade)+" is not known, and no torque is invented",
			"Say one of: "+joinIDs(in.Grades, func(g FastenerGrade) string { return g.ID })+"; or quote a handbook.")
	case form != in.Form:
		return 0, insufficient("/grade", "The grade "+quote(in.Grade)+" is one of "+form+" fasteners, and this thread is "+in.Form,
			"Read the head again. Steel of an unknown grade gets no torque: quote a handbook, or say that none is known.")
	}
	return 0, insufficient("/diameter_mm", "The grade "+quote(in.Grade)+" is not known for so large a fastener", "Quote a handbook.")
}

func (in *TorqueInput) tables(fs *faults) {
	fs.count("/grades", len(in.Grades), maxSchemes, "grades")
	for i, g := range in.Grades {
		here := at("/grades", i)
		fs.name(here+"/id", g.ID, "A grade")
		fs.name(here+"/form", g.Form, "A form")
		fs.span(here+"/up_to_mm", g.UpTo, 0.5, 1000, "A diameter", "mm")
		fs.span(here+"/proof_mpa", g.Proof, 10, 3000, "A proof stress", "MPa")
	}
	fs.count("/lubrications", len(in.Lubrications), maxSchemes, "lubrications")
	seen := map[string]bool{}
	for i, l := range in.Lubrications {
		here := at("/lubrications", i)
		fs.unique(here+"/id", l.ID, "A lubrication", seen)
		fs.span(here+"/k_low", l.Low, 0.02, 1, "A nut factor", "as a pure number")
		fs.span(here+"/k_high", l.High, l.Low, 1, "The larger nut factor", "as a pure number")
	}
}

func joinIDs[T any](list []T, id func(T) string) string {
	var out []string
	for _, x := range list {
		if !slices.Contains(out, id(x)) {
			out = append(out, id(x))
		}
	}
	return strings.Join(out, ", ")
}

func readTorqueInput(r *reader, n *node) (in TorqueInput) {
	r.object(n, "",
		member{"diameter_mm", false, r.optional(&in.Diameter)},
		member{"diameter_in", false, r.optional(&in.DiameterInch)},
		member{"pitch_mm", false, r.optional(&in.Pitch)},
		member{"tpi", false, r.optional(&in.TPI)},
		member{"form", true, r.text(&in.Form)},
		member{"grade", false, r.text(&in.Grade)},
		member{"lubrication", true, r.text(&in.Lubrication)},
		member{"share", true, r.number(&in.Share)},
		member{"torque_nm", false, r.optional(&in.Torque)},
		member{"torque_lbf_ft", false, r.optional(&in.TorqueFoot)},
		member{"grades", true, r.array(func(n *node, pointer string) {
			var g FastenerGrade
			r.object(n, pointer,
				member{"id", true, r.text(&g.ID)},
				member{"form", true, r.text(&g.Form)},
				member{"up_to_mm", true, r.number(&g.UpTo)},
				member{"proof_mpa", true, r.number(&g.Proof)},
			)
			in.Grades = append(in.Grades, g)
		})},
		member{"lubrications", true, r.array(func(n *node, pointer string) {
			var l Lubrication
			r.object(n, pointer,
				member{"id", true, r.text(&l.ID)},
				member{"k_low", true, r.number(&l.Low)},
				member{"k_high", true, r.number(&l.High)},
			)
			in.Lubrications = append(in.Lubrications, l)
		})},
	)
	return in
}
