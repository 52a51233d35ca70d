package catalog

import "slices"

// Thread is one size of one series of screw threads.
type Thread struct {
	ID          string `json:"id"`
	Series      string `json:"series"` // such as BSF
	Designation string `json:"designation"`
	// Major is the nominal outside diameter.
	Major float64 `json:"major_mm"`
	// Pitch or TPI is given, never both.
	Pitch float64 `json:"pitch_mm,omitempty"`
	TPI   float64 `json:"tpi,omitempty"`
	Angle float64 `json:"angle_deg"` // between the flanks
	// Depth is that of the male thread as a share of the pitch.
	Depth float64 `json:"depth"`
	Basis
}

func (t Thread) key() string   { return t.ID }
func (t Thread) clone() Thread { return t }

// Threads lists the threads, series by series.
func (c *Catalog) Threads() []Thread { return c.threads.all() }

// ThreadConfusion is threads that start in one another by fingers and strip by
// spanner.
type ThreadConfusion struct {
	ID      string   `json:"id"`
	Threads []string `json:"threads"` // ids
	Text    string   `json:"text"`
	Basis
}

func (c ThreadConfusion) key() string { return c.ID }
func (c ThreadConfusion) clone() ThreadConfusion {
	c.Threads = slices.Clone(c.Threads)
	return c
}

// ThreadConfusions lists the known confusions.
func (c *Catalog) ThreadConfusions() []ThreadConfusion { return c.threadConfusions.all() }

// FastenerGrade is a grade of bolts with its proof stress by size.
type FastenerGrade struct {
	ID    string       `json:"id"` // as it stands on the head
	Form  string       `json:"form"`
	Proof []ProofRange `json:"proof"`
	Basis
}

// ProofRange is the proof stress up to a diameter.
type ProofRange struct {
	UpTo  float64 `json:"up_to_mm"`
	Proof float64 `json:"proof_mpa"`
}

func (g FastenerGrade) key() string { return g.ID }
func (g FastenerGrade) clone() FastenerGrade {
	g.Proof = slices.Clone(g.Proof)
	return g
}

// FastenerGrades lists the grades.
func (c *Catalog) FastenerGrades() []FastenerGrade { return c.grades.all() }

// Lubrication is how a thread is greased, with the nut factor K that goes with it.
type Lubrication struct {
	ID    string  `json:"id"`
	Title string  `json:"title"`
	Low   float64 `json:"k_low"`
	High  float64 `json:"k_high"`
	Basis
}

func (l Lubrication) key() string        { return l.ID }
func (l Lubrication) clone() Lubrication { return l }

// Lubrications lists them.
func (c *Catalog) Lubrications() []Lubrication { return c.lubrications.all() }

// threadForms are the forms that a grade may be one of.
var threadForms = []string{"metric", "unified", "whitworth", "cycle", "ba"}

func (b *builder) checkThreads() {
	for _, x := range b.c.threads.rows {
		s := b.spot("threads", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/series", x.Series)
		s.text("/designation", x.Designation)
		s.between("/major_mm", x.Major, 0.1, 500)
		s.between("/angle_deg", x.Angle, 20, 90)
		s.between("/depth", x.Depth, 0.1, 1.5)
		switch {
		case (x.Pitch != 0) == (x.TPI != 0):
			s.add("/pitch_mm", number(x.Pitch)+" and "+number(x.TPI), "pitch_mm or tpi", "A thread has one pitch", "Give it in mm or as threads per inch.")
		case x.Pitch != 0:
			s.between("/pitch_mm", x.Pitch, 0.05, 30)
		default:
			s.between("/tpi", x.TPI, 1, 500)
		}
	}
	for _, x := range b.c.threadConfusions.rows {
		s := b.spot("thread_confusions", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.warning("/text", x.Text)
		if len(x.Threads) < 2 {
			s.add("/threads", number(float64(len(x.Threads))), "two or more", "One thread alone is not confused with anything", "Name the other.")
		}
		refers(s, "/threads", x.Threads, &b.c.threads, "thread")
	}
	for _, x := range b.c.grades.rows {
		s := b.spot("fastener_grades", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.oneOf("/form", x.Form, threadForms...)
		if len(x.Proof) == 0 {
			s.add("/proof", "nothing", "at least one", "The grade has no proof stress", "Give one up to a diameter.")
		}
		for i, p := range x.Proof {
			s.between("/proof/"+number(float64(i))+"/up_to_mm", p.UpTo, 0.5, 1000)
			s.between("/proof/"+number(float64(i))+"/proof_mpa", p.Proof, 10, 3000)
		}
	}
	for _, x := range b.c.lubrications.rows {
		s := b.spot("lubrications", x.ID)
		s.id("/id", x.ID)
		s.rests(x.Basis)
		s.text("/title", x.Title)
		s.between("/k_low", x.Low, 0.02, 1)
		s.between("/k_high", x.High, x.Low, 1)
	}
}
