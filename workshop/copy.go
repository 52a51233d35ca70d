package workshop

import (
	"bytes"
	"reflect"
	"strings"

	"example.org/asfound/registry"
)

// clone copies a body, so that deciding never writes into the caller's. A value
// that is withheld is copied as its digest alone.
func clone(b registry.Body) registry.Body {
	from := reflect.ValueOf(b).Elem()
	to := reflect.New(from.Type())
	to.Elem().Set(from)
	deepen(to.Elem())
	out := to.Interface().(registry.Body)
	for _, p := range registry.Privates(out) {
		if p.Digest != "" {
			p.Value = ""
		}
	}
	return out
}

// deepen gives a copied value its own lists, maps and pointers. What has
// unexported fields (a moment, an amount) never changes, and may be shared.
func deepen(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Field(i); f.CanSet() {
				deepen(f)
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			own := reflect.New(v.Type().Elem())
			own.Elem().Set(v.Elem())
			deepen(own.Elem())
			v.Set(own)
		}
	case reflect.Slice:
		if !v.IsNil() {
			own := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
			reflect.Copy(own, v)
			for i := range own.Len() {
				deepen(own.Index(i))
			}
			v.Set(own)
		}
	case reflect.Map: // to numbers or texts
		if !v.IsNil() {
			own := reflect.MakeMapWithSize(v.Type(), v.Len())
			for entries := v.MapRange(); entries.Next(); {
				own.SetMapIndex(entries.Key(), entries.Value())
			}
			v.Set(own)
		}
	}
}

// mayMention says whether any text of a body can hold a secret; false only when
// none does.
func mayMention(v reflect.Value, known []secret) bool {
	switch v.Kind() {
	case reflect.String:
		for _, s := range known {
			if strings.Contains(v.String(), s.value) {
				return true
			}
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Field(i); !f.CanInterface() || mayMention(f, known) {
				return true // a moment or an amount is written as a text, too
			}
		}
	case reflect.Pointer:
		return !v.IsNil() && mayMention(v.Elem(), known)
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Uint8 { // JSON
			for _, s := range known {
				if bytes.Contains(v.Bytes(), []byte(s.value)) {
					return true
				}
			}
			return false
		}
		for i := range v.Len() {
			if mayMention(v.Index(i), known) {
				return true
			}
		}
	case reflect.Map:
		return v.Len() > 0
	}
	return false
}
