package cli

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"example.org/asfound/importers"
	"example.org/asfound/workshop"
)

type survivorsCommand struct {
	Make     string   `required:"" help:"make, as it stands on record"`
	Model    string   `required:"" help:"model, as it stands on record"`
	Where    string   `default:"frame" help:"where the number stands: frame, engine, …"`
	First    *float64 `help:"number of the first machine built, figures alone: then it is estimated how many were built"`
	Gaps     bool     `help:"numbers were left out, by type or for export"`
	List     string   `type:"path" help:"another list of numbers (CSV or XLSX): then it is estimated how many survive"`
	ListName string   `help:"name of the other list"`
	ListFrom []string `help:"where the other list has its entries from; may be repeated" sep:"none"`
	KnownBy  []string `help:"by which sources the machines of this register became known; may be repeated" sep:"none"`
}

// Run estimates how many machines of a model survive and were built.
func (x *survivorsCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	q := workshop.SurvivorsQuestion{Make: x.Make, Model: x.Model, Where: x.Where, First: x.First, Gaps: x.Gaps, KnownBy: x.KnownBy}
	if x.List != "" {
		q.List = &workshop.NumberList{Name: x.ListName, Sources: x.ListFrom}
		if q.List.Numbers, err = readNumbers(x.List); err != nil {
			return err
		}
	}
	r, err := w.RegisterSurvivors(c.ctx, q)
	if err != nil {
		return err
	}
	return c.print(r, func(w io.Writer) {
		for _, s := range r.Says() {
			wrap(w, s, "  ")
		}
		for _, s := range r.Refused {
			wrap(w, "No figure. "+s, "  ")
		}
		for _, s := range r.Warnings {
			wrap(w, "- "+s, "  ")
		}
		fmt.Fprintf(w, "Method %s. Nothing was recorded, and no number is in this answer.\n", r.Method)
	})
}

func readNumbers(name string) (numbers []string, err error) {
	f, err := openInput(name)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return importers.ReadNumbers(f, importers.Options{File: filepath.Base(name)})
}
