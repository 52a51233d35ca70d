package scoring

import (
	"math"
	"slices"
	"strings"
)

// maxThreads is the longest table of threads.
const maxThreads = 5000

// threadGate is the log-fit below which a thread is no candidate: readings that
// miss it by four standard deviations, 4²/2 = 8.
const threadGate = -8

// threadSure is the probability from which one thread is named.
const threadSure = 0.95

// threadThen ends every answer.
const threadThen = "Try by fingers, three turns, before any spanner."

// ThreadInput asks which thread a bolt or stud has. Give the pitch in mm or as
// threads per inch.
type ThreadInput struct {
	OD       *float64       `json:"od_mm,omitempty"`
	ODInch   *float64       `json:"od_in,omitempty"`
	Pitch    *float64       `json:"pitch_mm,omitempty"`
	TPI      *float64       `json:"tpi,omitempty"`
	Angle    *float64       `json:"angle_deg,omitempty"` // between the flanks, if it was gauged
	Hand     string         `json:"hand,omitempty"`      // "right", "left", or "" for not looked at
	Readings ThreadReadings `json:"readings"`
	// Table is every thread that is thought possible, all as likely beforehand.
	Table      []Thread          `json:"table"`
	Confusions []ThreadConfusion `json:"confusions,omitempty"`
}

// ThreadReadings is how far a reading on an old male thread lies from nominal.
type ThreadReadings struct {
	Under   float64 `json:"under_mm"` // mean wear and allowance of the outside diameter
	ODSD    float64 `json:"od_sd_mm"`
	PitchSD float64 `json:"pitch_sd_mm"`
	AngleSD float64 `json:"angle_sd_deg"`
}

// Thread is one size of one series.
type Thread struct {
	ID          string   `json:"id"`
	Series      string   `json:"series"`
	Designation string   `json:"designation"`
	Major       float64  `json:"major_mm"` // nominal outside diameter
	Pitch       *float64 `json:"pitch_mm,omitempty"`
	TPI         *float64 `json:"tpi,omitempty"`
	Angle       float64  `json:"angle_deg"`
	Depth       float64  `json:"depth"` // of the male thread, as a share of the pitch
}

// pitch is in mm.
func (t *Thread) pitch() float64 {
	if t.TPI != nil {
		return millimetresPerInch / *t.TPI
	}
	return *t.Pitch
}

// ThreadConfusion names threads that start in one another and strip.
type ThreadConfusion struct {
	Threads []string `json:"threads"` // ids; in a result, series and designation
	Text    string   `json:"text"`
}

// ThreadResult is every thread that the readings allow, or that none does.
type ThreadResult struct {
	Fits    bool    `json:"fits"`
	Verdict string  `json:"verdict"` // "one thread", "cannot tell" or "nothing fits"
	Fit     float64 `json:"log_fit"` // log-fit of the nearest: 0 is perfect, and −8 or less no match
	// Candidates have a log-fit above −8, the likeliest first; Nearest is what
	// comes nearest when there is none, and is no answer.
	Candidates []ThreadCandidate `json:"candidates"`
	Nearest    *ThreadCandidate  `json:"nearest,omitempty"`
	Tell       []ThreadTell      `json:"tell"`
	Confusions []ThreadConfusion `json:"confusions"`
	Notes      []string          `json:"notes"`
	Then       string            `json:"then"`
}

// ThreadName is one name of a thread, with the core diameter to expect.
type ThreadName struct {
	Series      string  `json:"series"`
	Designation string  `json:"designation"`
	Core        float64 `json:"core_mm"`
}

// ThreadCandidate is one thread. Series that share diameter, pitch and angle
// are one thread with several names.
type ThreadCandidate struct {
	ThreadName
	Probability float64      `json:"probability"`
	Fit         float64      `json:"log_fit"`
	Major       float64      `json:"major_mm"`
	Pitch       float64      `json:"pitch_mm"`
	Angle       float64      `json:"angle_deg"`
	Also        []ThreadName `json:"also,omitempty"`

	ids []string
}

