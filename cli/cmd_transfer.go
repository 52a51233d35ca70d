package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/server"
	"example.org/asfound/workshop"
)

type transferCommand struct {
	Permit  transferPermitCommand  `cmd:"" help:"record the owner's permission that the record goes to another registry"`
	Out     transferOutCommand     `cmd:"" help:"hand the record over: it is closed here, and written whole into a bundle"`
	In      transferInCommand      `cmd:"" help:"take a record over from the bundle of another registry"`
	Confirm transferConfirmCommand `cmd:"" help:"record that the other registry has taken the record over, by its receipt"`
	Undo    transferUndoCommand    `cmd:"" help:"take a handing over back that nobody has answered"`
}

type transferPermitCommand struct {
	Target  target `embed:""`
	GivenBy string `default:"owner" help:"person id of the owner or executor who gave it"`
	How     string `required:"" help:"how it was given, and where that can be looked up"`
}

// Run records a permission.
func (x *transferPermitCommand) Run(c *call) error {
	return c.record(x.Target, "The permission is recorded", &registry.Permission{For: registry.ForTransfer, GivenBy: x.GivenBy, How: x.How, By: c.line.As})
}

type transferOutCommand struct {
	Target  target `embed:""`
	To      string `required:"" type:"path" help:"write the bundle here: names, places and original pictures are in it"`
	Because string `help:"why it goes without the owner's permission"`
}

// handedOver is what handing over answers with.
type handedOver struct {
	workshop.Receipt
	Bundle      string `json:"bundle"`
	Fingerprint string `json:"key_fingerprint"`
}

// Run hands a record over. Said again, it writes the same bundle again.
func (x *transferOutCommand) Run(c *call) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	r, err := o.HandOver(c.ctx, x.Target.request(c), x.Because)
	if err != nil {
		return err
	}
	if err := writeFile(x.To, func(w io.Writer) error { return o.writeBundle(c.ctx, w, x.Target.Machine, false, true) }); err != nil {
		return err
	}
	return c.print(handedOver{r, x.To, dossier.Fingerprint(o.verifier)}, func(w io.Writer) {
		fmt.Fprintf(w, "Handed over. The record of %s ends here at version %d, and nothing more is recorded on it.\n", x.Target.Machine, r.Version)
		fmt.Fprintf(w, "Written: %s, with names, places and original pictures. Give it to the other registry, and to nobody else.\n", x.To)
		fmt.Fprintf(w, "Tell them this registry's fingerprint by another way: %s\n", dossier.Fingerprint(o.verifier))
	})
}

type transferInCommand struct {
	Bundle  string `arg:"" type:"path" help:"the bundle that \"transfer out\" wrote"`
	Trust   string `help:"the giving registry's fingerprint, got from it by another way, or its public key"`
	Receipt string `type:"path" help:"write a receipt for the giving registry here"`
}

// takenOver is what taking over answers with.
type takenOver struct {
	workshop.Receipt
	From     registry.Handover `json:"from"`
	Pictures int               `json:"pictures"`
	Values   int               `json:"private_values"`
	Lacks    []string          `json:"lacks"`
}

// Run takes a record over. Nothing is written before the bundle is verified
// whole, and everything can be repeated.
func (x *transferInCommand) Run(c *call) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	opts, err := trusted(x.Trust)
	if err != nil {
		return err
	}
	f, size, err := openFile(x.Bundle)
	if err != nil {
		return err
	}
	defer f.Close()
	h, err := dossier.OpenTransfer(dossier.Source{ReaderAt: f, Size: size}, opts)
	if err != nil {
		if h != nil {
			return c.printVerified(h.Report, err, "")
		}
		return err
	}
	out, err := o.takeOver(c.ctx, h, c.line.As)
	if err != nil {
		return err
	}
	if x.Receipt != "" {
		if err := writeFile(x.Receipt, func(w io.Writer) error { return o.writeTransferReceipt(c.ctx, w, out.Machine) }); err != nil {
			return err
		}
	}
	return c.print(out, func(w io.Writer) { out.words(w) })
}

// takeOver puts a verified bundle into the registry.
func (o *opened) takeOver(ctx context.Context, h *dossier.Handed, actor string) (takenOver, error) {
	out := takenOver{From: h.From, Lacks: []string{}}
	record, err := registry.Replay(h.Report.Machine, h.Events, time.Time{})
	if err != nil {
		return out, err
	}
	holders := registry.Holders(record, h.Report.Machine)
	if err := h.Files(func(digest string, private bool, r io.Reader) error {
		put, n := o.Photos.Put, &out.Pictures
		if private {
			n = &out.Values
			put = func(ctx context.Context, r io.Reader, limit int64) (string, int64, error) {
				return o.Private.PutFor(ctx, cmp.Or(holders[digest], h.Report.Machine), r, limit)
			}
		}
		got, _, err := put(ctx, r, workshop.MaxPhotoBytes)
		if err == nil && got != digest {
			err = registry.Refuse(registry.CodeTampered, "Copy the bundle again.", "The bundle changed while it was read")
		}
		*n++
		return err
	}); err != nil {
		return out, err
	}
	if out.Receipt, err = o.TakeOver(ctx, workshop.Request{Machine: h.Report.Machine, Actor: actor}, workshop.Handed{Events: h.Events, From: h.From}); err != nil {
		return out, err
	}
	d, err := o.Load(ctx, h.Report.Machine, workshop.At{})
	if err != nil {
		return out, err
	}
	if all := registry.Live[*registry.Transfer](d); len(all) > 0 {
		out.Lacks = append(out.Lacks, all[len(all)-1].Record.Lacks...)
	}
	return out, nil
}

