package server

import (
	"net/http"

	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// OptionsPage sets the options for each fault side by side.
type OptionsPage struct {
	Base
	Report *workshop.Report
	Faults []FaultView
	// Only is the fault that is shown alone, "" for all.
	Only  string
	Weigh Form
}

// FaultView is a fault with its options as they are shown.
type FaultView struct {
	workshop.FaultReport
	Places  string
	Options []OptionView
	// Leave says that doing nothing is among the options.
	Leave bool
}

// OptionView is an option with its effects drawn.
type OptionView struct {
	workshop.OptionReport
	Losses      []LossView
	Recommended bool
	// Stop says that one of its cautions is of that level.
	Stop bool
	// Nothing says that it touches nothing.
	Nothing bool
	// Plain says in a sentence, for the owner, what it takes.
	Plain string
	// Changed names the components that it touches.
	Changed string
}

// LossView is what an option takes from one index.
type LossView struct {
	Name   string
	Effect *scoring.EffectResult
	Bar    LossBar
	Gains  bool // it gives instead of taking
	// Untouched says that the option does not reach this index at all.
	Untouched bool
}

// optionViews draws options on one scale, so that they compare by eye.
func optionViews(options []workshop.OptionReport, recommended []string, n names) []OptionView {
	top := lossTop(options)
	var out []OptionView
	for _, o := range options {
		v := OptionView{OptionReport: o, Recommended: contains(recommended, o.ID), Nothing: len(o.Changes) == 0 && len(o.Openings) == 0}
		if o.Effects != nil {
			o.Effects.Each(func(name string, e *scoring.EffectResult) {
				v.Losses = append(v.Losses, LossView{Name: name, Effect: e, Bar: drawLoss(name, e, top), Gains: e.Now.Median < -0.00005, Untouched: len(e.Parts) == 0 && len(e.Openings) == 0})
			})
		}
		for _, c := range o.Cautions {
			v.Stop = v.Stop || c.Level == "stop"
		}
		seen := map[string]bool{}
		for _, c := range o.Changes {
			if !seen[c.Component] {
				seen[c.Component] = true
				if v.Changed != "" {
					v.Changed += ", "
				}
				v.Changed += n.Of(c.Component)
			}
		}
		out = append(out, v)
	}
	return out
}

func faultViews(faults []workshop.FaultReport, only string, n names) []FaultView {
	var out []FaultView
	for _, f := range faults {
		if only != "" && f.ID != only {
			continue
		}
		v := FaultView{FaultReport: f, Options: optionViews(f.Options, nil, n)}
		for _, c := range f.Components {
			if v.Places != "" {
				v.Places += ", "
			}
			v.Places += n.Of(c)
		}
		for _, o := range f.Options {
			v.Leave = v.Leave || o.Treatment == "leave"
		}
		out = append(out, v)
	}
	return out
}

func (s *Server) optionsPage(report *workshop.Report, only string) OptionsPage {
	page := OptionsPage{Base: s.basis(report, "options", "Faults and options"), Report: report, Only: only, Faults: faultViews(report.Faults, only, namesOf(report))}
	page.Weigh = Form{Action: "/machines/" + report.Machine.ID + "/options", Button: "Weigh again", Key: newKey(), Version: itoa(report.Version),
		Parts: []FormPart{{Fields: []Field{byField(report, "Who weighs them")}}}}
	for _, f := range page.Faults {
		for _, o := range f.Options {
			page.Weigh.Hidden = append(page.Weigh.Hidden, Hidden{"options", o.ID})
		}
	}
	if only != "" {
		page.Weigh.Hidden = append(page.Weigh.Hidden, Hidden{"fault", only})
	}
	return page
}

func pageOptions(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	page := s.optionsPage(report, r.URL.Query().Get("fault"))
	page.Notice = noticeOf(r)
	return htmlAnswer{name: "options", page: page}, nil
}

func pageWeigh(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	t, err := readForm(r)
	if err != nil {
		return nil, err
	}
	_, receipt, err := s.Workshop.Weigh(r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Key: t.text("key")}, t.list("options"), true)
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		page := s.optionsPage(report, t.text("fault"))
		page.Weigh.fill(t.Values)
		page.Weigh.refuse(err)
		page.Wrong = true
		return htmlAnswer{status: rowOf(codeOf(err)).status, name: "options", page: page}, nil
	}
	back := "/machines/" + report.Machine.ID + "/options?recorded=" + firstID(receipt)
	if fault := t.text("fault"); fault != "" && contains(faultIDs(report), fault) {
		back += "&fault=" + fault
	}
	return seeOther(back), nil
}

func faultIDs(report *workshop.Report) []string {
	var out []string
	for _, f := range report.Faults {
		out = append(out, f.ID)
	}
	return out
}
