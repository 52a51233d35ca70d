package registry

// Acknowledgement says that somebody read a caution before going on.
type Acknowledgement struct {
	Common
	Caution string `json:"caution"`
	// For is the option or opening that was about to be begun.
	For string `json:"for"`
	By  string `json:"by"`
}

func (*Acknowledgement) Kind() Kind { return "acknowledgement" }

func (a *Acknowledgement) check(fs *faults) {
	fs.id("/caution", a.Caution, false)
	fs.id("/for", a.For, false)
	fs.id("/by", a.By, false)
}

func decideAcknowledgement(d *Dossier, r *Rules, a *Acknowledgement) error {
	if !r.Cautions[a.Caution] {
		return invalid(a, "/caution", a.Caution, "the cautions of the catalog", "There is no such caution", "")
	}
	_, option := Get[*Option](d, a.For)
	_, opening := Get[*Opening](d, a.For)
	if !option && !opening {
		return invalid(a, "/for", a.For, "an option or an opening on record", "There is no such option or opening", "Record it first.")
	}
	return nil
}

// Step is one step of a work card, done.
type Step struct {
	Common
	Option string   `json:"option"`
	Did    string   `json:"did"`
	Photos []string `json:"photos,omitempty"`
	// Readings taken on the way.
	Readings []Reading `json:"readings,omitempty"`
	By       string    `json:"by"`
}

func (*Step) Kind() Kind { return "step" }

func (s *Step) check(fs *faults) {
	fs.id("/option", s.Option, false)
	fs.need("/did", s.Did, "It is not said what was done", "A few words.")
	fs.ids("/photos", s.Photos)
	for i := range s.Readings {
		s.Readings[i].check(fs, at("/readings", i))
	}
	fs.id("/by", s.By, false)
}
