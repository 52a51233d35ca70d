package workshop

import (
	"bytes"
	"context"
	"io"
	"slices"

	"example.org/asfound/catalog"
	"example.org/asfound/registry"
)

// Visit is what a surveyor brings back from one stop on the way round: answers,
// joints and pictures, any of which may be missing. Survey and Joints name under
// Supersedes the entries that the surveyor saw when they began.
type Visit struct {
	Survey   *registry.Survey
	Joints   []*registry.Joint
	Pictures []NewPicture
}

// NewPicture is a picture that has been looked at and is not kept yet.
type NewPicture struct {
	Photo    *registry.Photo
	Original io.Reader
	Preview  []byte
}

// Visited says what became of a visit.
type Visited struct {
	Receipt
	// Kept is how many pictures were recorded.
	Kept int
}

// RecordVisit records a visit in one commit: answers, joints and pictures, or
// none of them. What says the same as the record already does is not recorded
// again. A correction keeps the signs and the pictures of the entry that it
// corrects, and the day for which that entry was true.
//
// There is one exception to all or none. When somebody else was faster, or the
// survey has been sealed, the pictures are recorded by themselves and the
// refusal is given back with their number: nothing is wrong with a picture, and
// it cannot be taken again.
func (w *Workshop) RecordVisit(ctx context.Context, req Request, v Visit) (Visited, error) {
	if req.Key == "" {
		req.Key = w.NewID()
	}
	photos, ids, err := w.keepAll(ctx, v.Pictures)
	if err != nil {
		return Visited{}, err
	}
	d, err := w.replay(ctx, req.Machine)
	if err != nil {
		return Visited{}, err
	}
	bodies := append(slices.Clone(photos), news(d, v, ids)...)
	if len(bodies) == 0 {
		return Visited{Receipt: Receipt{Machine: req.Machine, Version: d.Version()}}, nil
	}
	receipt, err := w.Record(ctx, req, bodies...)
	if err == nil {
		return Visited{receipt, len(photos)}, nil
	}
	if code := registry.CodeOf(err); len(photos) == 0 || code != registry.CodeConflict && code != registry.CodeRefused {
		return Visited{}, err
	}
	req.Key += " pictures"
	if _, alone := w.Record(ctx, req, photos...); alone != nil {
		return Visited{}, alone
	}
	return Visited{Kept: len(photos)}, err
}

// keepAll stores pictures and names their records. Bytes that no record points
// at do no harm: they are found under their digest when they are sent again.
func (w *Workshop) keepAll(ctx context.Context, pictures []NewPicture) (bodies []registry.Body, ids []string, err error) {
	for _, n := range pictures {
		p := *n.Photo
		if p.Digest, p.Bytes, err = w.Photos.Put(ctx, n.Original, MaxPhotoBytes); err != nil {
			return nil, nil, err
		}
		if len(n.Preview) > 0 {
			if p.Preview, _, err = w.Photos.Put(ctx, bytes.NewReader(n.Preview), MaxPhotoBytes); err != nil {
				return nil, nil, err
			}
		}
		w.name(&p)
		bodies, ids = append(bodies, &p), append(ids, p.ID)
	}
	return bodies, ids, nil
}

// news lists what of a visit is not on record yet.
func news(d *registry.Dossier, v Visit, photos []string) []registry.Body {
	var out []registry.Body
	reader := NewReader(d, false)
	if v.Survey != nil {
		if live, ok := d.SurveyOf(v.Survey.Component); !ok || !sameAnswers(reader, live.Record, v.Survey) {
			s := *v.Survey
			if old, ok := registry.Get[*registry.Survey](d, s.Supersedes); ok {
				s.Signs, s.Custody, s.Photos, s.Valid = old.Record.Signs, old.Record.Custody, slices.Clone(old.Record.Photos), old.Record.Valid
				if s.Read.Value == old.Record.Read.Value {
					s.Read = old.Record.Read
				}
			}
			s.Photos = append(s.Photos, photos...)
			out = append(out, &s)
		}
	}
	for _, given := range v.Joints {
		j := *given
		if live, ok := JointOf(d, j.Joint); ok {
			if live.Record.Witness == j.Witness && reader.Text(live.Record.Sign) == j.Sign {
				continue
			}
			j.Components, j.Photos, j.Note = live.Record.Components, live.Record.Photos, live.Record.Note
		}
		out = append(out, &j)
	}
	return out
}

// sameAnswers says whether what was said anew is what stands on record. Who says
// so, and on what day, makes no difference.
func sameAnswers(reader Reader, on, said *registry.Survey) bool {
	return on.Origin == said.Origin && on.Finish == said.Finish && on.Specification == said.Specification && on.Function == said.Function &&
		reader.Text(on.Note) == said.Note && on.Read.Value == said.Read.Value &&
		(on.Condition == nil) == (said.Condition == nil) && (on.Condition == nil || *on.Condition == *said.Condition)
}

