package scoring

import (
	"strings"

	"example.org/asfound/registry"
)

// Method is one way to answer one question. A recorded estimate names its
// method, and recomputing it must give the recorded bytes, so a method that
// has been published is never changed: a better one gets the next version and
// its own row.
type Method struct {
	Name     string // question and version, such as "index/1"
	Question string // in one sentence

	run func(input []byte) ([]byte, error)
}

// The methods by name.
const (
	MethodOrigin     = "origin/1"
	MethodIndex      = "index/1"
	MethodEffect     = "effect/1"
	MethodRegression = "regression/1"
	MethodValue      = "value/1"
	MethodRisk       = "risk/1"
	MethodPlan       = "plan/1"
	MethodCost       = "cost/1"
	MethodWait       = "wait/1"
	MethodLeave      = "leave/1"
	MethodTest       = "test/1"
	MethodFaults     = "faults/1"
	MethodOrder      = "order/1"
	MethodNext       = "next/1"

	MethodFilm        = "film/1"
	MethodColour      = "colour/1"
	MethodCard        = "card/1"
	MethodCriteria    = "criteria/1"
	MethodShare       = "share/1"
	MethodPoints      = "points/1"
	MethodPercentages = "percentages/1"
	MethodJudging     = "judging/1"
	MethodAge         = "age/1"
	MethodKappa       = "kappa/1"
	MethodThread      = "thread/1"
	MethodStamp       = "stamp/1"
	MethodTyre        = "tyre/1"
	MethodSerial      = "serial/1"
	MethodIdentity    = "identity/1"
	MethodVIN         = "vin/1"
	MethodSurvivors   = "survivors/1"
	MethodCapacity    = "capacity/1"
	MethodPiston      = "piston/1"
	MethodGearing     = "gearing/1"
	MethodTorque      = "torque/1"
	MethodStopping    = "stopping/1"
	MethodProportion  = "proportion/1"
)

// Methods lists every method that can be run, old versions included.
func Methods() []Method {
	return []Method{
		{MethodOrigin, "Which of several states is a part in, by the evidence?", runner(readOriginInput, Origin)},
		{MethodIndex, "How original is the machine, under one standpoint?", runner(readIndexInput, Index)},
		{MethodEffect, "What does an intervention take from an index, now and for good?", runner(readEffectInput, Effect)},
		{MethodRegression, "Which linear relation do the numbers bear out, and how well is it known?", runner(readRegressionInput, Regression)},
		{MethodValue, "What is the machine worth before and after an act, ratio first?", runner(readValueInput, Value)},
		{MethodRisk, "What may an irreversible act cost if it goes wrong?", runner(readRiskInput, Risk)},
		{MethodPlan, "Which plans are best in loss for good, money and the chance that all works?", runner(readPlanInput, Plan)},
		{MethodCost, "What will the job cost, and how likely is it to exceed a sum?", runner(readCostInput, Cost)},
		{MethodWait, "Is it worth waiting for a part, and up to what price should it be bought?", runner(readWaitInput, Wait)},
		{MethodLeave, "What does time do if nothing is done?", runner(readLeaveInput, Leave)},
		{MethodTest, "Is a test worth its price before a decision?", runner(readTestInput, WorthOfTest)},
		{MethodFaults, "What is wrong, when several things may be?", runner(readFaultsInput, Faults)},
		{MethodOrder, "In which order are repairs tried when one of several causes is behind a complaint?", runner(readOrderInput, Order)},
		{MethodNext, "Which test or repair comes next, least invasive first?", runner(readNextInput, Next)},

		{MethodFilm, "Does an area carry more paint film than a sheltered reference on the same machine?", runner(readFilmInput, Film)},
		{MethodColour, "How does an area differ in colour from a reference, and in which direction?", runner(readColourInput, Colour)},
		{MethodCard, "Which colour has an area in a photograph with a reference card?", runner(readCardInput, Card)},
		{MethodCriteria, "Which criteria of a published class does the evidence support?", runner(readCriteriaInput, Criteria)},
		{MethodShare, "How likely does at least so much of the weight count?", runner(readShareInput, Share)},
		{MethodPoints, "Do the points of what is kept reach what a published rule asks for?", runner(readPointsInput, Points)},
		{MethodPercentages, "Do the percentages of areas meet a published rule?", runner(readPercentagesInput, Percentages)},
		{MethodJudging, "Which award lines does a judging sheet reach?", runner(readJudgingInput, Judging)},
		{MethodAge, "Which age class does a date fall in, is it old enough, and which changes are of the period?", runner(readAgeInput, Age)},
		{MethodKappa, "How far do two surveyors agree beyond chance?", runner(readAgreementInput, Agreement)},
		{MethodThread, "Which threads have this diameter, pitch and angle, if any?", runner(readThreadInput, IdentifyThread)},
		{MethodStamp, "Can a part with this date stamp have left the factory on this machine?", runner(readStampInput, DateStamps)},
		{MethodTyre, "When was a tyre with this code made?", runner(readTyreInput, TyreDate)},
		{MethodSerial, "When was this number built, between two that are dated?", runner(readSerialInput, DateFromSerial)},
		{MethodIdentity, "Which rungs of the ladder of matching numbers hold?", runner(readIdentityInput, Identity)},
		{MethodVIN, "What does a number of seventeen characters say?", runner(readVINInput, VIN)},
		{MethodSurvivors, "How many survive, or were built?", runner(readSurvivorsInput, Survivors)},
		{MethodCapacity, "What are the capacity and the compression ratio?", runner(readCapacityInput, Capacity)},
		{MethodPiston, "How far has the piston come down at a crank angle, and at which angle so far?", runner(readPistonInput, PistonTravel)},
		{MethodGearing, "How fast does it go at an engine speed, and at which does it go so fast?", runner(readGearingInput, Gearing)},
		{MethodTorque, "What torque may a fastener of known grade bear, and what tension does one make?", runner(readTorqueInput, Torque)},
		{MethodStopping, "How hard was the machine stopped?", runner(readStoppingInput, Stopping)},
		{MethodProportion, "What share of the machines looked at is of a kind?", runner(readProportionInput, Proportion)},
	}
}

