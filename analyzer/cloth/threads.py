"""Which stitches lie on the cloth as thread."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Bools
from analyzer.design import Design
from analyzer.goods.constants import constants


def on_cloth(design: Design) -> Bools:
    """Return, for each penetration, whether the stitch that ends there lies on the cloth; (m,).

    A stitch needs thread that is not cut. Uncut thread carried over a jump longer than ``float_mm`` is a
    float: it hangs loose and is snipped off after sewing, so it covers nothing and holds nothing. Where the
    stitch before or after was jumped too, the jumps are the format's way to hold long stitches (wide satin),
    and the thread counts.
    """
    jumped = design.joined & design.jumped
    beside = np.zeros_like(jumped)
    beside[1:] |= jumped[:-1]
    beside[:-1] |= jumped[1:]
    floats = jumped & ~beside & (design.lengths_mm > constants("cloth")["float_mm"].value)
    return design.joined & ~floats
