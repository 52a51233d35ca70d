package scoring

import "sort"

// A hump is told from its neighbour at a resolution of about 0.03 in the
// index: the distribution is gathered into 100 bins of 0.01 and smoothed by a
// triangle that reaches 0.02 to either side. The distribution is exact, not
// sampled, so that even a shallow valley is real.
const (
	humpBins  = 100
	humpReach = 2
	// A valley must fall below this share of the lower peak beside it.
	humpValley = 0.9
	// A hump holds at least this probability.
	humpMass = 0.05
)

// Hump is one hump of a distribution: "most likely 0.94; a tenth of the
// probability sits near 0.80".
type Hump struct {
	// At is the mean of the index within about 0.025 of the peak.
	At float64 `json:"at"`
	// Mass is the probability of the whole hump, from valley to valley.
	Mass float64 `json:"mass"`
}

// humps finds the humps from low to high. Neighbours that no clear valley
// parts are one, and a hump below humpMass belongs to the neighbour across its
// higher valley. The masses sum to 1.
func humps(s *spread, total float64) []Hump {
	mass, moment := s.bins(total)
	var smooth [humpBins]float64
	for i := range smooth {
		for j := max(0, i-humpReach); j <= min(humpBins-1, i+humpReach); j++ {
			share := humpReach + 1 - (i - j)
			if j > i {
				share = humpReach + 1 - (j - i)
			}
			smooth[i] += float64(mass[j] * float64(share))
		}
	}

	// Cut the bins at every valley, then join what is not parted clearly.
	type slice struct {
		from, to, peak int // bins from ≤ peak < to
		mass           float64
	}
	var cut []slice
	for i := 0; i < humpBins; {
		top := i
		for top+1 < humpBins && smooth[top+1] >= smooth[top] {
			top++
		}
		end := top + 1
		for end < humpBins && smooth[end] <= smooth[end-1] {
			end++
		}
		c := slice{from: i, to: end, peak: top}
		for j := i; j < end; j++ {
			c.mass += mass[j]
		}
		cut = append(cut, c)
		i = end
	}
	// A valley is as deep as the lowest bin on either side of the cut.
	valley := func(i int) float64 { return min(smooth[cut[i].to-1], smooth[cut[i].to]) }
	join := func(i int) {
		a, b := cut[i], cut[i+1]
		a.to, a.mass = b.to, a.mass+b.mass
		if smooth[b.peak] > smooth[a.peak] {
			a.peak = b.peak
		}
		cut[i] = a
		cut = append(cut[:i+1], cut[i+2:]...)
	}
	for {
		worst, at := humpValley, -1
		for i := 0; i+1 < len(cut); i++ {
			lower := min(smooth[cut[i].peak], smooth[cut[i+1].peak])
			if depth := valley(i) / lower; depth > worst { // every peak is above 0
				worst, at = depth, i
			}
		}
		if at < 0 {
			break
		}
		join(at)
	}
	for len(cut) > 1 {
		small := 0
		for i := range cut {
			if cut[i].mass < cut[small].mass {
				small = i
			}
		}
		if cut[small].mass >= humpMass {
			break
		}
		switch {
		case small == 0:
			join(0)
		case small == len(cut)-1 || valley(small-1) >= valley(small):
			join(small - 1)
		default:
			join(small)
		}
	}

	out := make([]Hump, 0, len(cut))
	for _, c := range cut {
		near, sum := 0.0, 0.0
		for j := max(c.from, c.peak-humpReach); j <= min(c.to-1, c.peak+humpReach); j++ {
			near += mass[j]
			sum += moment[j]
		}
		if near > 0 {
			out = append(out, Hump{At: unit(sum / near), Mass: unit(c.mass)})
		}
	}
	return out
}

// bins gives the probability in each bin of the index, and Σ p·v of its
// values.
func (s *spread) bins(total float64) (mass, moment [humpBins]float64) {
	value := func(k int) float64 { return unit(s.at(k) / total) }
	// 1e-9 keeps a value that should stand on an edge in the upper bin.
	bin := func(k int) int { return min(int(float64(value(k)*humpBins)+1e-9), humpBins-1) }
	for from := 0; from < len(s.p); {
		// The values rise, so the bin's end can be found by halving.
		b := bin(from)
		to := from + sort.Search(len(s.p)-from, func(i int) bool { return bin(from+i) > b })
		sum, steps := 0.0, 0.0
		for k, p := range s.p[from:to] {
			sum += p
			steps += float64(p * float64(k))
		}
		mass[b] += sum
		moment[b] += float64(sum*value(from)) + float64(steps*(s.step/total))
		from = to
	}
	return mass, moment
}
