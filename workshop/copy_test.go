package workshop

import (
	"encoding/json"
	"reflect"
	"testing"
	"time"

	"github.com/govalues/decimal"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// fill puts something everywhere in a value, in place where there is a place.
func fill(v reflect.Value, text string) {
	switch x := v.Addr().Interface().(type) {
	case *time.Time:
		*x = monday.Add(time.Duration(len(text)) * time.Hour)
		return
	case *decimal.Decimal:
		*x = decimal.MustNew(int64(100+len(text)), 2)
		return
	case *json.RawMessage:
		if *x == nil {
			*x = json.RawMessage(`["` + text + `"]`)
		} else {
			(*x)[2] = text[0]
		}
		return
	case *registry.Private:
		x.Value = text
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(text)
	case reflect.Bool:
		v.SetBool(text == "one")
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(len(text)))
	case reflect.Uint64:
		v.SetUint(uint64(len(text)))
	case reflect.Float64:
		v.SetFloat(float64(len(text)))
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), text)
		}
	case reflect.Pointer:
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		fill(v.Elem(), text)
	case reflect.Slice:
		if v.IsNil() {
			v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		}
		for i := range v.Len() {
			fill(v.Index(i), text)
		}
	case reflect.Map:
		if v.IsNil() {
			v.Set(reflect.MakeMap(v.Type()))
		}
		value := reflect.New(v.Type().Elem()).Elem()
		fill(value, text)
		v.SetMapIndex(reflect.ValueOf("key").Convert(v.Type().Key()), value)
	default:
		panic("fill: " + v.Type().String())
	}
}

// A clone says the same, and shares nothing that can be written to.
func TestClone(t *testing.T) {
	for _, kind := range registry.Kinds() {
		b := registry.NewBody(kind)
		require.Equal(t, b, clone(b))
		fill(reflect.ValueOf(b).Elem(), "one")
		before := asJSON(t, b)
		c := clone(b)
		require.Equal(t, b, c, kind)
		again, err := registry.DecodeBody(kind, registry.SchemaVersion(kind), []byte(before))
		require.NoError(t, err)
		require.Equal(t, asJSON(t, again), asJSON(t, c), kind)
		fill(reflect.ValueOf(c).Elem(), "other")
		require.NotEqual(t, before, asJSON(t, c), kind)
		require.Equal(t, before, asJSON(t, b), "%s: the clone writes into the original", kind)
		for _, p := range registry.Privates(b) {
			p.Digest = "sha256:x"
		}
		for _, p := range registry.Privates(clone(b)) {
			require.Empty(t, p.Value, "a withheld value is copied as its digest")
		}
	}
}

// Wherever a secret stands in a text, it is found.
func TestSecretsAreFoundWhereverTheyStand(t *testing.T) {
	known := []secret{{"Winifred Aske", "[[first-owner]]"}, {"SD35-10482", "[[number:frame]]"}}
	for _, kind := range registry.Kinds() {
		b := registry.NewBody(kind)
		require.False(t, mayMention(reflect.ValueOf(b), known) && kind == "survey")
		for _, text := range []string{"by Winifred Aske, who", "no SD35-10482"} {
			fill(reflect.ValueOf(b).Elem(), text)
			require.True(t, mayMention(reflect.ValueOf(b), known), kind)
		}
	}
	s := aSurvey("fork.legs")
	fill(reflect.ValueOf(s).Elem(), "nothing")
	require.False(t, mayMention(reflect.ValueOf(s), known))
	for i := range reflect.ValueOf(s).Elem().NumField() {
		one := aSurvey("fork.legs")
		field := reflect.ValueOf(one).Elem().Field(i)
		if k := field.Kind(); k == reflect.Pointer {
			continue
		}
		fill(field, "it was Winifred Aske")
		require.True(t, mayMention(reflect.ValueOf(one), known), i)
	}
}
