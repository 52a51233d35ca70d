package cli

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/dossier"
	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

type cardCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
	Option  string `arg:"" help:"the option that the work carries out"`
	Output  string `short:"o" type:"path" help:"write it here as a PDF to print on A5"`
	spoken  `embed:""`
}

// Run shows the work card of an option, or prints it.
func (x *cardCommand) Run(c *call) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	r, err := o.Card(c.ctx, x.Machine, x.Option)
	if err != nil {
		return err
	}
	if x.Output == "" {
		return c.print(r, func(w io.Writer) { writeCard(w, r) })
	}
	ctx, err := x.speak(c.ctx)
	if err != nil {
		return err
	}
	if err := writeFile(x.Output, func(w io.Writer) error {
		return o.writeCard(ctx, w, x.Machine, x.Option)
	}); err != nil {
		return err
	}
	return c.print(map[string]string{"pdf": x.Output}, printer("Written: "+x.Output))
}

// writeCard writes the card of an option for the server.
func (o *opened) writeCard(ctx context.Context, w io.Writer, machine, option string) error {
	r, err := o.Card(ctx, machine, option)
	if err != nil {
		return err
	}
	return dossier.WriteCard(w, dossier.CardInput{Language: saidIn(ctx), Card: r, Program: "asfound " + Version, Preview: o.photo(ctx)})
}

// writeLabels writes the labels of a machine's removed parts. base begins the
// address in each code; without one it is a path.
func (o *opened) writeLabels(ctx context.Context, w io.Writer, machine, base, layout string) error {
	r, err := o.Report(ctx, machine, workshop.ReportOptions{})
	if err != nil {
		return err
	}
	return dossier.WriteLabels(w, dossier.LabelInput{Language: saidIn(ctx), Machine: r.Machine, Parts: r.Removed, Changed: r.Changed, Base: base, Layout: layout, Program: "asfound " + Version})
}

// writeCard prints a card as text.
func writeCard(w io.Writer, r *workshop.CardReport) {
	fmt.Fprintf(w, "%s\nWork card: %s (%s)\n", r.Machine.Name, r.Option.Title, r.Option.TreatmentTitle)
	if r.Complaint != "" {
		wrap(w, "For: "+r.Complaint, "  ")
	}
	if a := r.Approval; a != nil {
		fmt.Fprintf(w, "\nApproved by %s with %s, on %s", a.By, a.Decision, a.Offer)
		if a.Until != "" {
			fmt.Fprintf(w, ", until the end of %s", a.Until)
		}
		fmt.Fprintln(w)
		if a.Ceiling != "" {
			fmt.Fprintf(w, "  Ceiling %s, spent so far %s\n", a.Ceiling, orElse(a.Spent, "nothing"))
		}
		for _, x := range a.Conditions {
			wrap(w, "Condition: "+x, "  ")
		}
		for _, x := range a.Covers {
			wrap(w, "Covers "+x, "  ")
		}
	} else {
		fmt.Fprintln(w)
		wrap(w, "NOT APPROVED: "+r.Uncovered.Why+". "+r.Uncovered.Fix, "")
	}
	for _, x := range r.Beyond {
		wrap(w, "- "+x, "  ")
	}
	fmt.Fprintln(w, "\nBefore you open")
	for _, n := range r.Needs {
		state := "NOT IN HAND"
		if n.InHand {
			state = "in hand"
		}
		wrap(w, fmt.Sprintf("[%s] %s, for %s", state, n.What, n.For), "  ")
	}
	for _, x := range r.First {
		wrap(w, "First: "+x, "  ")
	}
	if len(r.Tools) > 0 {
		wrap(w, "Tools: "+strings.Join(r.Tools, "; "), "  ")
	}
	for _, x := range r.Tips {
		wrap(w, "Tip: "+x, "  ")
	}
	for _, x := range r.Cautions {
		state := ""
		if x.Unread() {
			state = " NOT READ YET"
		}
		wrap(w, fmt.Sprintf("%s (%s)%s: %s", x.ID, x.Level, state, x.Text), "  ")
	}
	for _, o := range r.Openings {
		fmt.Fprintf(w, "\nOpening %s: %s\n", o.ID, o.Title)
		fmt.Fprintf(w, "  as-found pictures: %d\n", len(o.Pictures))
		for _, j := range o.Joints {
			wrap(w, fmt.Sprintf("joint %s: %s", j.Joint, orElse(joinWords(j.Witness, j.Sign), "NOT IN THE WITNESS REGISTER")), "  ")
		}
		if o.Opened != "" {
			fmt.Fprintf(w, "  opened %s (%s)\n", o.Opened, o.Mark)
		}
		for _, l := range o.Lacks {
			wrap(w, "STOP: "+l.Why+". "+l.Fix, "  ")
		}
		for _, m := range o.Maps {
			writeMap(w, m)
		}
		for _, x := range o.Closed {
			fmt.Fprintf(w, "  closed %s by %s with map %s\n", x.On, x.By, x.Map)
			for _, d := range x.Differs {
				wrap(w, "DOES NOT BALANCE: "+d, "  ")
			}
		}
	}
	if len(r.Closing) > 1 {
		wrap(w, "Close in this order: "+strings.Join(r.Closing, ", then "), "  ")
	}
	fmt.Fprintln(w, "\nSteps")
	for _, s := range r.Steps {
		undone := ""
		if s.Undone {
			undone = " [UNDONE: " + s.Why + "]"
		}
		wrap(w, fmt.Sprintf("%s %s (%s)%s", s.At.UTC().Format("2006-01-02 15:04"), s.Did, s.By, undone), "  ")
	}
	for _, p := range r.Removed {
		wrap(w, fmt.Sprintf("Removed, tag %s: %s (%s)", p.Tag, p.What, p.Custody), "  ")
	}
	fmt.Fprintln(w, "\nMeasure, and check after")
	for _, m := range r.Measure {
		wrap(w, "Measure: "+m.Title+". "+m.How, "  ")
	}
	for _, x := range r.After {
		wrap(w, fmt.Sprintf("Check (%s): %s", x.Gate, x.What), "  ")
	}
	wrap(w, r.Torque, "  ")
	wrap(w, r.TipsBasis, "  ")
}