// takeOverOnPage verifies a bundle that was sent, and takes it over.
func (o *opened) takeOverOnPage(ctx context.Context, q server.TakeOverQuestion) (*server.TakeOverAnswer, error) {
	opts, err := trusted(q.Trust)
	if err != nil {
		return nil, err
	}
	h, err := dossier.OpenTransfer(dossier.Source{ReaderAt: q.Bundle, Size: q.Size}, opts)
	if err != nil {
		return nil, server.SentAtFault(err)
	}
	out, err := o.takeOver(ctx, h, q.Actor)
	if err != nil {
		return nil, err
	}
	return &server.TakeOverAnswer{Machine: out.Machine, From: out.From.Origin, Fingerprint: out.From.Fingerprint, Events: out.From.Size, Lacks: out.Lacks, Repeated: out.Repeated}, nil
}

// writeTransferReceipt writes what the giving registry needs to know: the
// history up to the last taking over by this registry, signed.
func (o *opened) writeTransferReceipt(ctx context.Context, w io.Writer, machine string) error {
	d, err := o.Load(ctx, machine, workshop.At{})
	if err != nil {
		return err
	}
	for _, t := range slices.Backward(registry.Live[*registry.Transfer](d)) {
		if t.Record.Direction != registry.TransferIn || t.Record.Registry != o.Registry {
			continue
		}
		events, err := o.Events(ctx, machine)
		if err != nil {
			return err
		}
		text, err := dossier.SignReceipt(machine, events[:t.Version], o.signer)
		if err == nil {
			_, err = w.Write(text)
		}
		return err
	}
	return registry.Refuse(registry.CodeNotFound, "", "The record of %s was not taken over by this registry", machine)
}

func (t takenOver) words(w io.Writer) {
	if t.Repeated {
		fmt.Fprintf(w, "The record of %s had been taken over already; nothing was added.\n", t.Machine)
		return
	}
	fmt.Fprintf(w, "Taken over: %s, %d events from %s, fingerprint %s, with %d pictures and %d private values.\n", t.Machine, t.From.Size, t.From.Origin, t.From.Fingerprint, t.Pictures, t.Values)
	fmt.Fprintf(w, "The record goes on here at version %d; the same bytes stand before it.\n", t.Version)
	for _, l := range t.Lacks {
		fmt.Fprintf(w, "Its figures used %s, which this registry does not have: they stand as they were recorded, and new ones will differ.\n", l)
	}
}

type transferConfirmCommand struct {
	Receipt string `arg:"" type:"path" help:"the receipt that the other registry wrote"`
	Trust   string `help:"the other registry's fingerprint, or its public key" required:""`
}

// Run records that another registry has taken a record over.
func (x *transferConfirmCommand) Run(c *call) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	text, err := os.ReadFile(x.Receipt)
	if err != nil {
		return registry.Refuse(registry.CodeInvalid, "Check the path.", "%s cannot be read: %v", x.Receipt, errors.Unwrap(err))
	}
	receipt, by, err := o.confirmTransfer(c.ctx, "", text, x.Trust)
	if err != nil {
		return err
	}
	return c.printReceipt(receipt, by+" has taken the record over, and this copy says so")
}

// confirmTransfer records the receipt of the registry that has taken a record
// over, and gives that registry's name. machine is the one that it must be of,
// "" for any.
func (o *opened) confirmTransfer(ctx context.Context, machine string, text []byte, trust string) (receipt workshop.Receipt, by string, err error) {
	r, then, err := dossier.OpenReceipt(text)
	switch {
	case err != nil:
		return receipt, "", server.SentAtFault(err)
	case trust != r.Key && !dossier.SameFingerprint(trust, dossier.Fingerprint(r.Key)):
		return receipt, "", registry.Refuse(registry.CodeRefused, "Ask the other registry for its fingerprint.", "The receipt is signed by a key with the fingerprint %s, and not by the one that you trust", dossier.Fingerprint(r.Key))
	case machine != "" && machine != r.Machine:
		return receipt, "", registry.Refuse(registry.CodeRefused, "Ask the other registry for the receipt of this machine.", "The receipt is of another machine, %s", r.Machine)
	}
	receipt, err = o.TakenOver(ctx, r.Machine, []byte(r.Event), uint64(then.Size), then.Root)
	return receipt, dossier.KeyName(r.Key), err
}

type transferUndoCommand struct {
	Target  target `embed:""`
	Because string `required:"" help:"why it stays after all"`
}

// Run takes a handing over back.
func (x *transferUndoCommand) Run(c *call) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	r, err := o.TakeBackHandOver(c.ctx, x.Target.request(c), x.Because)
	if err != nil {
		return err
	}
	return c.print(r, func(w io.Writer) {
		fmt.Fprintf(w, "Taken back. The record of %s goes on here at version %d.\n", r.Machine, r.Version)
		fmt.Fprintln(w, "See to it that the bundle is destroyed: a registry that takes it over all the same begins a second history, which every later comparison shows.")
	})
}
