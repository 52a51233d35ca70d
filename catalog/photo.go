package catalog

import "slices"

// Photo is one picture of the fixed as-found list.
type Photo struct {
	ID string `json:"id"`
	// Walk is its place in the order of a person walking round the machine,
	// from 1.
	Walk       int      `json:"walk"`
	Title      string   `json:"title"`
	MustShow   string   `json:"must_show"`
	Components []string `json:"components"`
	// Withhold keeps it out of public editions: numbers, papers, places.
	Withhold bool `json:"withhold"`
	// ScaleAndColour asks for a scale bar and a colour card in the picture.
	ScaleAndColour bool `json:"scale_and_colour"`
	Basis
}

func (p Photo) key() string { return p.ID }

func (p Photo) clone() Photo {
	p.Components = slices.Clone(p.Components)
	return p
}

// PictureList is the fixed as-found list in walking order.
func (c *Catalog) PictureList() []Photo {
	list := c.photos.all()
	slices.SortStableFunc(list, func(a, b Photo) int { return a.Walk - b.Walk })
	return list
}
