package server

import (
	"net/http"
	"net/url"

	"example.org/asfound/workshop"
)

// MachinesPage lists the machines.
type MachinesPage struct {
	Base
	Machines []workshop.Summary
	Next     string // address of the next page, "" at the end
	First    bool
}

// machinesPerPage is how many machines one page lists.
const machinesPerPage = 100

func pageMachines(s *Server, r *http.Request) (answer, error) {
	after := r.URL.Query().Get("after")
	list, err := s.Workshop.Machines(r.Context(), after, machinesPerPage+1)
	if err != nil {
		return nil, err
	}
	page := MachinesPage{Base: Base{Title: "Machines", Version: s.Version}, Machines: list, First: after == ""}
	if len(list) > machinesPerPage {
		page.Machines = list[:machinesPerPage]
		page.Next = "/?after=" + url.QueryEscape(page.Machines[machinesPerPage-1].ID)
	}
	return htmlAnswer{name: "machines", page: page}, nil
}
