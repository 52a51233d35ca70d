package cli

import (
	"fmt"
	"io"

	"example.org/asfound/registry"
)

type personCommand struct {
	Export personExportCommand `cmd:"" help:"print all that is kept of a person of a machine, for the person to have"`
	Erase  personEraseCommand  `cmd:"" help:"destroy name and address of a person, and the key that opens their copies, for good; the record still verifies"`
}

type personExportCommand struct {
	Machine string `arg:"" help:"the machine's name in the registry"`
	Person  string `arg:"" help:"the person's id on that machine's record"`
}

// Run prints what is kept of a person.
func (p *personExportCommand) Run(c *call) error {
	w, err := c.workshop()
	if err != nil {
		return err
	}
	data, err := w.PersonData(c.ctx, p.Machine, p.Person)
	if err != nil {
		return err
	}
	return c.print(data, func(w io.Writer) {
		name := data.Name
		if data.Erased {
			name = "erased"
		}
		fmt.Fprintf(w, "%s, %s of %s: %s. %s\n", data.Person, data.Role, data.Machine, name, data.Contact)
		for _, r := range data.Records {
			fmt.Fprintf(w, "%s  %-18s %s\n", r.On, r.Kind, r.Says)
		}
		fmt.Fprintf(w, "%d records are by this person or name this person.\n", len(data.Records))
	})
}

type personEraseCommand struct {
	Target target `embed:""`
	Person string `arg:"" help:"the person's id on that machine's record"`
	Why    string `required:"" help:"at whose wish, or by which rule"`
	Yes    bool   `help:"erase without being asked; it cannot be undone"`
}

// Run destroys what is withheld of a person.
func (p *personEraseCommand) Run(c *call) error {
	if !p.Yes {
		return registry.Refuse(registry.CodeRefused, "Say --yes to do it. \"asfound person export\" prints before what is kept.", "Erasing cannot be undone: nobody can ever read the name and address of %s again", p.Person)
	}
	w, err := c.workshop()
	if err != nil {
		return err
	}
	receipt, err := w.Erase(c.ctx, p.Target.request(c), p.Person, p.Why)
	if err != nil {
		return err
	}
	return c.print(receipt, func(w io.Writer) {
		fmt.Fprintf(w, "Erased. The record of %s is at version %d and verifies as before; where the name stood, the role stands.\n", receipt.Machine, receipt.Version)
		fmt.Fprintln(w, "The person's key is destroyed. Run \"asfound backup\" now: it takes the key out of the backup, and nobody can open the copies in older pieces then. Copies of the backup that lie elsewhere must be made anew.")
		fmt.Fprintln(w, "Each machine's record has its own people: \"asfound find NAME\" says where else the person stands. Look through pictures, texts and dossiers that were written out for the name yourself.")
	})
}
