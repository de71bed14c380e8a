"""Telling a format by the file's first bytes, where it has a signature."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Signature:
    """A mark at a fixed place that files of these formats bear.

    ``always`` says that no file of these formats is without it. From memory of the formats: the magic texts
    of PES, PEC and VP3, the magic number of HUS, and how the headers of DST and JEF are laid out.
    """

    formats: tuple[str, ...]
    pattern: re.Pattern[bytes]
    always: bool
    looks: str  #: what a sound file begins with, for the message


_SIGNATURES = (
    Signature(("PES",), re.compile(rb"#PES\d{4}"), True, "'#PES'"),
    Signature(("PEC",), re.compile(rb"#PEC\d{4}"), True, "'#PEC'"),
    Signature(("VP3",), re.compile(rb"%vsm%\x00"), True, "'%vsm%'"),
    Signature(("HUS",), re.compile(rb"\x5b\xaf\xc8\x00"), True, "its magic number"),
    Signature(("JEF", "JPX"), re.compile(rb"..\x00\x00.\x00\x00\x00\d{12}", re.DOTALL), False, "its header"),
    Signature(("DST", "DSB", "DSZ", "KSM", "GT"), re.compile(rb"LA:[^\r\n]{0,40}\r\n?ST:"), False, "'LA:'"),
)
_FOREIGN = (  # what people hand over by mistake; none of it holds stitches
    (re.compile(rb"\x89PNG|\xff\xd8\xff|GIF8|BM.{12}\x28|RIFF", re.DOTALL), "a picture"),
    (re.compile(rb"%PDF"), "a PDF document"),
    (re.compile(rb"PK\x03\x04|7z\xbc\xaf|Rar!|\x1f\x8b\x08"), "an archive: unpack it first"),
    (re.compile(rb"\s*<(\?xml|svg|!DOCTYPE|html)", re.IGNORECASE), "a drawing or web page"),
)


def by_content(data: bytes) -> tuple[str, ...]:
    """Return the formats whose signature ``data`` bears, the likeliest first; empty where none is borne."""
    return next((s.formats for s in _SIGNATURES if s.pattern.match(data)), ())


def missing(format_name: str, data: bytes) -> str | None:
    """Return what a file of this format must begin with, if ``data`` does not; None where all is well."""
    wanted = (s for s in _SIGNATURES if format_name in s.formats and s.always and not s.pattern.match(data))
    return next((s.looks for s in wanted), None)


def foreign(data: bytes) -> str | None:
    """Return what the file is, where it is certainly no stitch file."""
    return next((what for pattern, what in _FOREIGN if pattern.match(data)), None)
