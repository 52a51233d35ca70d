package dossier

// conditionExamined says whose the machine is and why and by whom it was
// examined, as a condition report is expected to (EN 16095:2012, by its
// published scope).
func (p *pdf) conditionExamined() {
	p.section("Why and by whom it was examined")
	if a := p.r.Agreement; a != nil {
		p.facts([2]string{"Owner or authorised person", a.Owner}, [2]string{"Custodian", a.Custodian}, [2]string{"Purpose", words(a.Purpose)}, [2]string{"Authority", a.Authority})
	} else {
		p.write(body("No custody agreement is on record."))
	}
	instruments := map[string]bool{}
	var used []string
	for _, r := range p.r.Readings {
		if r.Instrument != "" && !instruments[r.Instrument] {
			instruments[r.Instrument] = true
			used = append(used, r.Instrument)
		}
	}
	if len(used) > 0 {
		p.facts([2]string{"Instruments", p.joined("; ", used...)})
	}
}

// conditionFaults lists what is wrong, why, and what is proposed.
func (p *pdf) conditionFaults() {
	if len(p.r.Faults) == 0 {
		return
	}
	p.section("Faults, causes and options")
	var rows [][]cell
	for _, f := range p.r.Faults {
		what := cell{own(f.Complaint)}
		if f.Grave {
			what = append(what, strong("could hurt someone"))
		}
		for _, c := range f.Components {
			what = append(what, small(p.component[c]))
		}
		cause := cell{body("not known")}
		if f.Cause != "" {
			cause = cell{own(f.Cause)}
		}
		var options cell
		for _, o := range f.Options {
			options = append(options, own(o.Title))
		}
		rows = append(rows, []cell{what, cause, options})
	}
	p.table([]column{{"Fault", 2.4}, {"Cause", 2}, {"Options on record", 3}}, rows)
}

// byHand are the things that a condition report is expected to say and that the
// record does not ask.
var byHand = []string{"Light and access in which it was examined", "Materials and construction", "Extent of damage, as a measure or a share", "Urgency of what is recommended",
	"Surroundings: climate and light", "Handling and transport"}

// conditionByHand leaves room for what the record does not ask, so that nobody
// takes an empty line for a finding.
func (p *pdf) conditionByHand() {
	p.room(40)
	p.section("What the record does not ask")
	p.write(body("These are expected of a condition report and stand nowhere in the record. Write them in by hand, or strike them out."))
	p.f.SetDrawColor(60, 60, 60)
	p.f.SetLineWidth(0.2)
	for _, what := range byHand {
		p.room(16)
		p.put(p.paper.side, p.y, lookSmall, what)
		p.y += 12
		p.f.Line(p.paper.side, p.y, p.paper.side+p.bodyWidth(), p.y)
		p.y += 3
	}
}
