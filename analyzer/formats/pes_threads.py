"""The threads of PES and PEC files: a chart of their own, or numbers of one palette."""

from __future__ import annotations

from dataclasses import dataclass

from pyembroidery import EmbThreadPec

from analyzer.design import Thread
from analyzer.formats.decoded import printable

_FIRST_TEXTS_AT = 16
# bytes to skip before and after the picture's name, by version; None before: there is a hoop's name first
_LAYOUT: dict[
    bytes, tuple[int, int, int]
] = {  # before the hoop's name (0: none), before the picture's, after it
    b"0050": (0, 24, 24),
    b"0055": (0, 24, 24),
    b"0056": (0, 24, 24),
    b"0060": (0, 36, 24),
    b"0070": (0, 36, 24),
    b"0080": (0, 38, 26),
    b"0090": (14, 30, 34),
    b"0100": (14, 38, 34),
}
_TEXTS = 5  # name, category, author, keywords, comments
_SPECIAL_LISTS = 3  # fills, motifs, feather patterns: a file with any has its threads elsewhere


@dataclass(frozen=True, slots=True)
class PecThread:
    """A thread, and what tells it from another of the same colour."""

    thread: Thread
    told_by: tuple[str | None, ...]


class _Cursor:
    """Reads one thing after another; IndexError where the file ends."""

    def __init__(self, data: bytes, at: int) -> None:
        self.data, self.at = data, at

    def take(self, count: int) -> bytes:
        piece = self.data[self.at : self.at + count]
        if len(piece) < count:
            raise IndexError
        self.at += count
        return piece

    def number(self) -> int:
        return int.from_bytes(self.take(2), "little")

    def text(self) -> str | None:
        piece = self.take(self.take(1)[0])
        try:
            return piece.decode("utf-8") if piece else None
        except UnicodeDecodeError:
            return None


def chart(data: bytes) -> list[PecThread]:
    """Return the threads that the PES part lists, from version 5 on; empty where it lists none."""
    layout = _LAYOUT.get(data[4:8]) if data[:4] == b"#PES" else None
    threads: list[PecThread] = []
    if layout is None:
        return threads
    cursor = _Cursor(data, _FIRST_TEXTS_AT)
    before_hoop, before_picture, after_picture = layout
    try:
        for _ in range(_TEXTS):
            cursor.text()
        if before_hoop:
            cursor.take(before_hoop)
            cursor.text()
        cursor.take(before_picture)
        cursor.text()
        cursor.take(after_picture)
        if any(cursor.number() for _ in range(_SPECIAL_LISTS)):
            return threads
        for _ in range(cursor.number()):
            threads.append(_charted(cursor))
    except IndexError:
        pass  # cut off: what stands before the end is true
    return threads


def _charted(cursor: _Cursor) -> PecThread:
    catalogue, rgb = cursor.text(), cursor.take(3).hex()
    cursor.take(5)
    name, maker, chart_name = cursor.text(), cursor.text(), cursor.text()
    thread = Thread(rgb=f"#{rgb}", name=printable(name), catalogue=printable(catalogue))
    return PecThread(thread, (rgb, name, catalogue, maker, chart_name))


def block_threads(data: bytes, at: int, listed: list[PecThread]) -> list[PecThread]:
    """Return the threads of the colour blocks, from the chart (one to one or by number) or the palette.

    ``at`` is where the PEC block states its number of changes, followed by the palette numbers.
    """
    if at >= len(data):
        return listed
    numbers = data[at + 1 : at + 2 + data[at]]
    if listed and len(listed) >= len(numbers):
        return listed
    palette = EmbThreadPec.get_thread_set()
    left, given, threads = list(listed), {}, []
    for number in numbers:
        index = number % len(palette)
        if index not in given:
            given[index] = left.pop(0) if left else _of_palette(palette[index])
        threads.append(given[index])
    return threads


def _of_palette(entry: object) -> PecThread:
    if entry is None:  # a number that stands for no thread
        return PecThread(Thread(), ())
    rgb, name = entry.hex_color(), entry.description  # type: ignore[attr-defined]
    number = entry.catalog_number  # type: ignore[attr-defined]
    thread = Thread(rgb=rgb, name=printable(name), catalogue=printable(number))
    return PecThread(thread, (rgb[1:], name, number, None, None))
