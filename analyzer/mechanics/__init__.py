"""How stitching moves the cloth: membrane, stitch law, sewing sequence, drift, gaps, pull-in and pucker.

:func:`prepare` lays out one design's stitching over its hoop once; :func:`respond` computes how one stack answers it,
nominally and over the common draws of what is uncertain. :class:`Membrane` is the plane problem by itself.
"""

from analyzer.mechanics.membrane import Membrane

__all__ = ["Membrane"]
