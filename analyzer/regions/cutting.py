"""``cut``: from a design to its regions."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Ints, frozen
from analyzer.at_rest import collector_at_rest
from analyzer.design import Design
from analyzer.goods.constants import constants
from analyzer.regions.applique import find_appliques
from analyzer.regions.base import find_bases
from analyzer.regions.curves import curved_fills, without_base
from analyzer.regions.groups import Piece, fill_gaps, find_bands
from analyzer.regions.hidden import Ground, covered_by, covered_stitches, dense_ground, hidden_share, settled
from analyzer.regions.kinds import name_kinds
from analyzer.regions.lettering import find_lettering
from analyzer.regions.measures import Measures, measure
from analyzer.regions.meshes import without_meshes
from analyzer.regions.pairs import find_pairs
from analyzer.regions.passes import split_passes
from analyzer.regions.scraps import absorb_scraps, follows
from analyzer.regions.sections import join_sections
from analyzer.regions.sewn import Sewn
from analyzer.regions.shapes import Edges
from analyzer.regions.strokes import Strokes, find_strokes, find_ties, link_strokes
from analyzer.regions.types import Region, RegionKind, Regions

_FEW_STROKES = 6  #: a shorter band, not hidden, is a detail of a line


@collector_at_rest()
def cut(design: Design, known: Edges | None = None) -> Regions:
    """Cut a design's stitch sequence into regions and pair outlines with what they border.

    ``known`` keeps the edges of regions for when a slightly changed design is cut.

    Linear in the stitches but for neighbour searches. Never raises for a design that has penetrations; one
    without any gives no regions.
    """
    m = len(design.penetrations)
    if not m:
        return Regions(items=(), region_of=frozen(np.zeros(0, dtype=np.int32)), pairs=())
    sewn = Sewn.of(design)
    ties = find_ties(sewn)
    strokes = find_strokes(sewn, ties)
    bands = find_bands(strokes, link_strokes(strokes))
    pieces = curved_fills(sewn, strokes, fill_gaps(sewn, ties, bands))
    pieces = without_meshes(sewn, strokes, pieces)
    over = dense_ground(sewn, pieces)
    pieces = [part for piece in pieces for part in without_base(sewn, strokes, piece, over)]
    pieces = [_thin(sewn, strokes, piece, over) for piece in pieces]
    pieces = join_sections(sewn, absorb_scraps(sewn, strokes, pieces, over), over)
    # Few rows that joined no larger band are no pattern after all.
    pieces = [Piece(p.first, p.last, "line") if p.kin else p for p in pieces]
    pieces = _split_lines(sewn, split_passes(sewn, _join_lines(sewn, pieces)), over)
    pieces = absorb_scraps(sewn, strokes, pieces, over)
    return _regions(sewn, strokes, pieces, Edges() if known is None else known)


def _thin(sewn: Sewn, strokes: Strokes, piece: Piece, over: Ground | None) -> Piece:
    """Decide what a band is once it is known what hides it: underlay, pattern, or only part of a line."""
    if not piece.band:
        return piece
    if _lengthwise(strokes, piece):
        return Piece(piece.first, piece.last, "line")
    table = constants("regions")
    hidden = hidden_share(sewn, piece, over) >= table["hidden_share"].value
    sparse = table["sparse_satin_mm" if piece.shape == "zigzag" else "sparse_fill_mm"].value
    if not hidden and (piece.spacing_mm > sparse or _few(piece)):
        return Piece(piece.first, piece.last, "line")
    return replace(piece, hidden=True) if hidden else piece


def _lengthwise(strokes: Strokes, piece: Piece) -> bool:
    """Whether threads lie on each other and go on along themselves: a line sewn several times."""
    if piece.shape != "zigzag" or piece.spacing_mm > constants("regions")["retrace_mm"].value:
        return False
    rows = piece.rows
    step = np.diff((strokes.start[rows] + strokes.end[rows]) / 2, axis=0)
    along = np.abs(np.einsum("ij,ij->i", step, strokes.unit[rows[:-1]]))
    return bool(along.sum() > 0.7 * np.hypot(*step.T).sum())


def _few(piece: Piece) -> bool:
    return piece.shape != "curves" and not piece.kin and len(piece.rows) < _FEW_STROKES


def _join_lines(sewn: Sewn, pieces: list[Piece]) -> list[Piece]:
    """Make one line of lines that follow each other without a break."""
    kept: list[Piece] = []
    for piece in pieces:
        if kept and piece.shape == kept[-1].shape == "line" and follows(sewn, kept[-1], piece):
            kept[-1] = replace(kept[-1], last=piece.last)
        else:
            kept.append(piece)
    return kept


def _split_lines(sewn: Sewn, pieces: list[Piece], over: Ground | None) -> list[Piece]:
    """Part each line where the machine halts, where it goes under later stitching, where it comes out."""
    halt = np.flatnonzero(sewn.halts)
    pieces = _split_at(pieces, halt)
    if over is None:
        return pieces
    covered = covered_stitches(sewn, pieces, over)
    so_far = np.append(0, np.cumsum(covered)).tolist()
    kept: list[Piece] = []
    for piece in pieces:
        times = so_far[piece.last + 1] - so_far[piece.first]
        if piece.shape != "line" or not times:
            kept.append(piece)
            continue
        if times > piece.last - piece.first:
            kept.append(replace(piece, hidden=True))
            continue
        hidden = settled(sewn, piece, covered)
        begin = np.concatenate([[0], np.flatnonzero(np.diff(hidden)) + 1])
        stop = np.append(begin[1:], hidden.size) - 1
        for a, b in zip(begin.tolist(), stop.tolist(), strict=True):
            part = replace(piece, first=piece.first + a, last=piece.first + b, hidden=bool(hidden[a]))
            kept.append(part)
    return kept


def _split_at(pieces: list[Piece], stitches: npt.NDArray[np.int64]) -> list[Piece]:
    """Part the lines before each of ``stitches``."""
    begins = np.searchsorted(stitches, [piece.first + 1 for piece in pieces]).tolist()
    ends = np.searchsorted(stitches, [piece.last + 1 for piece in pieces]).tolist()
    kept: list[Piece] = []
    for piece, begin, end in zip(pieces, begins, ends, strict=True):
        if piece.shape != "line" or begin == end:
            kept.append(piece)
            continue
        bounds = [piece.first, *stitches[begin:end].tolist(), piece.last + 1]
        kept += [replace(piece, first=a, last=b - 1) for a, b in itertools.pairwise(bounds)]
    return kept


def _regions(sewn: Sewn, strokes: Strokes, pieces: list[Piece], known: Edges) -> Regions:
    measures = measure(sewn, strokes, pieces)
    kinds = name_kinds(sewn, pieces, measures.size_mm)
    count = [p.last - p.first + 1 for p in pieces]
    region_of: Ints = np.repeat(np.arange(len(pieces), dtype=np.int32), count)
    items = _items(sewn, pieces, kinds, measures)
    pairs = find_pairs(sewn, strokes, pieces, items, known)
    borders: dict[int, list[int]] = {}
    for pair in pairs:
        borders.setdefault(pair.outline, []).append(pair.borders)
    for number, edges in borders.items():
        items[number] = replace(items[number], outline_of=tuple(sorted(edges)))
    return Regions(
        items=tuple(items),
        region_of=frozen(region_of),
        pairs=pairs,
        bases=find_bases(sewn, strokes, pieces, items),
        lettering=find_lettering(items),
        appliques=find_appliques(sewn, pieces, items),
    )


def _items(sewn: Sewn, pieces: list[Piece], kinds: list[RegionKind], measures: Measures) -> list[Region]:
    """Return the regions, what they outline left out."""
    covers = covered_by(sewn, pieces)
    colours = sewn.colour[[piece.last for piece in pieces]].tolist()
    boxes = [tuple(box) for box in measures.boxes_mm.tolist()]
    stitches, lengths = measures.stitches.tolist(), measures.stitch_mm.tolist()
    widths, passes = measures.width_mm.tolist(), measures.passes.tolist()
    return [
        Region(
            id=number,
            kind=kinds[number],
            colour=colours[number],
            first=piece.first,
            last=piece.last,
            stitches=stitches[number],
            row_spacing_mm=piece.spacing_mm if piece.band else None,
            stitch_length_mm=lengths[number],
            width_mm=widths[number] if piece.shape == "zigzag" else None,
            direction_deg=piece.direction_deg if piece.band else None,
            passes=passes[number],
            covers=tuple(covers[number]),
            outline_of=(),
            bbox_mm=boxes[number],
        )
        for number, piece in enumerate(pieces)
    ]
