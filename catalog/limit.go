package catalog

import (
	"reflect"
	"slices"
	"strconv"
)

// What a pack may not do: remove or weaken what warns somebody, or make an act
// look more harmless than the house says. Lists that warn are joined and never
// shortened.

func limitComponent(fs *faults, at place, old, now *Component) {
	fixed(fs, at, "/group", old.Group, now.Group, "A component cannot be moved to another group, because cautions go by groups")
	fixed(fs, at, "/code", old.Code, now.Code, "The second name of a component is fixed, because records use it")
	raised(fs, at, "/safety_critical", old.SafetyCritical, now.SafetyCritical, "A component that safety hangs on stays so")
	now.Cautions = join(old.Cautions, now.Cautions)
}

func limitSign(fs *faults, at place, old, now *Sign) {
	fixed(fs, at, "/proposition", string(old.Proposition), string(now.Proposition), "A sign keeps its question, because records use it")
}

func limitTreatment(fs *faults, at place, old, now *Treatment) {
	fixed(fs, at, "/rung", strconv.Itoa(old.Rung), strconv.Itoa(now.Rung), "The ladder keeps its order")
	raised(fs, at, "/needs_own_approval", old.NeedsOwnApproval, now.NeedsOwnApproval, "A rung that the owner must approve by name stays so")
	rank := func(s string) int { return slices.Index([]string{"no", "partly", "yes"}, s) }
	if rank(now.Reversible) > rank(old.Reversible) {
		fs.add(at.to("/reversible"), strconv.Quote(now.Reversible), "no more than "+strconv.Quote(old.Reversible), "A pack cannot say that an act can be undone more fully than the house says", "Leave the field out.")
	}
	now.Acts = join(old.Acts, now.Acts)
}

func limitCaution(fs *faults, at place, old, now *Caution) {
	if levelRank(now.Level) < levelRank(old.Level) {
		fs.add(at.to("/level"), strconv.Quote(now.Level), "at least "+strconv.Quote(old.Level), "A caution cannot be weakened", "Leave the level out, or raise it.")
	}
	fixed(fs, at, "/text", old.Text, now.Text, "The text of a caution is not replaced; add sentences under also")
	fixed(fs, at, "/title", old.Title, now.Title, "The title of a caution is fixed")
	now.Triggers = joinFunc(old.Triggers, now.Triggers, func(a, b Trigger) bool { return reflect.DeepEqual(a, b) })
	now.Also = join(old.Also, now.Also)
	// The house's text keeps the house's source.
	now.Source, now.Assumption = old.Source, old.Assumption
}

func limitGate(fs *faults, at place, old, now *Gate) {
	raised(fs, at, "/picture", old.Picture, now.Picture, "A gate that needs a picture still needs it")
	raised(fs, at, "/second_name", old.SecondName, now.SecondName, "A gate that needs a second name still needs it")
	raised(fs, at, "/needs_seal", old.NeedsSeal, now.NeedsSeal, "A gate that needs a sealed survey still needs it")
	fixed(fs, at, "/title", old.Title, now.Title, "The title of a gate is fixed")
	fixed(fs, at, "/sentence", old.Sentence, now.Sentence, "The sentence of a gate is not replaced; add sentences under also")
	fixed(fs, at, "/left_to_others", old.LeftToOthers, now.LeftToOthers, "What is left to others is not taken back; add sentences under also")
	fixed(fs, at, "/instead", old.Instead, now.Instead, "The ladder keeps its ends")
	if now.LeastChecks < old.LeastChecks {
		fs.add(at.to("/least_checks"), strconv.Itoa(now.LeastChecks), strconv.Itoa(old.LeastChecks)+" or more", "A gate cannot ask for fewer checks", "Leave the number out, or raise it.")
	}
	for i, c := range now.Checks {
		for _, was := range old.Checks {
			if was.ID == c.ID && !reflect.DeepEqual(was, c) {
				fs.add(at.to("/checks/"+strconv.Itoa(i)), strconv.Quote(c.ID), "an id of its own", "A check of the house cannot be rewritten", "Add a check under another id.")
			}
		}
	}
	now.Checks = joinFunc(old.Checks, now.Checks, func(a, b GateCheck) bool { return a.ID == b.ID })
	now.Sound = join(old.Sound, now.Sound)
	now.Cautions = join(old.Cautions, now.Cautions)
	now.Also = join(old.Also, now.Also)
}

