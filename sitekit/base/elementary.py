"""Arc tangent, logarithm and power of two as plain arithmetic, for kernels that run over rows of cells.

The mathematical library of a system may give other last bits than the next one, and a call into it keeps a loop from
being vectorised. These are polynomials in float64 (Chebyshev interpolation, fitted with numpy 2.4; the largest error
over the stated range was computed on 400,001 points and stands beside each), made of additions, multiplications,
divisions and bit patterns only, so that the answer is the same on every IEEE 754 processor.
"""

from __future__ import annotations

import numpy as np

from sitekit.base.compiled import compiled

_TWO_52 = 4503599627370496.0
_TWO_52_BITS = 0x4330000000000000
LOWEST_LOG2 = -1.0e30  # stands for the logarithm of zero; finite, so that zero weight times it stays zero


@compiled
def arctan_unit(t: float) -> float:
    """Arc tangent of `t` from 0 to 1 [radians]; largest error 1.2e-11."""
    u = t * t
    p = 0.00041923393867625194
    p = p * u - 0.003195461834616629
    p = p * u + 0.011427729645781124
    p = p * u - 0.02600614172204219
    p = p * u + 0.043646729133535726
    p = p * u - 0.06022205218890623
    p = p * u + 0.07495266091119122
    p = p * u - 0.09049180114773321
    p = p * u + 0.11105306907877154
    p = p * u - 0.1428522562534094
    p = p * u + 0.19999978337002625
    p = p * u - 0.33333332951665584
    p = p * u + 0.999999999988737
    return p * t


@compiled
def arctan_positive(t: float) -> float:
    """Arc tangent of any `t` ≥ 0 [radians]; largest error 1.2e-11."""
    steep = t > 1.0
    a = arctan_unit(1.0 / t if steep else t)
    return 1.5707963267948966 - a if steep else a


@compiled
def bearing(east: float, north: float) -> float:
    """Compass direction of a vector [degrees], 0 = north, clockwise, 0 ≤ value < 360; (0, 0) gives 0."""
    e = abs(east)
    n = abs(north)
    big = max(e, n)
    small = min(e, n)
    a = arctan_unit(small / (big if big > 0.0 else 1.0)) * 57.29577951308232
    a = 90.0 - a if e > n else a
    a = 180.0 - a if north < 0.0 else a
    a = 360.0 - a if east < 0.0 else a
    return 0.0 if a >= 360.0 else a


@compiled
def log2(x: float) -> float:
    """Logarithm to base 2 of `x` ≥ 0; largest error 1e-15 relative to max(1, |answer|); below 2e-308: `LOWEST_LOG2`."""
    bits = np.float64(x).view(np.uint64)
    # exponent of x / √½ with 1023 added, so that the mantissa lies in [√½, √2)
    raised = np.uint64(bits + np.uint64(0x00095F619980C433)) >> np.uint64(52)
    mantissa = np.uint64(bits - (raised << np.uint64(52)) + np.uint64(0x3FF0000000000000)).view(np.float64)
    # a whole number below 2⁵² in the low bits of 2⁵² is that number: no conversion, which many processors do singly
    exponent = np.uint64(raised | np.uint64(_TWO_52_BITS)).view(np.float64) - (_TWO_52 + 1023.0)
    s = (mantissa - 1.0) / (mantissa + 1.0)
    v = s * s
    p = 0.24525049960335565
    p = p * v + 0.2612307670988419
    p = p * v + 0.32062374208945776
    p = p * v + 0.41219828502106515
    p = p * v + 0.5770780180815508
    p = p * v + 0.9617966939222711
    p = p * v + 2.8853900817779277
    return exponent + p * s if x > 2.2250738585072014e-308 else LOWEST_LOG2


@compiled
def exp2(x: float) -> float:
    """Two to the power `x` ≤ 0; largest relative error 2e-15; 0 below −1000."""
    tame = max(x, -1000.0)
    whole = np.floor(tame)
    f = tame - whole
    p = 9.7104930318892e-09
    p = p * f + 9.58134478423745e-08
    p = p * f + 1.3287387446325735e-06
    p = p * f + 1.5247588112288208e-05
    p = p * f + 0.0001540375490815649
    p = p * f + 0.001333355229356137
    p = p * f + 0.009618129192670842
    p = p * f + 0.055504108658911595
    p = p * f + 0.24022650695923717
    p = p * f + 0.693147180559945
    raised = np.float64(whole + (_TWO_52 + 1023.0)).view(np.uint64)  # whole + 1023 in the low bits
    scale = np.uint64(raised << np.uint64(52)).view(np.float64)
    return (1.0 + p * f) * scale if x >= -1000.0 else 0.0