// ThreadTell is a measurement that would help.
type ThreadTell struct {
	Measure string `json:"measure"`
	// Settles is the share of the doubt between pairs of candidates that it
	// would end: pairs that lie at least three standard deviations apart in it.
	Settles float64 `json:"settles"`
}

// IdentifyThread finds the threads that fit an outside diameter, a pitch and, if
// it was gauged, a flank angle.
//
// Each reading is normal about what a worn thread shows: the outside diameter
// less Under, the pitch, the angle. The log-fit of a thread is −½ Σ z², and its
// probability the share of exp(log-fit) in the whole table. A probability alone
// would name the best of a bad lot, so a thread must also pass a gate: its
// log-fit lies above −8. The wear and the deviations are the caller's; the
// forms are those of ISO 68, BS 84, BS 93 and BS 811.
//
// It refuses (CodeInvalid) an outside diameter or pitch of 0, both pitches, no
// pitch, and a table that is not sound; and (CodeInsufficient) an empty table.
func IdentifyThread(in ThreadInput) (ThreadResult, error) {
	od, pitch, err := in.readings()
	if err != nil {
		return ThreadResult{}, err
	}
	list := in.weigh(od, pitch)
	logs := make([]float64, len(list))
	for i := range list {
		logs[i] = list[i].Fit
	}
	// exp underflows to 0 far out, but shares are taken from the best.
	p, _ := shares(logs)
	for i := range list {
		list[i].Probability = p[i]
	}
	slices.SortStableFunc(list, func(a, b ThreadCandidate) int {
		switch {
		case a.Fit > b.Fit:
			return -1
		case a.Fit < b.Fit:
			return 1
		}
		return 0
	})
	out := ThreadResult{Fit: list[0].Fit, Verdict: "nothing fits", Candidates: []ThreadCandidate{}, Tell: []ThreadTell{},
		Confusions: []ThreadConfusion{}, Notes: []string{}, Then: threadThen}
	for _, c := range list {
		if c.Fit > threadGate {
			out.Candidates = append(out.Candidates, c)
		}
	}
	out.Fits = len(out.Candidates) > 0
	if !out.Fits {
		out.Nearest = &list[0]
		out.Notes = append(out.Notes, "No thread of the table shows these readings when it is worn as usual: measure again, and think of a stretched, re-cut or plated thread, of a taper, or of a maker's own.")
	} else {
		out.Verdict = "cannot tell"
		if out.Candidates[0].Probability >= threadSure {
			out.Verdict = "one thread"
		}
		out.Tell = in.tell(out.Candidates)
		if out.Verdict == "cannot tell" && len(out.Tell) == 0 {
			out.Notes = append(out.Notes, "No finer reading of angle or pitch tells the candidates apart: compare with a known nut of each, or with the part that it came out of.")
		}
	}
	out.Confusions = in.confused(out.Candidates)
	switch in.Hand {
	case "left":
		out.Notes = append(out.Notes, "It is left-handed: it slackens clockwise. The hand does not tell the series apart.")
	case "":
		out.Notes = append(out.Notes, "The hand was not stated: see which way the thread runs before it is turned.")
	}
	return out, nil
}