// Run answers the JSON input of a method with its JSON result: numbers in the
// shortest form that reads back to the same double, keys in a fixed order, no
// newline at the end. The same input gives the same bytes.
//
// The input is read strictly: unknown or repeated keys, wrong kinds and text
// after the value are refused (CodeInvalid, with a JSON Pointer for each
// fault), more than MaxInputBytes with CodeTooLarge, an unknown method with
// CodeUnsupported. Beyond that it refuses what the method refuses.
func Run(method string, input []byte) ([]byte, error) {
	var known []string
	for _, m := range Methods() {
		if m.Name == method {
			return m.run(input)
		}
		known = append(known, m.Name)
	}
	return nil, registry.Refuse(registry.CodeUnsupported, "Use one of "+strings.Join(known, ", ")+".",
		"The method %s is not known here", quote(method))
}

// runner joins reading, computing and writing.
func runner[In, Out any](read func(*reader, *node) In, compute func(In) (Out, error)) func([]byte) ([]byte, error) {
	return func(input []byte) ([]byte, error) {
		n, err := parse(input)
		if err != nil {
			return nil, err
		}
		var r reader
		in := read(&r, n)
		if err := r.err("The input"); err != nil {
			return nil, err
		}
		out, err := compute(in)
		if err != nil {
			return nil, err
		}
		return encode(out)
	}
}

func readOriginInput(r *reader, n *node) (in OriginInput) {
	r.object(n, "",
		member{"states", true, r.texts(&in.States)},
		member{"prior", true, r.numbers(&in.Prior)},
		member{"other", false, r.optional(&in.Other)},
		member{"rho", false, r.optional(&in.Rho)},
		member{"evidence", false, r.array(func(n *node, pointer string) {
			var e EvidenceItem
			r.object(n, pointer,
				member{"id", true, r.text(&e.ID)},
				member{"cluster", true, r.text(&e.Cluster)},
				member{"reliability", false, r.optional(&e.Reliability)},
				member{"likelihood", true, r.numbers(&e.Likelihood)},
			)
			in.Evidence = append(in.Evidence, e)
		})},
	)
	return in
}

func readIndexInput(r *reader, n *node) (in IndexInput) {
	r.object(n, "",
		member{"assemblies", true, r.assemblies(&in.Assemblies)},
		member{"weight_spread", false, r.optional(&in.WeightSpread)},
	)
	return in
}

func (r *reader) assemblies(to *[]Assembly) func(n *node, pointer string) {
	return r.array(func(n *node, pointer string) {
		var a Assembly
		r.object(n, pointer,
			member{"id", true, r.text(&a.ID)},
			member{"intact", true, r.number(&a.Intact)},
			member{"parts", false, r.array(func(n *node, pointer string) {
				var p IndexPart
				r.object(n, pointer,
					member{"id", true, r.text(&p.ID)},
					member{"weight", true, r.number(&p.Weight)},
					member{"credit", true, r.table(&p.Credit)},
					member{"if_intact", true, r.table(&p.IfIntact)},
					member{"if_swapped", false, r.table(&p.IfSwapped)},
				)
				a.Parts = append(a.Parts, p)
			})},
		)
		*to = append(*to, a)
	})
}

func readEffectInput(r *reader, n *node) (in EffectInput) {
	r.object(n, "",
		member{"total_weight", true, r.number(&in.TotalWeight)},
		member{"parts", false, r.array(func(n *node, pointer string) {
			var p EffectPart
			r.object(n, pointer,
				member{"id", true, r.text(&p.ID)},
				member{"weight", true, r.number(&p.Weight)},
				member{"credit", true, r.table(&p.Credit)},
				member{"before", true, r.table(&p.Before)},
				member{"after", true, r.table(&p.After)},
				member{"same_part", false, r.flag(&p.SamePart)},
				member{"reversible", true, r.flag(&p.Reversible)},
				member{"custody", false, r.text(&p.Custody)},
				member{"loss_per_year", false, r.optional(&p.LossPerYear)},
				member{"years", false, r.optional(&p.Years)},
				member{"refit_chance", false, r.optional(&p.RefitChance)},
			)
			in.Parts = append(in.Parts, p)
		})},
		member{"openings", false, r.array(func(n *node, pointer string) {
			var o Opening
			r.object(n, pointer,
				member{"id", true, r.text(&o.ID)},
				member{"witness_points", true, r.number(&o.WitnessPoints)},
			)
			in.Openings = append(in.Openings, o)
		})},
	)
	return in
}
