package picture

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode"

	"github.com/bep/imagemeta"
)

// Limits of what is read of a picture's own words.
const (
	maxTags    = 500
	maxTagSize = 1024
	maxCamera  = 80
)

// wanted are the EXIF tags that are read. The place is not among them.
var wanted = map[string]bool{"Orientation": true, "DateTimeOriginal": true, "OffsetTimeOriginal": true, "Make": true, "Model": true}

// claims reads what the camera wrote. Whatever is wrong with that part of the
// file, the picture itself may be good, so a failure only means no claims.
func claims(data []byte, f format) (c Claims) {
	c.Orientation = 1
	defer func() {
		if recover() != nil {
			c = Claims{Orientation: 1}
		}
	}()
	tags := map[string]any{}
	_, err := imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(data), ImageFormat: f.meta, Sources: imagemeta.EXIF,
		LimitNumTags: maxTags, LimitTagSize: maxTagSize,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool {
			return wanted[t.Tag] && strings.HasPrefix(t.Namespace, "IFD0")
		},
		HandleTag: func(t imagemeta.TagInfo) error {
			if _, ok := tags[t.Tag]; !ok {
				tags[t.Tag] = t.Value
			}
			return nil
		},
	})
	if err != nil && len(tags) == 0 {
		return c
	}
	if n := wholeNumber(tags["Orientation"]); n >= 1 && n <= 8 {
		c.Orientation = n
	}
	c.Taken = taken(text(tags["DateTimeOriginal"]), text(tags["OffsetTimeOriginal"]))
	c.Camera = camera(text(tags["Make"]), text(tags["Model"]))
	return c
}

func wholeNumber(v any) int {
	switch n := v.(type) {
	case uint8:
		return int(n)
	case uint16:
		return int(n)
	case uint32:
		return int(n % 1000)
	case int:
		return n
	case int16:
		return int(n)
	case int32:
		return int(n)
	}
	return 0
}

func text(v any) string {
	s, ok := v.(string)
	if !ok {
		return ""
	}
	return strings.TrimSpace(strings.TrimRight(s, "\x00"))
}

var offsetForm = regexp.MustCompile(`^[+-]\d\d:[0-5]\d$`)

// taken reads the camera's clock, and its offset from UTC when it is given
// (EXIF 2.31, OffsetTimeOriginal). Without one the time is the camera's own.
func taken(clock, offset string) string {
	t, err := time.Parse("2006:01:02 15:04:05", clock)
	if err != nil || t.Year() < 1900 {
		return ""
	}
	s := t.Format("2006-01-02T15:04:05")
	if offset == "Z" || offsetForm.MatchString(offset) {
		s += offset
	}
	return s
}

// camera joins make and model, which often repeats the make.
func camera(maker, model string) string {
	name := model
	if first, _, _ := strings.Cut(maker, " "); !strings.HasPrefix(strings.ToLower(model), strings.ToLower(first)) || model == "" {
		name = strings.TrimSpace(fmt.Sprint(maker, " ", model))
	}
	name = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(name, ""))
	if r := []rune(name); len(r) > maxCamera {
		name = string(r[:maxCamera])
	}
	return name
}