// weigh gives the log-fit of each thread, those of one shape joined.
func (in *ThreadInput) weigh(od, pitch float64) []ThreadCandidate {
	half := func(difference, sd float64) float64 {
		z := difference / sd
		return -float64(float64(z*z) / 2)
	}
	type shape struct{ major, pitch, angle float64 }
	seen := map[shape]int{}
	var list []ThreadCandidate
	for i := range in.Table {
		t := &in.Table[i]
		s := shape{t.Major, t.pitch(), t.Angle}
		name := ThreadName{t.Series, t.Designation, t.Major - float64(float64(2*t.Depth)*s.pitch)}
		if at, ok := seen[s]; ok {
			list[at].Also = append(list[at].Also, name)
			list[at].ids = append(list[at].ids, t.ID)
			continue
		}
		fit := half(od-(s.major-in.Readings.Under), in.Readings.ODSD) + half(pitch-s.pitch, in.Readings.PitchSD)
		if in.Angle != nil {
			fit += half(*in.Angle-s.angle, in.Readings.AngleSD)
		}
		seen[s] = len(list)
		list = append(list, ThreadCandidate{ThreadName: name, Fit: fit, Major: s.major, Pitch: s.pitch, Angle: s.angle, ids: []string{t.ID}})
	}
	return list
}

// tell ranks what could still be measured by how much of the doubt it ends.
func (in *ThreadInput) tell(list []ThreadCandidate) []ThreadTell {
	type gauge struct {
		name string
		sd   float64
		of   func(c *ThreadCandidate) float64
	}
	gauges := []gauge{{"pitch over ten turns", in.Readings.PitchSD / 10, func(c *ThreadCandidate) float64 { return c.Pitch }}}
	if in.Angle == nil {
		gauges = append([]gauge{{"flank angle", in.Readings.AngleSD, func(c *ThreadCandidate) float64 { return c.Angle }}}, gauges...)
	}
	out := []ThreadTell{}
	for _, g := range gauges {
		all, ended := 0.0, 0.0
		for i := range list {
			for j := range i {
				doubt := float64(list[i].Probability * list[j].Probability)
				all += doubt
				if math.Abs(g.of(&list[i])-g.of(&list[j])) >= float64(3*g.sd) {
					ended += doubt
				}
			}
		}
		if ended > 0 {
			out = append(out, ThreadTell{g.name, min(1, ended/all)})
		}
	}
	slices.SortStableFunc(out, func(a, b ThreadTell) int {
		switch {
		case a.Settles > b.Settles:
			return -1
		case a.Settles < b.Settles:
			return 1
		}
		return 0
	})
	return out
}

// confused lists the known confusions of the candidates.
func (in *ThreadInput) confused(list []ThreadCandidate) []ThreadConfusion {
	names, candidate := map[string]string{}, map[string]bool{}
	for i := range in.Table {
		names[in.Table[i].ID] = in.Table[i].Series + " " + in.Table[i].Designation
	}
	for _, c := range list {
		for _, id := range c.ids {
			candidate[id] = true
		}
	}
	out := []ThreadConfusion{}
	for _, c := range in.Confusions {
		if slices.ContainsFunc(c.Threads, func(id string) bool { return candidate[id] }) {
			named := ThreadConfusion{Text: c.Text}
			for _, id := range c.Threads {
				named.Threads = append(named.Threads, names[id])
			}
			out = append(out, named)
		}
	}
	return out
}