func limitOpening(fs *faults, at place, old, now *Opening) {
	now.Cautions = join(old.Cautions, now.Cautions)
	now.Behind = join(old.Behind, now.Behind)
}

func limitTest(fs *faults, at place, old, now *FaultTest) {
	if now.Level < old.Level {
		fs.add(at.to("/level"), strconv.Itoa(now.Level), strconv.Itoa(old.Level)+" or more", "A pack cannot say that a test disturbs less than the house says", "Leave the level out, or write a test of your own.")
	}
	fixed(fs, at, "/observation", old.Observation, now.Observation, "A test keeps what it answers, because records use it")
	if !reflect.DeepEqual(old.Repairs, now.Repairs) {
		fs.add(at.to("/repairs"), "another cure", "the cure of the house", "A test keeps the cure that it tries, because records use it", "Write a test of your own.")
	}
	now.Openings = join(old.Openings, now.Openings)
	now.Cautions = join(old.Cautions, now.Cautions)
}

func limitComplaint(fs *faults, at place, old, now *Complaint) {
	fixed(fs, at, "/observation", old.Observation, now.Observation, "A complaint keeps its observation, because records use it")
	now.First = join(old.First, now.First)
	now.Cautions = join(old.Cautions, now.Cautions)
}

func limitPhoto(fs *faults, at place, old, now *Photo) {
	raised(fs, at, "/withhold", old.Withhold, now.Withhold, "A picture that is kept out of public editions stays so")
}

func limitConfusion(fs *faults, at place, old, now *ThreadConfusion) {
	fixed(fs, at, "/text", old.Text, now.Text, "The text of a confusion warns somebody and is not replaced")
	now.Threads = join(old.Threads, now.Threads)
}

// A pack cannot let a fastener be pulled harder than the house says.
func limitGrade(fs *faults, at place, old, now *FastenerGrade) {
	fixed(fs, at, "/form", old.Form, now.Form, "A grade keeps its form of thread")
	for i, p := range now.Proof {
		for _, was := range old.Proof {
			if p.UpTo == was.UpTo {
				notAbove(fs, at, "/proof/"+strconv.Itoa(i)+"/proof_mpa", was.Proof, p.Proof)
			}
		}
	}
}

func limitLubrication(fs *faults, at place, old, now *Lubrication) {
	notAbove(fs, at, "/k_low", old.Low, now.Low)
}

func limitBench(fs *faults, at place, old, now *BenchAssumption) {
	if now.ID == "torque-share" {
		notAbove(fs, at, "/value", old.Value, now.Value)
	}
}

// notAbove refuses a larger number, which would let a fastener be pulled harder.
func notAbove(fs *faults, at place, pointer string, old, now float64) {
	if now > old {
		fs.add(at.to(pointer), number(now), "at most "+number(old), "A pack cannot let a fastener be pulled harder than the house says", "Leave the field out, or lower it.")
	}
}

func (p place) to(pointer string) place { return place{p.file, p.pointer + pointer} }

// fixed refuses a change.
func fixed(fs *faults, at place, pointer, old, now, message string) {
	if old != now {
		fs.add(at.to(pointer), quote(now), quote(old), message, "Leave the field out.")
	}
}

// raised refuses a change from true to false.
func raised(fs *faults, at place, pointer string, old, now bool, message string) {
	if old && !now {
		fs.add(at.to(pointer), "false", "true", message, "Leave the field out.")
	}
}

// join is now followed by what old has besides, so that places in a pack's list
// stay what they are.
func join(old, now []string) []string {
	return joinFunc(old, now, func(a, b string) bool { return a == b })
}

func joinFunc[T any](old, now []T, same func(a, b T) bool) []T {
	out := slices.Clone(now)
	for _, v := range old {
		if !slices.ContainsFunc(out, func(o T) bool { return same(o, v) }) {
			out = append(out, v)
		}
	}
	return out
}

// quote quotes what was found, cut to 60 characters.
func quote(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return strconv.Quote(s)
}
