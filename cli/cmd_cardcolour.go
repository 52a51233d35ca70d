package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"example.org/asfound/importers"
	"example.org/asfound/importers/picture"
	"example.org/asfound/scoring"
)

type cardColourCommand struct {
	Picture string `arg:"" help:"the picture, with the card in it (JPEG, PNG or WebP)"`
	Marks   string `required:"" type:"path" help:"sheet of what is marked: name, left, top, width, height as shares of the picture, and for patches of the card its L, a, b"`
	White   string `enum:"D50,D65" default:"D50" help:"white that the card's figures are counted from: D50 or D65"`
}

// Run reads the colour of marked areas from a picture with a card.
func (x *cardColourCommand) Run(c *call) error {
	in, err := x.input()
	if err != nil {
		return err
	}
	raw, err := json.Marshal(in)
	if err != nil {
		return err
	}
	printed, err := c.calculate(scoring.MethodCard, raw)
	if err != nil {
		return err
	}
	if c.json {
		return printJSON(c.Stdout, json.RawMessage(printed))
	}
	var out scoring.CardResult
	if err := json.Unmarshal(printed, &out); err != nil {
		return err
	}
	return c.print(out, func(w io.Writer) { writeCardColour(w, &out) })
}

// input measures the picture where it is marked.
func (x *cardColourCommand) input() (in map[string]any, err error) {
	marks, err := readMarks(x.Marks)
	if err != nil {
		return nil, err
	}
	list := make([]picture.Mark, len(marks))
	for i, m := range marks {
		list[i] = m.Mark
	}
	f, err := openInput(x.Picture)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	light, err := picture.Light(f, filepath.Base(x.Picture), list, picture.Limits{})
	if err != nil {
		return nil, err
	}
	patches, areas := []scoring.CardPatch{}, []scoring.CardSample{}
	for i, s := range light {
		sample := scoring.CardSample{ID: s.ID, Pixels: s.Pixels, Linear: s.Linear[:], SD: s.SD[:], Clipped: s.Clipped}
		if lab := marks[i].Lab; lab != nil {
			patches = append(patches, scoring.CardPatch{CardSample: sample, Lab: scoring.Lab{L: lab[0], A: lab[1], B: lab[2]}})
		} else {
			areas = append(areas, sample)
		}
	}
	return map[string]any{"white": x.White, "patches": patches, "areas": areas}, nil
}

func readMarks(name string) (marks []importers.CardMark, err error) {
	f, err := openInput(name)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return importers.ReadCardMarks(f, importers.Options{File: filepath.Base(name)})
}

func writeCardColour(w io.Writer, r *scoring.CardResult) {
	for _, a := range r.Areas {
		fmt.Fprintf(w, "%s: L %.1f ± %.1f, a %.1f ± %.1f, b %.1f ± %.1f (%s)\n", a.ID, a.Lab.L, a.Uncertainty.L, a.Lab.A, a.Uncertainty.A, a.Lab.B, a.Uncertainty.B, r.White)
		for _, s := range a.Cautions {
			wrap(w, "  "+s, "  ")
		}
	}
	fmt.Fprintf(w, "Patches left out of the fit are missed by %.1f in the mean, %.1f at worst (%s), CIEDE2000.\n", r.LeftOut.Mean, r.LeftOut.Worst, r.LeftOut.Patch)
	for _, s := range r.Cautions {
		wrap(w, s, "  ")
	}
}