// JointOf gives the live record of a joint by the joint's own name.
func JointOf(d *registry.Dossier, name string) (registry.Found[*registry.Joint], bool) {
	for _, j := range registry.Live[*registry.Joint](d) {
		if j.Record.Joint == name {
			return j, true
		}
	}
	return registry.Found[*registry.Joint]{}, false
}

// TakeBack undoes a survey entry, a joint or a picture that was saved by slip.
// What corrected an earlier entry is corrected back to it; anything else is
// withdrawn. The slip stays readable in the history. CodeNotFound when the
// record is none of these or no longer in force, CodeRefused after the seal.
func (w *Workshop) TakeBack(ctx context.Context, req Request, record, by string) (Receipt, error) {
	d, err := w.replay(ctx, req.Machine)
	if err != nil {
		return Receipt{}, err
	}
	e, ok := d.Entry(record)
	if !ok || !e.Live() {
		return Receipt{}, registry.Refuse(registry.CodeNotFound, "Look at what stands there now.", "There is no such entry to take back, or it was taken back already")
	}
	withdrawal := &registry.Withdrawal{Record: record, Why: "saved by slip", By: by}
	switch b := e.Body.(type) {
	case *registry.Photo:
	case *registry.Survey:
		if old, ok := d.Entry(b.Supersedes); ok {
			_, sealed := d.Seal()
			if before := *old.Body.(*registry.Survey); !sealed && before.Component == b.Component {
				before.Common = registry.Common{Valid: before.Valid, Note: before.Note, Supersedes: record}
				return w.Record(ctx, req, &before)
			}
		}
	case *registry.Joint:
		if old, ok := d.Entry(b.Supersedes); ok {
			before := *old.Body.(*registry.Joint)
			before.Common = registry.Common{Valid: before.Valid, Note: before.Note, Supersedes: record}
			return w.Record(ctx, req, &before)
		}
	default:
		return Receipt{}, registry.Refuse(registry.CodeNotFound, "Only survey entries, joints and pictures are taken back here.", "There is no such entry to take back")
	}
	return w.Record(ctx, req, withdrawal)
}

// SurveyWay is the way round a machine, and how far it has been gone.
type SurveyWay struct {
	Stops    []Stop
	Pictures []ListedPicture
	// Last is the component that was surveyed last, "" before the first.
	Last string
}

// Stop is one component on the way.
type Stop struct {
	catalog.Component
	Surveyed bool
}

// Inside says that only an opening would show it.
func (s Stop) Inside() bool { return s.Station == catalog.StationInside }

// ListedPicture is one picture of the fixed list.
type ListedPicture struct {
	catalog.Photo
	Taken int // how many pictures on record are of it
}

// SurveyWay reads how far the survey is. Components that this type never had
// are not on the way.
func (w *Workshop) SurveyWay(ctx context.Context, machine string) (*SurveyWay, error) {
	d, err := w.Load(ctx, machine, At{})
	if err != nil {
		return nil, err
	}
	way := &SurveyWay{}
	surveyed, last := map[string]bool{}, uint64(0)
	for _, s := range registry.Live[*registry.Survey](d) {
		surveyed[s.Record.Component] = true
		if s.Version > last {
			last, way.Last = s.Version, s.Record.Component
		}
	}
	for _, c := range w.Catalog.ComponentsRound() {
		if !d.NotFitted(c.ID) {
			way.Stops = append(way.Stops, Stop{c, surveyed[c.ID]})
		}
	}
	taken := map[string]int{}
	for _, p := range registry.Live[*registry.Photo](d) {
		taken[p.Record.Listed]++
	}
	for _, p := range w.Catalog.PictureList() {
		way.Pictures = append(way.Pictures, ListedPicture{p, taken[p.ID]})
	}
	return way, nil
}

// Next is the first stop after a component that is not surveyed and can be seen
// from outside, going on from the beginning when the end is reached; false when
// there is none. An unknown or empty component begins at the beginning.
func (v *SurveyWay) Next(after string) (Stop, bool) {
	begin := slices.IndexFunc(v.Stops, func(s Stop) bool { return s.ID == after }) + 1
	for i := range v.Stops {
		s := v.Stops[(begin+i)%len(v.Stops)]
		if !s.Surveyed && !s.Inside() && s.ID != after {
			return s, true
		}
	}
	return Stop{}, false
}

// NextPicture is the first place of the list after n (from 1; 0 begins) that no
// picture fills, going on from the beginning; false when all are filled.
func (v *SurveyWay) NextPicture(n int) (int, bool) {
	for i := range v.Pictures {
		at := (max(n, 0) + i) % len(v.Pictures)
		if v.Pictures[at].Taken == 0 && at+1 != n {
			return at + 1, true
		}
	}
	return 0, false
}
