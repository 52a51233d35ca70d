package scoring

import (
	"math"
	"strconv"
)

// readNext checks an input and makes the question ready; it also gives what
// faults/1 says of what was seen.
func readNext(in NextInput) (*nextLattice, FaultsResult, error) {
	judged, err := Faults(in.FaultsInput)
	if err != nil {
		return nil, judged, err
	}
	m, err := readFaults(in.FaultsInput)
	if err != nil {
		return nil, judged, err
	}
	var fs faults
	perPoint, perMoney := fs.perPoint("/rates/minutes_per_point", in.Rates.MinutesPerPoint), 0.0
	if r := in.Rates.MoneyPerHour; r != nil {
		if fs.span("/rates/money_per_hour", *r, 1e-6, maxFaultFigure, "What an hour is worth", "money per hour"); *r > 0 {
			perMoney = 60 / *r
		}
	}
	l := &nextLattice{m: m, complaint: make([]bool, len(in.Observations)), done: make([]float64, len(in.Causes)), stop: math.Inf(1), nodes: map[string]*latticeNode{},
		openings: fs.openings(in.Openings, func(minutes, points float64) float64 { return minutes + float64(points*perPoint) })}
	l.opened = l.openings.closure(fs.named("/opened", in.Opened, l.openings))
	loses, costs := false, false
	for _, o := range in.Openings {
		loses = loses || o.Points > 0
	}
	fs.count("/actions", len(in.Actions), MaxActions, "actions")
	observations, causes, actions, seen := map[string]int{}, map[string]int{}, map[string]int{}, map[string]bool{}
	for i, o := range in.Observations {
		observations[o.ID] = i
	}
	for i, c := range in.Causes {
		causes[c.ID] = i
	}
	for i, a := range in.Actions {
		here := at("/actions", i)
		fs.unique(here+"/id", a.ID, "An action", seen)
		actions[a.ID] = i
		fs.span(here+"/level", float64(a.Level), 0, destructiveLevel, "A level", "whole steps")
		fs.span(here+"/minutes", a.Minutes, 0, maxFaultFigure, "The time for an action", "minutes")
		fs.span(here+"/money", a.Money, 0, maxFaultFigure, "What an action costs", "units of money")
		fs.span(here+"/points", a.Points, 0, maxFaultFigure, "What an action loses", "points")
		loses, costs = loses || a.Points > 0, costs || a.Money > 0
		x := nextAction{level: a.Level, observation: -1, cause: -1,
			cost:  a.Minutes + float64(a.Money*perMoney) + float64(a.Points*perPoint),
			opens: l.openings.closure(fs.named(here+"/openings", a.Openings, l.openings))}
		o, isTest := observations[a.Observation]
		c, isRepair := causes[a.Cause]
		switch {
		case (a.Observation == "") == (a.Cause == ""):
			fs.add(here, "", "an observation or a cause", "An action reveals an observation or repairs a cause, one of the two", "Name the one, and leave out the other.")
		case a.Observation != "" && !isTest:
			fs.add(here+"/observation", quote(a.Observation), "an observation of the list", "This observation is not in the model", "Add it with its leak and links.")
		case a.Cause != "" && !isRepair:
			fs.add(here+"/cause", quote(a.Cause), "a cause of the list", "This cause is not in the model", "Add it with its prior.")
		case isRepair && a.Cure == nil:
			fs.add(here+"/cure", "", "", "The chance that the repair cures is missing", "Give the probability that it cures the cause, if that is there.")
		case isRepair:
			fs.probability(here+"/cure", *a.Cure, "The chance of a cure")
			x.cause, x.cure = c, *a.Cure
		case a.Cure != nil:
			fs.add(here+"/cure", number(*a.Cure), "no cure for a test", "A test cures nothing", "Name the cause that it repairs, or leave the cure out.")
		default:
			x.observation = o
		}
		l.actions = append(l.actions, x)
	}
	for i, id := range in.Done {
		a, ok := actions[id]
		if !ok {
			fs.add(at("/done", i), quote(id), "an action of the list", "This action is not listed", "Add it, or take its name out.")
			continue
		}
		x := &l.actions[a]
		if x.cause >= 0 && !x.spent {
			l.done[x.cause] = 1 - float64((1-l.done[x.cause])*(1-x.cure))
		}
		x.spent = true
	}
	for i, id := range in.Complaint {
		if o, ok := observations[id]; !ok || m.seen[o] != seenTrue {
			fs.add(at("/complaint", i), quote(id), "an observation that was seen true", "The complaint was not seen true", "Add it to what was seen, or take it out.")
		} else {
			l.complaint[o] = true
		}
	}
	if len(in.Complaint) == 0 {
		for _, o := range m.positive() {
			l.complaint[o] = true
		}
	}
	if s := in.Specialist; s != nil {
		fs.span("/specialist/minutes", s.Minutes, 0, maxFaultFigure, "The time for a specialist", "minutes")
		fs.span("/specialist/money", s.Money, 0, maxFaultFigure, "What a specialist costs", "units of money")
		costs = costs || s.Money > 0
		l.stop = s.Minutes + float64(s.Money*perMoney)
	}
	if loses && in.Rates.MinutesPerPoint == nil {
		fs.add("/rates/minutes_per_point", "", "", "Something loses points, and what a point is worth is missing", "Say how many minutes of work one point is worth.")
	}
	if costs && in.Rates.MoneyPerHour == nil {
		fs.add("/rates/money_per_hour", "", "", "Something costs money, and what an hour is worth is missing", "Say how much money an hour of work is worth.")
	}
	if err := fs.err("The next step"); err != nil {
		return nil, judged, err
	}
	if len(m.positive()) == 0 {
		return nil, judged, insufficient("/seen", "Nothing was seen true, so there is no complaint to end", "Say what is wrong with the machine.")
	}
	return l, judged, nil
}

