package catalog

import "slices"

// row is anything that stands in a table of the catalog.
type row[T any] interface {
	key() string
	clone() T // shares nothing that can be changed
}

// table keeps rows in their order and finds them by key.
type table[T row[T]] struct {
	rows []T
	at   map[string]int
}

func (t *table[T]) index() {
	t.at = make(map[string]int, len(t.rows))
	for i, r := range t.rows {
		t.at[r.key()] = i
	}
}

func (t *table[T]) has(key string) bool {
	_, ok := t.at[key]
	return ok
}

// get hands out a copy.
func (t *table[T]) get(key string) (T, bool) {
	i, ok := t.at[key]
	if !ok {
		var zero T
		return zero, false
	}
	return t.rows[i].clone(), true
}

// all hands out copies.
func (t *table[T]) all() []T {
	out := make([]T, len(t.rows))
	for i, r := range t.rows {
		out[i] = r.clone()
	}
	return out
}

// keys lists the keys, sorted.
func (t *table[T]) keys() []string {
	out := make([]string, len(t.rows))
	for i, r := range t.rows {
		out[i] = r.key()
	}
	slices.Sort(out)
	return out
}
