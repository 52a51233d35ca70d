#include "textflag.h"

// func gather8AVX(out *float64, n int, s *[8][]float64, p *[8]float64)
//
// Four cells a turn; n is a multiple of 4 above 0. The products and sums are
// those of gather8 in the same order and without fused steps, so the bits agree.
TEXT ·gather8AVX(SB), NOSPLIT, $0-32
	MOVQ out+0(FP), DI
	MOVQ n+8(FP), CX
	MOVQ s+16(FP), SI
	MOVQ p+24(FP), DX
	VBROADCASTSD 0(DX), Y8
	VBROADCASTSD 8(DX), Y9
	VBROADCASTSD 16(DX), Y10
	VBROADCASTSD 24(DX), Y11
	VBROADCASTSD 32(DX), Y12
	VBROADCASTSD 40(DX), Y13
	VBROADCASTSD 48(DX), Y14
	VBROADCASTSD 56(DX), Y15
	// A slice takes 24 bytes, its address first.
	MOVQ 0(SI), R8
	MOVQ 24(SI), R9
	MOVQ 48(SI), R10
	MOVQ 72(SI), R11
	MOVQ 96(SI), R12
	MOVQ 120(SI), R13
	MOVQ 144(SI), AX
	MOVQ 168(SI), BX
	XORQ DX, DX

turn:
	VMULPD (R8)(DX*1), Y8, Y0
	VMULPD (R9)(DX*1), Y9, Y1
	VMULPD (R10)(DX*1), Y10, Y2
	VMULPD (R11)(DX*1), Y11, Y3
	VMULPD (R12)(DX*1), Y12, Y4
	VMULPD (R13)(DX*1), Y13, Y5
	VMULPD (AX)(DX*1), Y14, Y6
	VMULPD (BX)(DX*1), Y15, Y7
	VADDPD Y1, Y0, Y0
	VADDPD Y3, Y2, Y2
	VADDPD Y5, Y4, Y4
	VADDPD Y7, Y6, Y6
	VADDPD Y2, Y0, Y0
	VADDPD Y6, Y4, Y4
	VADDPD Y4, Y0, Y0
	VMOVUPD Y0, (DI)(DX*1)
	ADDQ $32, DX
	SUBQ $4, CX
	JNZ  turn
	VZEROUPPER
	RET