func joinWords(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ", ")
}

func writeMap(w io.Writer, m workshop.CardMap) {
	fmt.Fprintf(w, "  map %s, %d holes\n", m.ID, len(m.Fasteners))
	for _, f := range m.Fasteners {
		length := "not measured"
		if f.Length > 0 {
			length = workshop.Reading(f.Length, 0, "mm")
		}
		fmt.Fprintf(w, "    %-4s %-16s %s\n", f.Hole, length, joinWords(f.Head, f.Washer, f.Thread, f.Hand+" hand", f.Felt, f.Note))
	}
	for _, x := range m.Warnings {
		wrap(w, "WATCH: "+x, "    ")
	}
}

type labelsCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
	Output  string `short:"o" type:"path" help:"where the PDF is written; labels.pdf when left out" default:"labels.pdf"`
	Layout  string `help:"a4 for a sheet to cut, or roll for single labels of 62 by 29 mm" enum:"a4,roll" default:"a4"`
	Base    string `help:"how people reach the server, such as http://bench.example; each code then holds a whole address instead of a path"`
	spoken  `embed:""`
}

// Run writes the labels for the machine's removed parts.
func (x *labelsCommand) Run(c *call) error {
	if u, err := url.Parse(x.Base); x.Base != "" && (err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "") {
		return badFlag("--base", x.Base, "http://bench.example")
	}
	ctx, err := x.speak(c.ctx)
	if err != nil {
		return err
	}
	o, err := c.open()
	if err != nil {
		return err
	}
	if err := writeFile(x.Output, func(w io.Writer) error { return o.writeLabels(ctx, w, x.Machine, x.Base, x.Layout) }); err != nil {
		return err
	}
	return c.print(map[string]string{"pdf": x.Output}, printer("Written: "+x.Output))
}

