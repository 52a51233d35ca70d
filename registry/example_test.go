package registry_test

import (
	"fmt"
	"time"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

// A history is bytes that are hashed one after the other. Whoever holds them
// can replay them, and sees when one was changed.
func ExampleReplay() {
	n := 0
	stamp := registry.Stamp{Machine: "drover", Recorded: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC), Actor: "tamsin", NewID: func() string { n++; return fmt.Sprint("event-", n) }}
	events, err := registry.Extend(0, "", stamp, []registry.Body{
		&registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true},
		&registry.Fault{Common: registry.Common{ID: "no-spark"}, Complaint: "It dies when warm.", Components: []string{"ignition.condenser"}, By: "tamsin"},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	d, err := registry.Replay("drover", events, time.Time{})
	if err != nil {
		fmt.Println(err)
		return
	}
	m, _ := d.MachineRecord()
	fmt.Println(m.Name(), "version", d.Version())
	for _, f := range registry.Live[*registry.Fault](d) {
		fmt.Println(f.RecordID()+":", f.Record.Complaint)
	}

	events[0][len(events[0])/2] ^= 1
	_, err = registry.Replay("drover", events, time.Time{})
	fmt.Println(registry.CodeOf(err))
	// Output:
	// Skerrow Engineering Drover 350 1957 version 2
	// no-spark: It dies when warm.
	// tampered
}

// Decide is the only place where a rule says yes or no; the catalog holds what
// it must know of machines in general.
func ExampleDecide() {
	house, err := catalog.Load()
	if err != nil {
		fmt.Println(err)
		return
	}
	d := registry.NewDossier("drover")
	machine := &registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true}
	person := &registry.Person{Common: registry.Common{ID: "tamsin"}, Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}}
	cover := &registry.Opening{Common: registry.Common{ID: "cover"}, Title: "points cover off", Hours: 0.5, WitnessPoints: 0.4}
	opened := &registry.Opened{Common: registry.Common{ID: "opened"}, Opening: "cover", By: "tamsin"}
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for i, body := range []registry.Body{machine, person, cover, opened} {
		if err := registry.Decide(d, house.Rules(), registry.Act{At: at, Actor: "tamsin", Body: body}); err != nil {
			fmt.Println(body.Kind(), "is not recorded:", registry.CodeOf(err))
			fmt.Println(err)
			continue
		}
		d.Apply(registry.Meta{Version: uint64(i + 1), Recorded: at, Actor: "tamsin", Kind: body.Kind()}, body)
		fmt.Println(body.Kind(), "is recorded")
	}
	// Output:
	// machine is recorded
	// person is recorded
	// opening is recorded
	// opened is not recorded: refused
	// "cover" cannot be opened: the as-found survey is not sealed; there is no as-found picture of its joints; no approved option covers this opening. Seal the survey, or let the owner sign its gaps. Take the picture first. Ask the owner with a proposal or a change request. If it has happened already, record it as already done: it will stand as unapproved.
}

func ExampleDate_Span() {
	for _, d := range []registry.Date{"1957-06", "195X", "1957~", "1988/.."} {
		span, err := d.Span()
		if err != nil {
			fmt.Println(err)
			return
		}
		last := "open"
		if !span.Last.IsZero() {
			last = span.Last.Format(time.DateOnly)
		}
		fmt.Println(d, "means", span.First.Format(time.DateOnly), "to", last)
	}
	// Output:
	// 1957-06 means 1957-06-01 to 1957-06-30
	// 195X means 1950-01-01 to 1959-12-31
	// 1957~ means 1957-01-01 to 1957-12-31
	// 1988/.. means 1988-01-01 to open
}
