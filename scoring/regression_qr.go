package scoring

import "math"

// Least squares by Householder's reflections, block by block: a block of rows
// is folded into the triangle R of all rows before it, and only R is kept. The
// result is that of one factorisation of the whole matrix, as accurate, faster
// because a block stays in the processor's cache, and the same to the last bit
// on every processor, which a library that picks its instructions by processor
// does not promise. Sources: G. Golub, Numerical methods for solving linear
// least squares problems, 1965; J. Demmel, L. Grigori, M. Hoemmen and J.
// Langou, Communication-optimal parallel and sequential QR and LU
// factorizations, 2012 (the flat tree).

// blockRows is how many rows are folded at once.
const blockRows = 128

// triangle is the factor R of the rows folded so far; the last column is the
// response, so the last element on the diagonal is the norm of the residuals,
// but for its sign.
type triangle struct {
	columns int         // with the response
	r       [][]float64 // r[j][k] for k ≥ j
	block   [][]float64 // by column
	filled  int
}

func newTriangle(columns int) *triangle {
	t := &triangle{columns: columns, r: make([][]float64, columns), block: make([][]float64, columns)}
	for j := range columns {
		t.r[j] = make([]float64, columns)
		t.block[j] = make([]float64, blockRows)
	}
	return t
}

// row returns the place where the next row is to be written: at(j) is its
// element in column j.
func (t *triangle) row() int {
	if t.filled == blockRows {
		t.fold()
	}
	t.filled++
	return t.filled - 1
}

// fold reflects the rows of the block into R.
func (t *triangle) fold() {
	n := t.filled
	t.filled = 0
	if n == 0 {
		return
	}
	for j := range t.columns {
		v := t.block[j][:n]
		below := dot(v, v)
		if below == 0 {
			continue
		}
		row := t.r[j]
		alpha := row[j]
		norm := math.Sqrt(float64(alpha*alpha) + below)
		if alpha > 0 {
			norm = -norm
		}
		head := alpha - norm // signs differ: nothing is lost
		half := float64(norm * head)
		row[j] = norm
		for k := j + 1; k < t.columns; k++ {
			u := t.block[k][:n]
			w := (float64(head*row[k]) + dot(v, u)) / half
			row[k] += float64(w * head)
			add(u, w, v)
		}
	}
}

// dot is Σ aᵢbᵢ in four sums, so that the processor need not wait for each.
func dot(a, b []float64) float64 {
	var s0, s1, s2, s3 float64
	for len(a) >= 4 && len(b) >= 4 {
		s0 += float64(a[0] * b[0])
		s1 += float64(a[1] * b[1])
		s2 += float64(a[2] * b[2])
		s3 += float64(a[3] * b[3])
		a, b = a[4:], b[4:]
	}
	for i := range a {
		s0 += float64(a[i] * b[i])
	}
	return (s0 + s1) + (s2 + s3)
}

// add puts u + w v into u.
func add(u []float64, w float64, v []float64) {
	for len(u) >= 4 && len(v) >= 4 {
		u[0] += float64(w * v[0])
		u[1] += float64(w * v[1])
		u[2] += float64(w * v[2])
		u[3] += float64(w * v[3])
		u, v = u[4:], v[4:]
	}
	for i := range u {
		u[i] += float64(w * v[i])
	}
}

// solve gives the coefficients g with R g = the response, all but the last
// column and row; R must have full rank.
func (t *triangle) solve() []float64 {
	p := t.columns - 1
	g := make([]float64, p)
	for j := p - 1; j >= 0; j-- {
		sum := t.r[j][p]
		for k := j + 1; k < p; k++ {
			sum -= float64(t.r[j][k] * g[k])
		}
		g[j] = sum / t.r[j][j]
	}
	return g
}

// whiten gives the z with Rᵀ z = x, so that z·z′ = xᵀ(RᵀR)⁻¹x′.
func (t *triangle) whiten(x []float64) []float64 {
	z := make([]float64, len(x))
	for j := range x {
		sum := x[j]
		for k := range j {
			sum -= float64(t.r[k][j] * z[k])
		}
		z[j] = sum / t.r[j][j]
	}
	return z
}

// singular gives the singular values of R without its first skip and its last
// column, each column scaled to length 1, from large to small as they come, and
// for each the direction in the columns. One-sided Jacobi rotations: small
// singular values come out as accurate as large ones. Source: M. Hestenes,
// Inversion of matrices by biorthogonalization, 1958.
func (t *triangle) singular(skip int) (values []float64, directions [][]float64) {
	p := t.columns - 1 - skip
	u, v := make([][]float64, p), make([][]float64, p) // by column
	for j := range p {
		u[j], v[j] = make([]float64, p), make([]float64, p)
		v[j][j] = 1
		for i := range j + 1 {
			u[j][i] = t.r[skip+i][skip+j]
		}
		if length := math.Sqrt(dot(u[j], u[j])); length > 0 {
			for i := range u[j] {
				u[j][i] /= length
			}
		}
	}
	for range 60 {
		turned := false
		for j := range p {
			for k := j + 1; k < p; k++ {
				turned = rotate(u[j], u[k], v[j], v[k]) || turned
			}
		}
		if !turned {
			break
		}
	}
	values = make([]float64, p)
	for j := range p {
		values[j] = math.Sqrt(dot(u[j], u[j]))
	}
	return values, v
}

// rotate makes a and b orthogonal and turns c and d with them; it reports false
// when there was nothing to do.
func rotate(a, b, c, d []float64) bool {
	alpha, beta, gamma := dot(a, a), dot(b, b), dot(a, b)
	if math.Abs(gamma) <= float64(1e-16*float64(math.Sqrt(alpha)*math.Sqrt(beta))) {
		return false
	}
	zeta := (beta - alpha) / float64(2*gamma)
	tangent := 1 / (math.Abs(zeta) + math.Sqrt(1+float64(zeta*zeta)))
	if zeta < 0 {
		tangent = -tangent
	}
	cosine := 1 / math.Sqrt(1+float64(tangent*tangent))
	sine := float64(cosine * tangent)
	turn := func(x, y []float64) {
		for i, v := range x {
			x[i] = float64(cosine*v) - float64(sine*y[i])
			y[i] = float64(sine*v) + float64(cosine*y[i])
		}
	}
	turn(a, b)
	turn(c, d)
	return true
}
