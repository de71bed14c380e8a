"""How stitching moves the cloth: membrane, stitch law, sewing sequence, drift, gaps, pull-in and pucker.

:func:`prepare` lays out one design's stitching over its hoop once; :func:`respond` computes how one stack
answers it, nominally and over the common draws of what is uncertain, :func:`scan` how several do, quickly.
:func:`counter` finds the moves that bring the stitches, sewn, to where the file means them. :func:`course`
tells how the cloth lies on the way.
:class:`Membrane` is the plane problem by itself.
"""

from analyzer.mechanics.against import against_drift
from analyzer.mechanics.counter import PASSES, Miss, Moves, Reason, counter, moved_design
from analyzer.mechanics.course import Course, at_points, course
from analyzer.mechanics.membrane import Membrane
from analyzer.mechanics.respond import Earlier, respond
from analyzer.mechanics.scan import Lead, Scanned, scan
from analyzer.mechanics.sewing import Sewing, prepare
from analyzer.mechanics.types import ColumnDraws, GapDraws, PuckerDraws, PullIn, Response, Unhooped

__all__ = [
    "PASSES",
    "ColumnDraws",
    "Course",
    "Earlier",
    "GapDraws",
    "Lead",
    "Membrane",
    "Miss",
    "Moves",
    "PuckerDraws",
    "PullIn",
    "Reason",
    "Response",
    "Scanned",
    "Sewing",
    "Unhooped",
    "against_drift",
    "at_points",
    "counter",
    "course",
    "moved_design",
    "prepare",
    "respond",
    "scan",
]
