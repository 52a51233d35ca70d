package server

import (
	"net/http"

	"example.org/asfound/workshop"
)

// machinesOffered is how many machines a form lists. A larger register takes
// the id of any machine instead, so that the form does not grow with it.
const machinesOffered = 100

// machineField lets a machine be named. before are choices that stand before
// the machines, each by what is written for it.
func (s *Server) machineField(r *http.Request, before ...Choice) (Field, []workshop.Summary, error) {
	machines, err := s.Workshop.Machines(r.Context(), "", machinesOffered+1)
	if err != nil {
		return Field{}, nil, err
	}
	f := Field{Name: "machine", Label: "Machine", Kind: "select", Choices: before, Pointers: []string{"/machine"}}
	if len(machines) > machinesOffered {
		f.Kind, f.Choices, f.Hint = "text", nil, "Its id, as the list of machines and every search show it."
		return f, machines[:machinesOffered], nil
	}
	for _, m := range machines {
		f.Choices = append(f.Choices, Choice{m.ID, m.Name + " (" + m.ID + ")", ""})
	}
	if len(machines) == 1 && len(before) == 0 {
		f.Value = machines[0].ID
	}
	return f, machines, nil
}
