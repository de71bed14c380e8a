"""Where the machine halts and waits."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Bools
from analyzer.design import Command, Design


def halts(design: Design) -> Bools:
    """Return before which penetrations the machine halts, for a stop or for a change of thread, (m,)."""
    asked = (design.kinds == Command.STOP) | (design.kinds == Command.COLOUR_CHANGE)
    so_far = np.cumsum(asked)[design.kinds == Command.STITCH]
    found = np.zeros(len(so_far), dtype=np.bool_)
    found[1:] = np.diff(so_far) > 0
    return found
