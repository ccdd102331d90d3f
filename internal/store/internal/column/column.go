// Package column codes a column of integers, such as the times or the counts of
// readings, in few bits each.
//
// It codes the difference of each number from a prediction. Residuals of measured values
// are small and distributed about geometrically, for which Rice codes are suited (R. F.
// Rice, "Some Practical Universal Noiseless Coding Techniques", JPL Publication 79-22,
// 1979; the code itself and the mapping of signs are FROM MEMORY). Every column is
// restored exactly. A poor prediction only makes it longer.
//
// # Format
//
// Integers of varying length are those of encoding/binary: seven bits a byte, the
// least first; "signed" ones are zigzag (0, -1, 1, -2 … as 0, 1, 2, 3). How many
// numbers a column holds is known from elsewhere. Arithmetic is modulo 2⁶⁴.
//
//	signed    v[0]
//	unsigned  g, the greatest common divisor of all v[i]−v[0]; only if there are
//	          more than one number. 0: all are equal, and nothing follows.
//	blocks    of the numbers u[i] = (v[i]−v[0])/g, i = 1, 2 …: 256 a block, the
//	          last one shorter
//
// A block:
//
//	byte      predictor in the upper two bits, k in the lower six; k = 63: every
//	          residual is 0 and no bits follow
//	signed    c (predictors Previous and Line; of Line in 1/16)
//	signed    how much the slope differs from that of the last Line before in this
//	          column, 0 at first (Line only), in 1/65536
//	bits      the residuals r = u[i]−prediction, each zigzag and then Rice coded:
//	          q = r>>k as q zeros and a one, then the k low bits of r. Where q would
//	          be 24 or more: 24 zeros, a one, and all 64 bits. The highest bit of a
//	          byte comes first, and the block's last byte is filled with zeros.
//
// Predictors, with p the number before and j = 0, 1, 2 … within the block:
//
//	0 Previous  p + c
//	1 Line      (u before the block) + ((4096·c + slope·(j+1) + 32768) >> 16)
//	2 Smooth    (m + 8) >> 4, where m begins as 16·(u before the block) and
//	            becomes m + ((16·u[i] − m) >> 2) after each number
package column

// BlockSize is how many numbers share a predictor and a Rice parameter.
const BlockSize = 256

const (
	previous = iota
	line
	smooth
	predictors
)

const (
	allZero        = 63 // the k of a block without bits
	maxZeros       = 24 // number of zeros that begins an escaped residual
	slopeBits      = 16 // fractional bits of a slope
	interceptShift = 12 // fractional bits of a slope less those of an intercept
	half           = 1 << (slopeBits - 1)
)

func zigzag(x int64) uint64   { return uint64(x<<1) ^ uint64(x>>63) }
func unzigzag(z uint64) int64 { return int64(z>>1) ^ -int64(z&1) }

// smoothed returns the state of Smooth after a number.
func smoothed(m, u int64) int64 { return m + (u<<4-m)>>2 }

func predicted(m int64) int64 { return (m + 8) >> 4 }
