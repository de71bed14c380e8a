"""A small picture of a design as a few hundred points, and its drawing."""

from __future__ import annotations

import zlib

import numpy as np

from analyzer.design import Design
from analyzer.goods.constants import constants

_GRID = 250  #: the picture's longer side in steps of its own lattice
_NEUTRAL = ("#2b2b2b", "#5a5a5a", "#868686", "#a9a9a9")


def thumb(design: Design) -> bytes:
    """Return the small picture: lines on a lattice of 250 steps, each with its colour block, packed."""
    x0, y0, x1, y1 = design.bounds_mm
    scale = _GRID / max(x1 - x0, y1 - y0, 1e-6)
    points = (design.penetrations - np.array([x0, y1])) * np.array([scale, -scale])
    starts = np.flatnonzero(~design.joined)
    most = int(constants("library")["thumb_points"].value)
    step = max(1, int(np.ceil(len(points) / most)))
    keep = np.zeros(len(points), dtype=np.bool_)
    keep[::step] = True
    keep[starts] = True
    keep[np.append(starts[1:] - 1, len(points) - 1)] = True
    kept = np.flatnonzero(keep)
    rows = np.empty((len(kept), 4), dtype=np.uint8)
    rows[:, :2] = np.clip(np.round(points[kept]), 0, 255)
    rows[:, 2] = np.minimum(design.colour[kept], 255)
    rows[:, 3] = ~design.joined[kept]
    return zlib.compress(rows.tobytes(), 6)


def drawn(content: bytes, tones: tuple[str | None, ...], size: int = 120) -> str:
    """Return the small picture as SVG; blocks without a colour in neutral tones."""
    rows = np.frombuffer(zlib.decompress(content), dtype=np.uint8).reshape(-1, 4)
    parts: list[str] = []
    cuts = np.flatnonzero(rows[:, 3] | np.append(True, np.diff(rows[:, 2].astype(np.int16)) != 0))
    for begin, end in zip(cuts, np.append(cuts[1:], len(rows)), strict=True):
        if end - begin < 2:
            continue
        block = int(rows[begin, 2])
        tone = tones[block] if block < len(tones) else None
        path = " ".join(f"{x},{y}" for x, y in rows[begin:end, :2])
        parts.append(
            f'<polyline points="{path}" stroke="{tone or _NEUTRAL[block % len(_NEUTRAL)]}" fill="none"/>'
        )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size}" height="{size}" viewBox="-4 -4 258 258" '
        f'stroke-width="1.6" stroke-linecap="round" aria-hidden="true">{"".join(parts)}</svg>'
    )
