package demo

import "time"

// Step is one command of the story.
type Step struct {
	// At is when it happens: the clock stands there while the command runs.
	At time.Time
	// Chapter begins a new part of the story; Say is what the reader is told.
	Chapter, Say string
	// Args is the command line. FILES and OUT at the beginning of an argument
	// stand for the folders of the story's files and of what it writes.
	Args []string
	// Refused says that the program is to refuse it, which is the point.
	Refused bool
	// Show prints what the command says; the others are only told of.
	Show bool
}

// Main is the machine that the story is about.
const Main = "drover"

// Story lists the commands in order.
func Story() []Step {
	const m = Main
	at := func(month time.Month, day, hour int) time.Time {
		return time.Date(2026, month, day, hour, 0, 0, 0, time.UTC)
	}
	var s []Step
	chapter := func(name, say string) { s = append(s, Step{Chapter: name, Say: say}) }
	do := func(t time.Time, say string, args ...string) { s = append(s, Step{At: t, Say: say, Args: args}) }
	show := func(t time.Time, say string, args ...string) {
		s = append(s, Step{At: t, Say: say, Args: args, Show: true})
	}
	refused := func(t time.Time, say string, args ...string) {
		s = append(s, Step{At: t, Say: say, Args: args, Refused: true})
	}

	chapter("1. Taking it in", "A district nurse bought it new in June 1957, rode her rounds till 1971, and left it in a dairy barn. Her niece, the executor, wants it to run, and later to sell it honestly.")
	do(at(3, 2, 9), "Custody is agreed and what came with it is counted.", "take-in", m, "FILES/drover/take-in.json")
	do(at(3, 2, 10), "The openings that may be needed are described, with what each would lose for good.", "import", "FILES/drover/openings.json", "--machine", m)

	chapter("2. As found", "Pictures and every component, before anything is touched.")
	do(at(3, 3, 18), "Sixteen pictures, tied to their components; place and camera stay out of what is shown.", "import", "FILES/as-found", "--machine", m)
	do(at(3, 8, 18), "The survey sheet: one row a component, signs seen, joints beside them.", "import", "FILES/drover/survey.csv", "--machine", m)
	do(at(3, 8, 19), "Readings with instrument and unit.", "import", "FILES/drover/measurements.json", "--machine", m)
	do(at(3, 8, 19), "What is believed to sit where.", "import", "FILES/drover/fittings-march.json", "--machine", m)
	do(at(3, 11, 12), "The writing desk is opened: a dispatch note, a print of 1959, a garage bill of 1958.", "import", "FILES/drover/evidence.csv", "--machine", m)
	do(at(3, 11, 13), "The tank: what the marks, the layers, the frets, the tide-line and the print say together.", "import", "FILES/drover/claim-tank.json", "--machine", m)
	show(at(3, 11, 14), "", "show", m, "fuel.tank")
	do(at(3, 14, 10), "The survey is sealed, with three named gaps that the executor accepts.", "seal", m, "--by", "mechanic",
		"--gap", "engine.big-end=cannot be seen without opening", "--gap", "engine.crankshaft=cannot be seen without opening", "--gap", "engine.timing-gears=behind the timing cover", "--signed", "owner")
	show(at(3, 14, 11), "", "show", m)

	chapter("3. Weighing", "Each fault gets its candidates, \"leave\" first. What each would change now, and what it would destroy for good, is computed before anyone picks up a tool.")
	do(at(3, 18, 10), "Seven faults, nineteen options.", "import", "FILES/drover/faults-and-options.json", "--machine", m)
	do(at(3, 18, 10), "How the magneto's cause was found: strong when cold, none when warm, and the same with a borrowed plug and lead.", "fault", "seen", m, "magneto", "spark-fades-hot", "yes", "--test", "find-spark-fades-hot")
	do(at(3, 18, 10), "", "fault", "seen", m, "magneto", "fades-with-slave-lead", "yes", "--test", "find-fades-with-slave-lead")
	do(at(3, 18, 10), "", "fault", "seen", m, "magneto", "points-flash", "yes", "--test", "find-points-flash")
	show(at(3, 18, 10), "Which test comes next, and what would each outcome lead to?", "fault", "next", m, "magneto")
	do(at(3, 18, 11), "Its capacity is right, and it leaks at high voltage as it warms.", "fault", "seen", m, "magneto", "condenser-reads-off", "yes", "--test", "find-condenser-reads-off",
		"--reading", "capacity=0.19 uF", "--with", "condenser tester", "--how", "leaks at high voltage when warm")
	do(at(3, 18, 11), "", "fault", "seen", m, "magneto", "condenser-failed", "yes", "--cause")
	show(at(3, 18, 11), "Three rivals for the magneto: the donor costs most on the day and little for good; the rewind is for ever.", "weigh", m, "condenser-outside", "armature-rewind", "donor-magneto")
	do(at(3, 18, 12), "All of them, kept on record with their inputs.", "weigh", m, "--record")
	do(at(3, 18, 12), "What the tank does if it is left, and how lining it may end.", "import", "FILES/drover/outlook.json", "--machine", m)
	do(at(3, 18, 12), "Eight years of looking for a magneto of her type.", "import", "FILES/drover/searches.csv", "--machine", m)
	show(at(3, 18, 12), "What must be in hand, and how likely it turns up:", "parts", m)
	show(at(3, 18, 12), "Up to what price to take one? The rewind in the end, with what it takes for good, is thought to be worth avoiding at 520; a year without the machine counts 60.", "parts", m,
		"--buy", "donor magneto of the same type and year", "--substitute", "520", "--waiting", "60")
	show(at(3, 18, 13), "Which combinations are the sensible ones, with what the owner can spend? Every plan on the list is the best of its kind.", "plan", m, "--money", "900", "--hours", "40", "--function", "0.5")
	do(at(3, 18, 14), "Fifteen prices of like machines, typed from invented lists. One was only asked, and does not count.", "import", "FILES/drover/sales.csv", "--machine", m, "--sheet", "sales")
	do(at(3, 18, 14), "A dealer has looked in: strip it, enamel it, plate it, he says, and it will fetch more.", "import", "FILES/drover/refinish-all.json", "--machine", m)
	show(at(3, 18, 15), "Would it? As found, with the plan that makes it run, and refinished all over; papers and running left aside. The ratio is far better known than the price.", "value", m,
		"--plan", "run=condenser-outside+tank-solder+brake-reline+valve-head-off+tyres-new", "--option", "refinish-all",
		"--condition", "2", "--condition-after", "run=3", "--condition-after", "refinish-all=4", "--distance", "21000mi")
	show(at(3, 18, 16), "With its papers, and running afterwards:", "value", m, "--plan", "run=condenser-outside+tank-solder+brake-reline+valve-head-off+tyres-new", "--option", "refinish-all",
		"--condition", "2", "--condition-after", "run=3", "--condition-after", "refinish-all=4", "--distance", "21000mi", "--documented", "--running-after", "run=yes", "--brief")
	show(at(3, 18, 17), "And a sister that never left her crate, 40 miles on the dial? Nothing like her was sold, so there is no price.", "value", m, "--condition", "3", "--distance", "40mi", "--documented", "--running", "--brief")
	refused(at(3, 19, 9), "The mechanic would like to look under the head first. There is no picture of the joint, no gasket, and nobody was asked.", "open", m, "head-off")

	chapter("4. The owner decides", "What is asked is frozen, with the figures that the owner sees.")
	do(at(3, 20, 9), "First proposal: the magneto alone, with a ceiling of 60.", "propose", m, "condenser-outside", "armature-rewind", "donor-magneto", "magneto-leave", "--id", "proposal-magneto",
		"--recommend", "condenser-outside", "--ceiling", "60", "--days", "60", "--do-nothing", "It will start cold and stop within ten minutes.")
	do(at(3, 20, 18), "She approves.", "decide", m, "proposal-magneto", "approve", "--channel", "letter")
	show(at(3, 21, 9), "Then the whole job is asked for. The ceiling is what is enough with a chance of 80 %, finds and all; the sum of the likely prices would be too little. It takes the place of the first.", "propose", m,
		"condenser-outside", "armature-rewind", "donor-magneto", "magneto-leave", "tank-solder", "tank-liner", "tank-reproduction", "tank-leave",
		"brake-reline", "brake-reproduction", "brake-leave", "valve-soak", "valve-head-off", "tyres-new",
		"--id", "proposal-run", "--replaces", "proposal-magneto", "--days", "60",
		"--value-distance", "21000mi", "--value-condition", "2", "--value-condition-after", "3", "--value-documented", "--value-running-after",
		"--recommend", "condenser-outside", "--recommend", "tank-solder", "--recommend", "brake-reline", "--recommend", "valve-head-off", "--recommend", "tyres-new",
		"--do-nothing", "The pinholes grow, the valve stays stuck, and the machine can be looked at but not started.")
	refused(at(3, 22, 9), "What she approved was the offer at 60. The ceiling has changed, so her yes covers nothing any more.", "work", m, "FILES/drover/work-condenser.json")
	do(at(3, 23, 18), "She looks at the new one, and approves it too.", "decide", m, "proposal-run", "approve-with-conditions", "--channel", "letter",
		"--condition", "the painted number seven stays as it is", "--id", "decision-run")
	do(at(3, 23, 19), "Refinishing the tank, and a reproduction silencer, are put to her too.", "propose", m, "surface-refinish", "surface-wax", "surface-leave", "silencer-reproduction", "silencer-leave",
		"--id", "proposal-bright", "--recommend", "surface-refinish", "--recommend", "silencer-reproduction", "--ceiling", "2900", "--days", "60")
	do(at(3, 24, 18), "She refuses, and says why. The refusal stays, for whoever buys it.", "decide", m, "proposal-bright", "refuse", "--channel", "letter",
		"--reason", "she painted round what she loved; nobody is to make it look as if that had never been")
	show(at(3, 24, 19), "A bundle as it stands on the day of the decision, to hold later ones against.", "dossier", m, "--bundle", "OUT/drover-at-decision.zip")

	chapter("5. Work", "Only what was approved; what happened anyway is kept, and marked.")
	do(at(4, 4, 9), "The points cap comes off; it disturbs no joint and is on the care list.", "open", m, "points-cap")
	do(at(4, 4, 17), "", "work", m, "FILES/drover/work-condenser.json")
	do(at(4, 11, 9), "", "open", m, "tank-off")
	do(at(4, 22, 9), "", "import", "FILES/later", "--machine", m)
	do(at(4, 22, 9), "", "work", m, "FILES/drover/work-tank.json")
	do(at(4, 22, 10), "A helper was quicker than the owner. The record takes it, marked unapproved for ever.", "work", m, "FILES/drover/work-polished.json")
	refused(at(4, 22, 11), "The picture of the head joint is there now. The gasket is not.", "open", m, "head-off")
	do(at(4, 25, 9), "The gaskets have come.", "import", "FILES/drover/gaskets-arrived.json", "--machine", m)
	do(at(4, 25, 10), "", "open", m, "head-off")
	do(at(4, 25, 17), "", "work", m, "FILES/drover/work-valve.json")
	do(at(4, 30, 9), "A works invoice turns up: the gearbox shell was replaced under warranty in October 1959.", "import", "FILES/drover/evidence-april.csv", "--machine", m)
	do(at(4, 30, 10), "", "import", "FILES/drover/fittings-april.json", "--machine", m)
	show(at(4, 30, 11), "What sat there in 1965, as far as was known in March:", "show", m, "gearbox.shell", "--as-of", "1965-06-01", "--known-at", "2026-03-20")
	show(at(4, 30, 11), "And as far as was known at the end of April:", "show", m, "gearbox.shell", "--as-of", "1965-06-01", "--known-at", "2026-04-30")
	do(at(5, 2, 9), "", "open", m, "front-wheel-out")
	do(at(5, 2, 17), "", "work", m, "FILES/drover/work-brake.json")
	do(at(5, 3, 9), "With the wheel out, a bearing is rough. That is a change request, not a note.", "import", "FILES/drover/wheel-bearing.json", "--machine", m)
	do(at(5, 3, 10), "", "propose", m, "bearing-new", "bearing-leave", "--id", "change-bearing", "--amends", "proposal-run", "--found", "the front wheel bearing is rough when turned by hand",
		"--recommend", "bearing-new", "--ceiling", "45", "--days", "30", "--do-nothing", "The wheel would not last the first mile.")
	refused(at(5, 3, 11), "Not before she has answered.", "work", m, "FILES/drover/work-bearing.json")
	do(at(5, 6, 18), "", "decide", m, "change-bearing", "approve", "--channel", "call", "--witness", "second")
	do(at(5, 9, 17), "", "work", m, "FILES/drover/work-bearing.json")
	do(at(5, 16, 9), "", "work", m, "FILES/drover/work-fuel.json")

	chapter("6. Proving it", "A ladder of gates, each with its checks. The words say what was checked, by whom and when; never more.")
	gates(&s, at)

	do(at(6, 13, 13), "What is to be looked at again, whichever comes first.", "recheck", m, "chain, brake cables, spokes", "--id", "recheck-five", "--after", "5mi", "--component", "drive.rear-chain", "--component", "controls.brake-cable", "--component", "wheels.spokes")
	do(at(6, 13, 13), "", "recheck", m, "all of it, with the brakes first", "--id", "recheck-fifty", "--after", "50mi", "--on", "2027-06")
	do(at(6, 20, 12), "", "usage", m, "6.5mi", "--heat-cycles", "4")
	do(at(6, 20, 13), "", "check", m, "chain, brake cables and spokes after 5 miles", "passed", "--id", "ck-five", "--of", "five-miles", "--recheck", "recheck-five", "--component", "drive.rear-chain", "--component", "controls.brake-cable", "--component", "wheels.spokes", "--by", "mechanic")
	chapter("7. Handing it back", "The inventory balances, or it is not handed back.")
	refused(at(6, 27, 9), "One key, no tool roll, no boxes: refused, item by item.", "hand-back", m, "FILES/drover/hand-back-short.json")
	do(at(6, 27, 10), "", "hand-back", m, "FILES/drover/hand-back.json")
	show(at(6, 27, 11), "", "show", m)

	chapter("8. The dossier", "For whoever doubts: a PDF to read and a bundle to check, in a private and a public edition with one root.")
	show(at(6, 27, 12), "", "dossier", m, "--pdf", "OUT/drover.pdf", "--bundle", "OUT/drover.zip")
	show(at(6, 27, 12), "", "dossier", m, "--public", "--bundle", "OUT/drover-public.zip")
	show(at(6, 27, 12), "Nothing in the record was rewritten since the day of the decision; the public edition proves it as well as the private one:", "verify", "OUT/drover-public.zip", "--against", "OUT/drover-at-decision.zip")

	chapter("9. What papers are worth", "The same machine, surveyed by the same hands, without the writing desk.")
	do(at(6, 28, 9), "", "take-in", "drover-no-papers", "FILES/drover/take-in-without-papers.json")
	do(at(6, 28, 10), "", "import", "FILES/drover/survey.csv", "--machine", "drover-no-papers")
	show(at(6, 28, 10), "The tank, without the print of 1959:", "show", "drover-no-papers", "fuel.tank")
	show(at(6, 28, 10), "The head lamp, without the bill of 1958, looks like a fault:", "show", "drover-no-papers", "electrical.head-lamp")

	chapter("10. For contrast", "A machine restored in 1994: correct, and without its skin. One figure could not say both.")
	do(at(6, 28, 11), "", "take-in", "thirlbeck", "FILES/thirlbeck/take-in.json")
	do(at(6, 28, 11), "", "import", "FILES/thirlbeck/survey.csv", "--machine", "thirlbeck")
	do(at(6, 28, 12), "", "seal", "thirlbeck")
	show(at(6, 28, 12), "", "show", "thirlbeck")
	return s
}

