"""The stitch-by-stitch model: a virtual sew-out of one piece of stitching on an unbounded sheet.

:func:`sew_out` draws every stitch tight by a dead load and locks it as a tie that can pull but not push.
The law of one stitch on a grid (:mod:`analyzer.mechanics.law`) is held to it; it can also stand in for a
sewn sample.
"""

from analyzer.mechanics.stitchwise.kernel import Kernel, isotropic_kernel, kernel, orthotropic_kernel
from analyzer.mechanics.stitchwise.sewing import SewOut, Thread, sew_out

__all__ = ["Kernel", "SewOut", "Thread", "isotropic_kernel", "kernel", "orthotropic_kernel", "sew_out"]
