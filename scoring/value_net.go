package scoring

import "math"

// joint is the joint posterior of the logarithm of the level before and of the
// change of the logarithm by an act: a bivariate Student-t.
type joint struct {
	level, change float64 // locations
	a, b, d       float64 // the scale matrix [[a b] [b d]], times sd²
	sd, df        float64
}

// fall is the probability that the act lowers the level.
func (j joint) fall() float64 {
	if j.d == 0 {
		return 0
	}
	return studentBelow(-j.change/float64(j.sd*math.Sqrt(j.d)), j.df)
}

// loss is the probability that the gain is below the cost.
func (j joint) loss(cost float64) float64 {
	if j.d == 0 {
		if cost > 0 {
			return 1
		}
		return 0
	}
	return j.below(cost)
}

// below is P(after − before ≤ k). Given the change v, which is a Student-t with
// df degrees of freedom, the level before is a Student-t with one more, so that
//
//	P = ∫ f(v) P(level·(eᵛ−1) ≤ k | v) dv
//
// has its inner probability in closed form. The outer integral runs over
// s = z/√(df + z²), z the standardised change, which makes the range finite and
// the density C(1−s²)^(df/2−1); it is cut at v = 0, where the inner probability
// changes its form. It is right to about 1e−10.
func (j joint) below(k float64) float64 {
	scale := float64(j.sd * math.Sqrt(j.d))
	slope := j.b / j.d
	spread := float64(j.sd * math.Sqrt((j.a-float64(slope*j.b))/(j.df+1)))
	logC := halfGamma(j.df/2) - float64(logarithm(math.Pi)/2)
	f := func(s float64) float64 {
		rest := float64((1 - s) * (1 + s))
		if rest <= 0 {
			return 0
		}
		z := float64(math.Sqrt(j.df)*s) / math.Sqrt(rest)
		v := j.change + float64(scale*z)
		density := exponential(logC + float64((j.df/2-1)*logarithm(rest)))
		if density == 0 {
			return 0
		}
		growth := v // ln |eᵛ − 1|
		if v < 40 {
			growth = logarithm(math.Abs(exponentialMinusOne(v)))
		}
		t := (logarithm(math.Abs(k)) - growth - j.level - float64(slope*(v-j.change))) /
			float64(spread*math.Sqrt(j.df+float64(z*z)))
		if k < 0 {
			t = -t
		}
		return float64(density * studentBelow(t, j.df+1))
	}
	zero := -j.change / scale // the standardised change that changes nothing
	cut := zero / math.Sqrt(j.df+float64(zero*zero))
	if k < 0 {
		return integral(f, -1, min(cut, 0)) + integral(f, min(cut, 0), cut)
	}
	p := studentBelow(zero, j.df)
	if k > 0 {
		p += integral(f, cut, max(cut, 0)) + integral(f, max(cut, 0), 1)
	}
	return p
}

// quantile is the k with P(after − before ≤ k) = p, to about 1e−9 in p or
// 1e−12 of the level: bracketed, then found by false position in the Illinois
// form with a halving now and then.
func (j joint) quantile(p float64) float64 {
	if j.d == 0 {
		return 0
	}
	// Begin at the level's median times the change's quantile.
	level, scale := exponential(j.level), float64(j.sd*math.Sqrt(j.d))
	middle := float64(level * exponentialMinusOne(min(j.change+float64(scale*studentQuantile(p, j.df)), 300)))
	step := float64(level*min(scale, 1)) / 4
	low, high := middle-step, middle+step
	pLow, pHigh := j.below(low)-p, j.below(high)-p
	for range 60 {
		if pLow <= 0 {
			break
		}
		step = float64(step * 2)
		low, pLow, high, pHigh = low-step, j.below(low-step)-p, low, pLow
	}
	for range 60 {
		if pHigh >= 0 {
			break
		}
		step = float64(step * 2)
		high, pHigh, low, pLow = high+step, j.below(high+step)-p, high, pHigh
	}
	side := 0
	for turn := range 300 {
		width := high - low
		if width <= float64(1e-12*level) || pHigh == pLow {
			break
		}
		k := low - float64(pLow*(width/(pHigh-pLow)))
		if turn%4 == 3 {
			k = low + width/2
		}
		switch v := j.below(k) - p; {
		case math.Abs(v) < 1e-10:
			return k
		case v < 0:
			low, pLow = k, v
			if side == -1 {
				pHigh /= 2
			}
			side = -1
		default:
			high, pHigh = k, v
			if side == 1 {
				pLow /= 2
			}
			side = 1
		}
	}
	return low + (high-low)/2
}

// Nodes and weights of Kronrod's rule of fifteen points, and the weights of
// Gauss' rule of seven within it. Source: R. Piessens and others, QUADPACK,
// 1983.
var (
	kronrodNodes   = [8]float64{0.991455371120812639206854697526329, 0.949107912342758524526189684047851, 0.864864423359769072789712788640926, 0.741531185599394439863864773280788, 0.586087235467691130294144691693129, 0.405845151377397166906606412076961, 0.207784955007898467600689403773245, 0}
	kronrodWeights = [8]float64{0.022935322010529224963732008058970, 0.063092092629978553290700663189204, 0.104790010322250183839876322541518, 0.140653259715525918745189590510238, 0.169004726639267902826583426598550, 0.190350578064785409913256402421014, 0.204432940075298892414161999234649, 0.209482141084727828012999174891714}
	gaussWeights   = [4]float64{0.129484966168869693270611432679082, 0.279705391489276667901467771423780, 0.381830050505118944950369775488975, 0.417959183673469387755102040816327}
)

// integral halves its range until the two rules agree to 1e−11, at most forty
// times over.
func integral(f func(float64) float64, from, to float64) float64 { return halved(f, from, to, 40) }

func halved(f func(float64) float64, from, to float64, depth int) float64 {
	if !(to > from) {
		return 0
	}
	half, middle := (to-from)/2, from+(to-from)/2
	fine, coarse := 0.0, 0.0
	for i, node := range kronrodNodes {
		v := f(middle + float64(half*node))
		if node != 0 {
			v += f(middle - float64(half*node))
		}
		fine += float64(kronrodWeights[i] * v)
		if i%2 == 1 {
			coarse += float64(gaussWeights[i/2] * v)
		}
	}
	if depth == 0 || float64(half*math.Abs(fine-coarse)) < 1e-11 {
		return float64(half * fine)
	}
	return halved(f, from, middle, depth-1) + halved(f, middle, to, depth-1)
}