// gates adds the ladder: the checks and the gates that they open.
func gates(s *[]Step, at func(month time.Month, day, hour int) time.Time) {
	const m = Main
	add := func(t time.Time, say string, refused bool, args ...string) {
		*s = append(*s, Step{At: t, Say: say, Args: args, Refused: refused})
	}
	check := func(t time.Time, id, what, outcome string, more ...string) {
		add(t, "", false, append([]string{"check", m, what, outcome, "--id", id}, more...)...)
	}
	gate := func(t time.Time, id string, more ...string) {
		add(t, "", false, append([]string{"gate", m, id}, more...)...)
	}

	gate(at(5, 16, 10), "arrived", "--photo", "ph-found")
	gate(at(5, 16, 10), "sealed-survey", "--photo", "ph-right")
	check(at(5, 16, 11), "ck-turn", "turned by the rear wheel twice round, both valves move", "passed", "--of", "full-turn", "--component", "engine.exhaust-valve", "--component", "engine.inlet-valve")
	gate(at(5, 16, 11), "turns-by-hand", "--check", "ck-turn", "--photo", "ph-turns")
	check(at(5, 16, 12), "ck-spark", "spark across the gap, cold and again after warming", "passed", "--of", "spark", "--component", "ignition.magneto", "--component", "ignition.condenser", "--reading", "gap=5.5±0.2 mm", "--with", "fixed gap tester")
	check(at(5, 16, 12), "ck-cut-out", "cut-out stops the spark", "passed", "--of", "cut-out", "--component", "ignition.cut-out")
	gate(at(5, 16, 12), "spark-proved", "--check", "ck-spark", "--check", "ck-cut-out", "--photo", "ph-spark")
	check(at(5, 16, 14), "ck-oil", "oil returns to the tank when turned by hand", "passed", "--of", "oil-return", "--component", "lubrication.pump", "--component", "lubrication.pipes", "--reading", "time to return=48±2 s", "--with", "watch")
	gate(at(5, 16, 14), "oil-proved", "--check", "ck-oil", "--photo", "ph-turns")
	check(at(5, 23, 10), "ck-throttle", "throttle snaps shut at both locks", "passed", "--of", "throttle-shuts", "--component", "controls.twistgrip", "--component", "fuel.carburettor-slide")
	check(at(5, 23, 10), "ck-pipe", "fuel pipe and unions dry under the slave bottle", "passed", "--component", "fuel.pipe")
	check(at(5, 23, 11), "ck-first-run", "ran two minutes on the slave bottle, stopped by the cut-out", "passed", "--of", "cut-out-stops", "--component", "ignition.cut-out", "--reading", "time run=2.0±0.1 min", "--with", "watch")
	gate(at(5, 23, 11), "first-run", "--check", "ck-throttle", "--check", "ck-first-run", "--photo", "ph-run")
	check(at(5, 30, 10), "ck-leak", "no leak in half an hour after the first fill", "passed", "--of", "leak-watch", "--component", "fuel.tank", "--component", "fuel.tap", "--component", "fuel.pipe", "--reading", "watched for=30±1 min", "--with", "watch")
	check(at(5, 30, 12), "ck-hot", "started again hot, three times", "passed", "--of", "hot-restart", "--component", "ignition.magneto")
	gate(at(5, 30, 12), "hot-run", "--check", "ck-leak", "--check", "ck-hot", "--photo", "ph-run")
	check(at(6, 5, 10), "ck-front", "front brake alone stops it at walking pace", "passed", "--of", "front-alone", "--component", "brakes.front.linings", "--component", "brakes.front.plate", "--component", "brakes.cams", "--component", "controls.brake-cable", "--component", "controls.brake-lever", "--second", "second")
	check(at(6, 5, 10), "ck-rear", "rear brake alone stops it at walking pace", "passed", "--of", "rear-alone", "--component", "brakes.rear.linings", "--component", "brakes.rear.plate", "--component", "brakes.rods", "--component", "brakes.pedal", "--second", "second")
	gate(at(6, 5, 11), "brakes-proved", "--check", "ck-front", "--check", "ck-rear", "--photo", "ph-brake-lining", "--second", "second")
	check(at(6, 5, 12), "ck-head-race", "steering free from lock to lock, no notch", "passed", "--of", "steering-free", "--component", "steering.head-bearings")
	check(at(6, 5, 12), "ck-spokes", "all spokes ring, none loose", "passed", "--component", "wheels.spokes")
	add(at(6, 5, 12), "Two brakes are proved. The tyres are of unknown age, and the gate stays shut.", true, "gate", m, "private-ground", "--check", "ck-head-race", "--photo", "ph-brake-lining", "--second", "second")
	add(at(6, 6, 9), "", false, "open", m, "rear-wheel-out")
	add(at(6, 6, 17), "", false, "work", m, "FILES/drover/work-tyres.json")
	check(at(6, 13, 10), "ck-tyres", "tyre codes 0926 and 1126 read, pressures set", "passed", "--of", "tyre-code", "--component", "wheels.front.tyre", "--component", "wheels.rear.tyre", "--component", "wheels.tubes", "--reading", "front pressure=1.5±0.1 bar", "--reading", "rear pressure=1.7±0.1 bar", "--with", "pressure gauge")
	check(at(6, 13, 11), "ck-stop", "stop from 20 mph, dry concrete, both brakes", "passed", "--of", "measured-stop", "--component", "brakes.front.linings", "--component", "brakes.rear.linings", "--reading", "speed=20±0.3 mph", "--reading", "distance=9.1±0.2 m", "--with", "tape and hand-held speed meter",
		"--second", "second")
	gate(at(6, 13, 12), "private-ground", "--check", "ck-tyres", "--check", "ck-stop", "--photo", "ph-stop-test", "--second", "second")
}
