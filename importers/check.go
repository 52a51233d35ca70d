package importers

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"example.org/asfound/registry"
)

// judge checks a record against its schema and against what the domain can say
// of it alone. The error is not about the record.
func judge(v Validator, b registry.Body) ([]registry.Field, error) {
	var fields []registry.Field
	if err := gather(&fields, registry.CheckBody(b)); err != nil {
		return nil, err
	}
	if v == nil {
		return fields, nil
	}
	data, err := json.Marshal(b)
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", b.Kind(), err)
	}
	err = gather(&fields, v.Validate(b.Kind(), registry.SchemaVersion(b.Kind()), data))
	return fields, err
}

// gather adds the faults of a refusal to fields, leaving out those on a place
// that has one already; another error comes back.
func gather(fields *[]registry.Field, err error) error {
	if err == nil {
		return nil
	}
	var refused *registry.Error
	if !errors.As(err, &refused) || refused.Code == registry.CodeInternal {
		return err
	}
	found := refused.Fields
	if len(found) == 0 {
		found = []registry.Field{{Message: refused.Message, Fix: refused.Fix}}
	}
	before := len(*fields)
	for _, f := range found {
		if !covered((*fields)[:before], f.Pointer) {
			*fields = append(*fields, f)
		}
	}
	return nil
}

// covered says whether a place, or the place that holds it, has a fault.
func covered(fields []registry.Field, pointer string) bool {
	for _, f := range fields {
		if f.Pointer == pointer || f.Pointer != "" && strings.HasPrefix(pointer, f.Pointer+"/") {
			return true
		}
	}
	return false
}

// check adds the faults of a record that the row's cells did not show, each
// with the column that it came from.
func (l *line) check(b registry.Body) error {
	fields, err := judge(l.o.Validator, b)
	if err != nil {
		return err
	}
	for _, f := range fields {
		i := l.layout.table.columnOf(b.Kind(), f.Pointer)
		if l.already(b.Kind(), i, f.Pointer) {
			continue
		}
		f.File, f.Row = l.layout.file, l.row.Number
		if i >= 0 {
			f.Message = inColumn(l.title(i), f.Message)
			if f.Found == "" {
				if cell := strings.TrimSpace(l.raw(i)); cell != "" {
					f.Found = quoted(cell)
				}
			}
		}
		l.faults = append(l.faults, f)
	}
	return nil
}

// already says whether the column that fills a place has a fault by now, or the
// place itself.
func (l *line) already(kind registry.Kind, column int, pointer string) bool {
	for _, f := range l.faults {
		if f.Pointer == pointer {
			return true
		}
		if column >= 0 && l.layout.table.columnOf(kind, f.Pointer) == column {
			return true
		}
	}
	return false
}
