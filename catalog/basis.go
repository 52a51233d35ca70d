package catalog

// Basis says on what an item rests and who supplied it.
type Basis struct {
	// Source is the published source of its numbers or wording.
	Source string `json:"source,omitempty"`
	// Assumption is a sentence for what no published source gives. An item
	// without either inherits that of its file.
	Assumption string `json:"assumption,omitempty"`
	// From names the supplier and its version, such as "house 1.0.0"; set by
	// Load, and of the last pack that changed the item.
	From string `json:"from,omitempty"`
}

func (b *Basis) basis() *Basis { return b }