func readNextInput(r *reader, n *node) (in NextInput) {
	r.object(n, "",
		member{"causes", true, r.causes(&in.Causes)},
		member{"observations", true, r.observations(&in.Observations)},
		member{"seen", true, r.flags(&in.Seen)},
		member{"source", false, r.text(&in.Source)},
		member{"unexplained_above", false, r.optional(&in.Unexplained)},
		member{"rarer_than", false, r.optional(&in.Rarer)},
		member{"complaint", false, r.texts(&in.Complaint)},
		member{"actions", true, r.array(func(n *node, pointer string) {
			var a NextAction
			var one []string
			r.object(n, pointer,
				member{"id", true, r.text(&a.ID)},
				member{"level", true, func(n *node, pointer string) {
					var level float64
					r.number(&level)(n, pointer)
					if a.Level = int(max(-1, min(level, 9))); float64(a.Level) != level {
						r.add(pointer, number(level), "0, 1, 2, 3 or 4", "A level is a whole number", "Give one of 0 to "+strconv.Itoa(destructiveLevel)+".")
					}
				}},
				member{"minutes", true, r.number(&a.Minutes)},
				member{"money", false, r.number(&a.Money)},
				member{"points", false, r.number(&a.Points)},
				member{"opening", false, r.opening(&one)},
				member{"openings", false, r.texts(&a.Openings)},
				member{"observation", false, r.text(&a.Observation)},
				member{"cause", false, r.text(&a.Cause)},
				member{"cure", false, r.optional(&a.Cure)},
			)
			a.Openings = append(a.Openings, one...)
			in.Actions = append(in.Actions, a)
		})},
		member{"openings", false, r.openings(&in.Openings)},
		member{"opened", false, r.texts(&in.Opened)},
		member{"done", false, r.texts(&in.Done)},
		member{"rates", false, func(n *node, pointer string) {
			r.object(n, pointer,
				member{"minutes_per_point", false, r.optional(&in.Rates.MinutesPerPoint)},
				member{"money_per_hour", false, r.optional(&in.Rates.MoneyPerHour)},
			)
		}},
		member{"specialist", false, func(n *node, pointer string) {
			in.Specialist = &NextSpecialist{}
			r.object(n, pointer,
				member{"minutes", false, r.number(&in.Specialist.Minutes)},
				member{"money", false, r.number(&in.Specialist.Money)},
			)
		}},
	)
	return in
}
