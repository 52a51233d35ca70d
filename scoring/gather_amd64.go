package scoring

import "golang.org/x/sys/cpu"

// gather8AVX is gather8 on four cells at a time; see gather_amd64.s.
//
//go:noescape
func gather8AVX(out *float64, n int, s *[8][]float64, p *[8]float64)

// gatherWide does as many cells as it can of gather8, and says how many.
func gatherWide(out []float64, s *[8][]float64, p *[8]float64) int {
	n := len(out) &^ 3
	if n == 0 || !cpu.X86.HasAVX {
		return 0
	}
	gather8AVX(&out[0], n, s, p)
	return n
}
