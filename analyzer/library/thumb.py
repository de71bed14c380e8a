"""A small picture of a design: which colour block lies uppermost at each of a few thousand points."""

from __future__ import annotations

import base64
import struct
import zlib

import numpy as np
from matplotlib.colors import to_rgb

from analyzer.design import Design
from analyzer.library.sketch import spread_along

SIDE = 128  #: of the picture, pixels
_MARGIN = 3
_STEP = 0.6  #: of a pixel, between points that are drawn of a stitch
_NOTHING = 255
_NEUTRAL = ("#2b2b2b", "#5a5a5a", "#868686", "#a9a9a9")


def thumb(design: Design) -> bytes:
    """Return the small picture, packed: (SIDE, SIDE) numbers of colour blocks, 255 where nothing is sewn."""
    x0, y0, x1, y1 = design.bounds_mm
    scale = (SIDE - 2 * _MARGIN - 1) / max(x1 - x0, y1 - y0, 1e-6)
    offset = np.array([SIDE - 1 - (x1 - x0) * scale, SIDE - 1 - (y1 - y0) * scale]) / 2
    placed = (design.penetrations - np.array([x0, y1])) * np.array([scale, -scale]) + offset
    ends = np.flatnonzero(design.joined)
    a, b = placed[ends - 1], placed[ends]
    parts = np.maximum(1, np.ceil(np.hypot(*(b - a).T) / _STEP)).astype(np.int64)
    column, row = (np.clip(np.rint(each), 0, SIDE - 1).astype(np.intp) for each in spread_along(a, b, parts))
    picture = np.full((SIDE, SIDE), _NOTHING, dtype=np.uint8)
    # later stitches lie over earlier ones: of repeated places numpy keeps the last that is written
    picture[row, column] = np.repeat(np.minimum(design.colour[ends], _NOTHING - 1).astype(np.uint8), parts)
    return zlib.compress(picture.tobytes(), 6)


def drawn(content: bytes, tones: tuple[str | None, ...], size: int = SIDE) -> str:
    """Return the small picture as an element of HTML; blocks without a colour in neutral tones."""
    picture = np.frombuffer(zlib.decompress(content), dtype=np.uint8).reshape(SIDE, SIDE)
    palette = np.zeros((256, 3), dtype=np.uint8)
    for block in range(_NOTHING):
        tone = tones[block] if block < len(tones) else None
        palette[block] = np.round(255 * np.array(to_rgb(tone or _NEUTRAL[block % len(_NEUTRAL)])))
    source = base64.b64encode(_png(picture, palette)).decode("ascii")
    return f'<img src="data:image/png;base64,{source}" width="{size}" height="{size}" alt="">'


def _png(picture: np.ndarray, palette: np.ndarray) -> bytes:
    """Return an image of indexed colour, number 255 clear (PNG, third edition, 11.2 and 11.3.1)."""
    rows = b"".join(b"\x00" + line.tobytes() for line in picture)
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", SIDE, SIDE, 8, 3, 0, 0, 0)),
        (b"PLTE", palette.tobytes()),
        (b"tRNS", b"\xff" * _NOTHING + b"\x00"),
        (b"IDAT", zlib.compress(rows, 6)),
        (b"IEND", b""),
    )
    chunks = (
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)
