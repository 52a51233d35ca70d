package scoring

import "math"

// fitted is a least-squares problem, solved. Every column was shifted by a
// number near its mean and scaled by a power of two, which is exact, so that
// no figure depends on where a scale begins or on its unit.
type fitted struct {
	intercept     bool      // the first column is 1 everywhere
	centre, scale []float64 // of the columns of the input
	yCentre       float64
	yScale        float64
	n             int
	t             *triangle
	gamma         []float64 // coefficients of the shifted and scaled columns
}

// design is what fit needs: the rows, which all have one length, and a prior.
type design struct {
	x         [][]float64
	y         []float64
	width     int // columns of x
	intercept bool
	// pseudo are the prior's rows: mean and weight (σ₀/sd) for each
	// coefficient, the intercept first; none when nil.
	mean, weight []float64
}

// powerOfTwo is the power of two just above v, 1 for 0.
func powerOfTwo(v float64) float64 {
	if v == 0 {
		return 1
	}
	_, e := math.Frexp(v)
	return math.Ldexp(1, e)
}

// middle gives a number near the mean of each column, exactly the value of a
// constant one, and the power of two above the largest distance from it.
func middle(rows [][]float64, width int, shift bool) (centre, scale []float64) {
	centre, scale = make([]float64, width), make([]float64, width)
	low, high := make([]float64, width), make([]float64, width)
	low, high, centre = low[:width], high[:width], centre[:width]
	for i, row := range rows {
		row = row[:width]
		if i == 0 {
			copy(low, row)
			copy(high, row)
		}
		for j, v := range row {
			centre[j] += v
			if v < low[j] {
				low[j] = v
			}
			if v > high[j] {
				high[j] = v
			}
		}
	}
	for j := range centre {
		centre[j] /= float64(max(1, len(rows)))
		switch {
		case !shift:
			centre[j] = 0
		case low[j] == high[j]:
			centre[j] = low[j]
		}
		scale[j] = powerOfTwo(max(high[j]-centre[j], centre[j]-low[j]))
	}
	return centre, scale
}

// first is the place of the first column of the input: 1 after an intercept.
func (f *fitted) first() int {
	if f.intercept {
		return 1
	}
	return 0
}

// factor centres, scales and factorises; it does not solve.
func (d design) factor() *fitted {
	f := &fitted{intercept: d.intercept, n: len(d.x)}
	f.centre, f.scale = middle(d.x, d.width, d.intercept)
	f.yCentre, f.yScale = middleOf(d.y, d.intercept)
	first := f.first()
	f.t = newTriangle(first + d.width + 1)
	last := first + d.width
	for j := range d.mean {
		// weight × βⱼ = weight × mean, in terms of the shifted and scaled columns
		i := f.t.row()
		for k := range f.t.columns {
			f.t.block[k][i] = 0
		}
		w := d.weight[j]
		if d.intercept && j == 0 {
			f.t.block[0][i] = w
			for k := range d.width {
				f.t.block[1+k][i] = float64(-w*f.centre[k]) / f.scale[k]
			}
			f.t.block[last][i] = float64(w*(d.mean[0]-f.yCentre)) / f.yScale
			continue
		}
		f.t.block[j][i] = w / f.scale[j-first]
		f.t.block[last][i] = float64(w*d.mean[j]) / f.yScale
	}
	f.t.fold()
	f.copy(d)
	return f
}

// copy folds the rows of the input, a block at a time and column by column.
func (f *fitted) copy(d design) {
	first, last := f.first(), f.t.columns-1
	for from := 0; from < len(d.x); from += blockRows {
		n := min(blockRows, len(d.x)-from)
		if f.intercept {
			for i := range n {
				f.t.block[0][i] = 1
			}
		}
		for j, centre := range f.centre {
			inverse, column := 1/f.scale[j], f.t.block[first+j][:n]
			for i, row := range d.x[from : from+n] {
				column[i] = float64((row[j] - centre) * inverse)
			}
		}
		column, inverse := f.t.block[last][:n], 1/f.yScale
		for i, v := range d.y[from : from+n] {
			column[i] = float64((v - f.yCentre) * inverse)
		}
		f.t.filled = n
		f.t.fold()
	}
}

func middleOf(y []float64, shift bool) (centre, scale float64) {
	if len(y) == 0 {
		return 0, 1
	}
	low, high := y[0], y[0]
	for _, v := range y {
		centre += v
		low, high = min(low, v), max(high, v)
	}
	centre /= float64(len(y))
	if !shift {
		centre = 0
	} else if low == high {
		centre = low
	}
	return centre, powerOfTwo(max(high-centre, centre-low))
}

// squares is the sum of the squares of the residuals, in units of y²; with a
// prior its rows count too.
func (f *fitted) squares() float64 {
	rho := float64(f.t.r[f.t.columns-1][f.t.columns-1] * f.yScale)
	return float64(rho * rho)
}

// explained is the sum of squares that the columns take from y: about its mean
// with an intercept, about 0 without.
func (f *fitted) explained() float64 {
	sum, last := 0.0, f.t.columns-1
	for j := f.first(); j < last; j++ {
		v := float64(f.t.r[j][last] * f.yScale)
		sum += float64(v * v)
	}
	return sum
}

// place turns a row of the input into the shifted and scaled columns; step does
// so for a difference of two rows.
func (f *fitted) place(x []float64) []float64 {
	u := make([]float64, f.first(), f.first()+len(x))
	for j := range u {
		u[j] = 1
	}
	for j, v := range x {
		u = append(u, (v-f.centre[j])/f.scale[j])
	}
	return u
}

func (f *fitted) step(d []float64) []float64 {
	u := make([]float64, f.first(), f.first()+len(d))
	for j, v := range d {
		u = append(u, v/f.scale[j])
	}
	return u
}

// at is the fitted response at a place, along the fitted change over a step.
func (f *fitted) at(place []float64) float64 { return f.yCentre + f.along(place) }

func (f *fitted) along(step []float64) float64 { return float64(dot(step, f.gamma) * f.yScale) }

// coefficients gives those of the input's own columns, the intercept first,
// with the length of their directions: the standard error of each in units of
// the residual standard deviation.
func (f *fitted) coefficients() (beta, length []float64) {
	p := f.t.columns - 1
	for j := range p {
		u := make([]float64, p)
		if j < f.first() {
			u = f.place(make([]float64, p-1))
			beta = append(beta, f.at(u))
		} else {
			u[j] = 1 / f.scale[j-f.first()]
			beta = append(beta, f.along(u))
		}
		z := f.t.whiten(u)
		length = append(length, math.Sqrt(dot(z, z)))
	}
	return beta, length
}