type fastenersCommand struct {
	Target  target `embed:""`
	File    string `arg:"" type:"path" help:"CSV or XLSX with a row a hole: hole, x, y, length, head, washer, thread, hand, felt, note"`
	Opening string `required:"" help:"the opening whose fasteners they are"`
	Photo   string `help:"the picture on record that the places are given on; a blank outline when left out"`
	ID      string `help:"name of the map in the record"`
	By      string `help:"person id of who drew it; --as when left out"`
	Replace string `help:"the map that this one corrects"`
}

// Run records a map of fasteners from a table.
func (x *fastenersCommand) Run(c *call) error {
	m := &registry.FastenerMap{Common: registry.Common{ID: x.ID, Supersedes: x.Replace}, Opening: x.Opening, Photo: x.Photo, By: orElse(x.By, c.line.As)}
	err := wholeSheet(c, x.File, importers.ReadFasteners, func(d importers.FastenerDraft) []registry.Field {
		m.Fasteners = append(m.Fasteners, d.Fastener)
		return d.Faults
	})
	if err != nil {
		return err
	}
	return c.record(x.Target, fmt.Sprintf("%d holes are mapped", len(m.Fasteners)), m)
}

type closeCommand struct {
	Target      target   `embed:""`
	Opening     string   `arg:"" help:"the opening that is closed"`
	Map         string   `required:"" help:"the fastener map by which it is closed"`
	AllOwn      bool     `help:"every fastener that --hole says nothing of goes back into its own hole"`
	Hole        []string `help:"what is in a hole: 3=4 for the one of hole 4, 3=new:cheese head:42 for a new one of 42 mm, 3=none for an empty one; may be repeated" sep:"none"`
	Left        int      `help:"fasteners that are left over on the bench"`
	Gasket      string   `help:"which gasket or sealer went in"`
	By          string   `help:"person id of who closed it; --as when left out"`
	ID          string   `help:"name of the closing in the record"`
	AlreadyDone bool     `help:"it is closed already; what does not balance is kept in the record"`
}

// Run records that a cover went back on, if its fasteners balance.
func (x *closeCommand) Run(c *call) error {
	_, d, err := c.loaded(x.Target.Machine)
	if err != nil {
		return err
	}
	m, ok := registry.Get[*registry.FastenerMap](d, x.Map)
	if !ok {
		return registry.Refuse(registry.CodeNotFound, "Record it with \"asfound fasteners\".", "There is no fastener map %q", x.Map)
	}
	said := map[string]bool{}
	var back []registry.FastenerBack
	for _, h := range x.Hole {
		b, none, err := readHole(h)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(m.Record.Fasteners, func(f registry.Fastener) bool { return f.Hole == b.Hole }) {
			return registry.Refuse(registry.CodeInvalid, "Look at the map again.", "The map %q has no hole %q", m.RecordID(), b.Hole)
		}
		said[b.Hole] = true
		if !none {
			back = append(back, b)
		}
	}
	if x.AllOwn {
		for _, b := range workshop.AllOwn(m.Record) {
			if !said[b.Hole] {
				back = append(back, b)
			}
		}
	}
	return c.record(x.Target, "Closed; every fastener is accounted for", &registry.Closed{Common: registry.Common{ID: x.ID}, Opening: x.Opening, Map: m.RecordID(), Back: back,
		LeftOver: x.Left, Gasket: x.Gasket, By: orElse(x.By, c.line.As), AlreadyDone: x.AlreadyDone})
}

// readHole reads "3=4", "3=new:cheese head:42" or "3=none".
func readHole(s string) (b registry.FastenerBack, none bool, err error) {
	bad := badFlag("--hole", s, "3=4, 3=new:cheese head:42 or 3=none")
	hole, what, ok := strings.Cut(s, "=")
	if !ok || hole == "" || what == "" || what == "new" {
		return b, false, bad
	}
	b.Hole = hole
	if what == "none" {
		return b, true, nil
	}
	rest, isNew := strings.CutPrefix(what, "new:")
	if !isNew {
		b.From = what
		return b, false, nil
	}
	name, length, ok := strings.Cut(rest, ":")
	v, parseErr := strconv.ParseFloat(length, 64)
	if !ok || name == "" || parseErr != nil || !finite(v) || v <= 0 {
		return b, false, bad
	}
	b.New, b.Length = name, v
	return b, false, nil
}
