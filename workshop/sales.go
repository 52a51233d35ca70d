package workshop

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"example.org/asfound/lookup"
	"example.org/asfound/registry"
)

// The key families of sales that owners let others use.
const (
	saleAt = "sale/at/" // machine id and record → offeredSale
	saleOf = "sale/of/" // machine id → its records at saleAt
)

// offeredSale is a sale on one machine's record that may be used for others.
type offeredSale struct {
	Prices bool                     `json:"prices"`
	Sale   *registry.ComparableSale `json:"sale"`
}

// noteSales brings what a machine offers up to its record: every comparable sale
// in force while its owner's permission stands, and nothing otherwise. Names that
// stand in it are those of the public edition: another machine's record would
// put its own people in their place.
func (w *Workshop) noteSales(tx ViewTx, d *registry.Dossier) error {
	now := map[string][]byte{}
	_, moved := d.MovedTo(w.Registry)
	if p, ok := d.Permitted(registry.ForSharingSales); ok && !moved {
		public := NewReader(d, true)
		for _, s := range registry.Live[*registry.ComparableSale](d) {
			sale := *s.Record
			sale.Source, sale.Venue = public.Text(sale.Source), public.Text(sale.Venue)
			raw, err := json.Marshal(offeredSale{p.Record.Prices, &sale})
			if err != nil {
				return err
			}
			now[s.RecordID()] = raw
		}
	}
	raw, ok, err := tx.Get(saleOf + d.ID)
	if err != nil || !ok && len(now) == 0 {
		return err
	}
	var before []string
	if ok {
		if err := unmarshalView(raw, &before); err != nil {
			return err
		}
	}
	for _, id := range before {
		if now[id] == nil {
			tx.Delete(saleKey(d.ID, id))
		}
	}
	ids := []string{}
	for id, value := range now {
		ids = append(ids, id)
		old, _, err := tx.Get(saleKey(d.ID, id))
		if err != nil {
			return err
		}
		if !bytes.Equal(old, value) {
			tx.Put(saleKey(d.ID, id), value)
		}
	}
	slices.Sort(ids)
	if len(ids) == 0 {
		tx.Delete(saleOf + d.ID)
		return nil
	}
	if raw, err = json.Marshal(ids); err == nil && !slices.Equal(ids, before) {
		tx.Put(saleOf+d.ID, raw)
	}
	return err
}

func saleKey(machine, record string) string { return saleAt + machine + "/" + record }

// SharedSale is a sale on the record of another machine of this registry, whose
// owner lets it be used. A price that is withheld makes it a pointer, and no
// figure can be made of it.
type SharedSale struct {
	ID        string          `json:"id"` // machine and record, as ValueQuestion.Shared takes it
	Source    string          `json:"source"`
	Venue     string          `json:"venue,omitempty"`
	Date      registry.Date   `json:"date"`
	Make      string          `json:"make"`
	Model     string          `json:"model"`
	Year      registry.Date   `json:"year,omitempty"`
	PriceKind string          `json:"price_kind"`
	Price     *registry.Money `json:"price,omitempty"` // nil when withheld
}

// MaxSharedSales is how many sales one answer holds at most.
const MaxSharedSales = 200

// SharedSales lists the sales that other machines offer to one, those of its
// make first. The permission of their owners lets them be seen by whoever sees
// the machine that asks.
func (w *Workshop) SharedSales(ctx context.Context, machine string) ([]SharedSale, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	if err := w.refresh(ctx); err != nil {
		return nil, err
	}
	m, _ := d.MachineRecord()
	out := []SharedSale{}
	err = w.Views.Scan(ctx, saleAt, "", 0, func(key string, value []byte) error {
		id := strings.TrimPrefix(key, saleAt)
		if strings.HasPrefix(id, machine+"/") {
			return nil
		}
		var o offeredSale
		if err := unmarshalView(value, &o); err != nil {
			return err
		}
		s := SharedSale{ID: id, Source: o.Sale.Source, Venue: o.Sale.Venue, Date: o.Sale.Valid, Make: o.Sale.Make, Model: o.Sale.Model, Year: o.Sale.Year, PriceKind: o.Sale.PriceKind}
		if o.Prices {
			s.Price = &o.Sale.Price
		}
		out = append(out, s)
		return nil
	})
	ours := func(s SharedSale) int {
		if lookup.Plain(s.Make) == lookup.Plain(m.Make) {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(out, func(a, b SharedSale) int {
		return cmp.Or(ours(a)-ours(b), -registry.CompareDates(a.Date, b.Date), strings.Compare(a.ID, b.ID))
	})
	if len(out) > MaxSharedSales {
		out = out[:MaxSharedSales]
	}
	return out, err
}

// withShared looks the sales up that a question takes in from other machines.
// CodeNotFound for one that is not offered, or no longer; CodeRefused for one
// whose price is withheld.
func (w *Workshop) withShared(ctx context.Context, machine string, q ValueQuestion) (ValueQuestion, error) {
	q.taken = nil
	if len(q.Shared) == 0 {
		return q, nil
	}
	if err := w.refresh(ctx); err != nil {
		return q, err
	}
	for i, id := range q.Shared {
		at := fmt.Sprintf("/shared/%d", i)
		fault := func(code registry.Code, message, fix string) error {
			return &registry.Error{Code: code, Message: message, Fix: fix, Fields: []registry.Field{{Pointer: at, Message: message, Fix: fix}}}
		}
		of, _, ok := strings.Cut(id, "/")
		raw, offered, err := w.Views.Get(ctx, saleAt+id)
		switch {
		case err != nil:
			return q, err
		case !ok || !offered || of == machine:
			return q, fault(registry.CodeNotFound, "The sale "+id+" is not offered to this machine: there is none, or the permission was taken back", "List the sales that are offered.")
		case slices.Contains(q.Shared[:i], id):
			return q, fault(registry.CodeInvalid, "The sale "+id+" is named twice", "Name it once.")
		}
		var o offeredSale
		if err := unmarshalView(raw, &o); err != nil {
			return q, err
		}
		if !o.Prices {
			return q, fault(registry.CodeRefused, "The price of the sale "+id+" is withheld, so that no figure can be made of it", "Ask its owner to permit prices too, or leave it out.")
		}
		o.Sale.ID = id
		q.taken = append(q.taken, o.Sale)
	}
	return q, nil
}

// ShareSales records that the comparable sales on a machine's record may be used
// for other machines.
func (w *Workshop) ShareSales(ctx context.Context, req Request, givenBy, how string, prices bool) (Receipt, error) {
	p := &registry.Permission{For: registry.ForSharingSales, GivenBy: givenBy, How: how, Prices: prices, By: req.Actor}
	return w.Record(ctx, req, p)
}

// StopSharing takes every permission for a purpose back. What was made of the
// sales before stays as it was shown. CodeNotFound when none stands.
func (w *Workshop) StopSharing(ctx context.Context, req Request, purpose, why string) (Receipt, error) {
	d, err := w.Load(ctx, req.Machine, At{})
	if err != nil {
		return Receipt{}, err
	}
	var bodies []registry.Body
	for _, p := range registry.Live[*registry.Permission](d) {
		if p.Record.For == purpose {
			bodies = append(bodies, &registry.Withdrawal{Record: p.RecordID(), Why: why, By: req.Actor})
		}
	}
	if len(bodies) == 0 {
		return Receipt{}, registry.Refuse(registry.CodeNotFound, "", "No permission stands that could be taken back")
	}
	return w.Record(ctx, req, bodies...)
}