// readings checks the input and gives diameter and pitch in mm.
func (in *ThreadInput) readings() (od, pitch float64, err error) {
	var fs faults
	od, _ = fs.length("", "od", "The outside diameter", in.OD, in.ODInch, 0.2, 500, true)
	pitch, _ = fs.pitch("", in.Pitch, in.TPI)
	if in.Angle != nil {
		fs.span("/angle_deg", *in.Angle, 20, 90, "The angle between the flanks", "degrees")
	}
	if in.Hand != "" && in.Hand != "right" && in.Hand != "left" {
		fs.add("/hand", quote(in.Hand), "right, left", "The hand of a thread is right or left", "Leave it out if nobody looked.")
	}
	fs.span("/readings/under_mm", in.Readings.Under, 0, 2, "The wear", "mm")
	fs.span("/readings/od_sd_mm", in.Readings.ODSD, 0.001, 2, "A standard deviation", "mm")
	fs.span("/readings/pitch_sd_mm", in.Readings.PitchSD, 0.0001, 1, "A standard deviation", "mm")
	fs.span("/readings/angle_sd_deg", in.Readings.AngleSD, 0.01, 30, "A standard deviation", "degrees")
	fs.count("/table", len(in.Table), maxThreads, "threads")
	seen := map[string]bool{}
	for i := range in.Table {
		t, here := &in.Table[i], at("/table", i)
		fs.unique(here+"/id", t.ID, "A thread", seen)
		fs.name(here+"/series", t.Series, "A series")
		fs.name(here+"/designation", t.Designation, "A thread")
		fs.span(here+"/major_mm", t.Major, 0.1, 500, "A diameter", "mm")
		fs.pitch(here, t.Pitch, t.TPI)
		fs.span(here+"/angle_deg", t.Angle, 20, 90, "The angle between the flanks", "degrees")
		fs.span(here+"/depth", t.Depth, 0.1, 1.5, "The depth", "shares of the pitch")
	}
	fs.count("/confusions", len(in.Confusions), maxThreads, "confusions")
	for i, c := range in.Confusions {
		for j, id := range c.Threads {
			if !seen[id] {
				fs.add(at(at("/confusions", i)+"/threads", j), quote(id), "an id of the table", "No thread of the table has this id", "Correct it.")
			}
		}
	}
	if err := fs.err("The thread"); err != nil {
		return 0, 0, err
	}
	if len(in.Table) == 0 {
		return 0, 0, insufficient("/table", "There is no table of threads to compare with", "Give the threads that are thought possible.")
	}
	return od, pitch, nil
}

// pitch reads a pitch in mm that was given in mm or as threads per inch.
func (fs *faults) pitch(pointer string, mm, tpi *float64) (float64, bool) {
	return measure{what: "The pitch", first: mm, second: tpi, firstKey: "pitch_mm", secondKey: "tpi",
		firstOf: func(v float64) float64 { return millimetresPerInch / v }, least: 0.05, most: 30, unit: "mm", needed: true}.read(fs, pointer)
}

// String is a thread as one reads it: "BSF 1/4".
func (n ThreadName) String() string { return strings.TrimSpace(n.Series + " " + n.Designation) }

func readThreadInput(r *reader, n *node) (in ThreadInput) {
	r.object(n, "",
		member{"od_mm", false, r.optional(&in.OD)},
		member{"od_in", false, r.optional(&in.ODInch)},
		member{"pitch_mm", false, r.optional(&in.Pitch)},
		member{"tpi", false, r.optional(&in.TPI)},
		member{"angle_deg", false, r.optional(&in.Angle)},
		member{"hand", false, r.text(&in.Hand)},
		member{"readings", true, func(n *node, pointer string) {
			r.object(n, pointer,
				member{"under_mm", true, r.number(&in.Readings.Under)},
				member{"od_sd_mm", true, r.number(&in.Readings.ODSD)},
				member{"pitch_sd_mm", true, r.number(&in.Readings.PitchSD)},
				member{"angle_sd_deg", true, r.number(&in.Readings.AngleSD)},
			)
		}},
		member{"table", true, r.array(func(n *node, pointer string) {
			var t Thread
			r.object(n, pointer,
				member{"id", true, r.text(&t.ID)},
				member{"series", true, r.text(&t.Series)},
				member{"designation", true, r.text(&t.Designation)},
				member{"major_mm", true, r.number(&t.Major)},
				member{"pitch_mm", false, r.optional(&t.Pitch)},
				member{"tpi", false, r.optional(&t.TPI)},
				member{"angle_deg", true, r.number(&t.Angle)},
				member{"depth", true, r.number(&t.Depth)},
			)
			in.Table = append(in.Table, t)
		})},
		member{"confusions", false, r.array(func(n *node, pointer string) {
			var c ThreadConfusion
			r.object(n, pointer,
				member{"threads", true, r.texts(&c.Threads)},
				member{"text", true, r.text(&c.Text)},
			)
			in.Confusions = append(in.Confusions, c)
		})},
	)
	return in
}
