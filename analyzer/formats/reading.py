"""Reading one stitch file into a :class:`~analyzer.design.Design`."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numpy as np

from analyzer.design import Command, Design
from analyzer.errors import UnreadableDesign
from analyzer.formats import dst, headers
from analyzer.formats.decoded import Decoded, DecodeError
from analyzer.formats.decoding import decode
from analyzer.formats.guard import raising, too_many
from analyzer.formats.limits import DEFAULT, ReadLimits
from analyzer.formats.signatures import by_content, foreign, missing
from analyzer.formats.table import by_extension, known

_LARGEST_COMMAND = {
    "DST": 3,
    "TAP": 3,
    "EXY": 3,
    "U01": 3,
    "EXP": 4,
    "JEF": 4,
    "PEC": 4,
    "PES": 4,
    "VP3": 8,
}  # bytes
_BESIDE_STITCHES = 64_000  # bytes of headers, threads and small pictures, at most
_BELIEVABLE_MM = 10_000.0  # a banner; beyond that nobody is told how to raise the limit
_LONGEST_STITCH_MM = 12.7  # what a machine sews in one stitch; VP3 gives its jumps as longer ones


def read(path: str | os.PathLike[str], *, limits: ReadLimits = DEFAULT) -> Design:
    """Read a stitch file of any known format.

    Raises UnreadableDesign where the file is missing, empty, too large, of no known format or damaged beyond
    use, or has nothing to sew.
    """
    file = Path(path)
    shown = "".join(c if c.isprintable() else "?" for c in file.name) or str(file)
    return _read(file, shown, _bytes(file, shown, limits), limits)


def read_bytes(name: str, data: bytes, *, limits: ReadLimits = DEFAULT) -> Design:
    """Read a stitch file that is already in memory; ``name`` stands for the file's, ending and all.

    Raises UnreadableDesign as :func:`read` does.
    """
    file = Path(name)
    shown = "".join(c if c.isprintable() else "?" for c in file.name) or "design"
    if not data:
        raise UnreadableDesign(f"{shown}: the file is empty; export the design again")
    if len(data) > limits.bytes:
        size = len(data) / 1e6
        raise UnreadableDesign(f"{shown}: {size:.1f} MB, more than the limit of {limits.bytes / 1e6:.1f} MB")
    return _read(file, shown, data, limits)


def _read(file: Path, shown: str, data: bytes, limits: ReadLimits) -> Design:
    format_name, notes = _identify(file, shown, data)
    _bound(data, format_name, shown, limits)
    if headers.ends_early(data, format_name):
        raise UnreadableDesign(f"{shown}: the {format_name} file ends in its header; export it again")
    try:
        decoded = decode(data, format_name, limits)
    except DecodeError as error:
        raise UnreadableDesign(f"{shown}: {error}") from None
    if len(decoded.kinds) > limits.stitches:
        raise UnreadableDesign(f"{shown}: {too_many(len(decoded.kinds), limits)}")
    _plausible(decoded, format_name, shown, limits)
    design = Design.from_commands(
        decoded.points,
        decoded.kinds,
        name=shown,
        format=format_name,
        sha256=hashlib.sha256(data).hexdigest(),
        threads=decoded.threads,
        notes=(*notes, *_remarks(data, decoded, format_name)),
        damaged=decoded.damaged or headers.shortfall(data, format_name, decoded),
    )
    if not design.stitches:
        raise UnreadableDesign(
            f"{shown}: no stitches in this {format_name} file; export the design again with its stitches"
        )
    return design


def _bytes(file: Path, shown: str, limits: ReadLimits) -> bytes:
    try:
        folder = file.is_dir()
        if not folder and not file.is_file() and file.exists():
            raise UnreadableDesign(f"{shown}: this is no file but a device or a pipe; name a stitch file")
        data = b"" if folder else _beginning(file, limits.bytes + 1)
    except UnreadableDesign:
        raise
    except FileNotFoundError:
        raise UnreadableDesign(f"{shown}: there is no such file; check its name and folder") from None
    except (OSError, ValueError) as error:  # a name with a null byte is a ValueError
        reason = getattr(error, "strerror", None) or str(error)
        raise UnreadableDesign(
            f"{shown}: cannot be opened ({reason}); check its name and permissions"
        ) from None
    if folder:
        raise UnreadableDesign(f"{shown}: this is a folder; name a stitch file in it")
    if len(data) > limits.bytes:
        size = file.stat().st_size / 1e6
        raise UnreadableDesign(
            f"{shown}: {size:.1f} MB, more than the limit of {limits.bytes / 1e6:.1f} MB; if it truly is a "
            f"stitch file, {raising('megabytes', size)}"
        )
    if not data:
        raise UnreadableDesign(f"{shown}: the file is empty; copy or export it again")
    return data


def _beginning(file: Path, most: int) -> bytes:
    with file.open("rb") as stream:
        return stream.read(most)


def _identify(file: Path, shown: str, data: bytes) -> tuple[str, list[str]]:
    """Return the format, by content where it has a signature and else by extension, and remarks on that."""
    what = foreign(data)
    if what is not None:
        raise UnreadableDesign(
            f"{shown}: this is {what}, not a stitch file; export the design as DST, PES or the like"
        )
    extension = file.suffix.lower().lstrip(".")
    named, borne = by_extension().get(extension), by_content(data)
    if borne and named not in borne:
        called = f"The name says {named}" if named else "The name says no known format"
        return borne[0], [f"{called}, the content is {borne[0]}: read as {borne[0]}."]
    if named is None:
        ending = f"'.{extension}'" if extension else "a name without ending"
        raise UnreadableDesign(
            f"{shown}: {ending} is no known stitch format and the content shows none; known endings: "
            f"{', '.join(sorted(by_extension()))}"
        )
    begins = missing(named, data)
    if begins is not None:
        raise UnreadableDesign(
            f"{shown}: not a {named} file, it does not begin with {begins}; export it again, or give it its "
            "true ending"
        )
    return named, []


def _bound(data: bytes, format_name: str, shown: str, limits: ReadLimits) -> None:
    """Refuse before decoding what is sure to exceed the limit, where commands have a known largest size."""
    largest = _LARGEST_COMMAND.get(format_name)
    start = int.from_bytes(data[8:12], "little") if format_name == "PES" else 0
    if largest and (count := (len(data) - start - _BESIDE_STITCHES) // largest) > limits.stitches:
        raise UnreadableDesign(f"{shown}: {too_many(count, limits)}")


def _plausible(decoded: Decoded, format_name: str, shown: str, limits: ReadLimits) -> None:
    points = decoded.points
    if not np.any(decoded.kinds == Command.STITCH):
        why = f" ({decoded.damaged})" if decoded.damaged else ""
        raise UnreadableDesign(
            f"{shown}: no stitches in this {format_name} file{why}; export the design again with its stitches"
        )
    extent = float("inf")
    if np.isfinite(points).all():  # one axis at a time is quicker
        extent = max(float(np.ptp(points[:, axis])) for axis in range(2))
    if extent >= limits.extent_mm:
        size = f"{extent / 1000:,.1f} m across" if np.isfinite(extent) else "without finite size"
        wider = f", or {raising('metres', extent / 1e3 + 1)}" if extent < _BELIEVABLE_MM else ""
        raise UnreadableDesign(
            f"{shown}: read as {format_name} it would be {size}, so it is damaged or of another format; "
            f"export it again{wider}"
        )


def _remarks(data: bytes, decoded: Decoded, format_name: str) -> list[str]:
    holds = known()[format_name]
    remarks = []
    differing = headers.remark(data, format_name, decoded)
    remarks += [differing] if differing else []
    if decoded.trims_inferred:
        remarks.append(f"{format_name} states no trims: {decoded.trims_inferred} taken from runs of jumps.")
    elif not holds.trims and format_name not in dst.FORMATS and _jumps_while_sewing(decoded):
        remarks.append(f"{format_name} states no trims: the machine decides at which jumps it cuts.")
    if format_name == "VP3" and _longest_sewn_mm(decoded) > _LONGEST_STITCH_MM:
        remarks.append("VP3 does not tell jumps from stitches: the longest stitches here may be jumps.")
    if not any(thread.rgb for thread in decoded.threads):
        remarks.append("The file holds no thread colours.")
    if decoded.not_understood:
        remarks.append(f"{decoded.not_understood} commands that no machine carries out were passed over.")
    return remarks


def _jumps_while_sewing(decoded: Decoded) -> bool:
    kinds = decoded.kinds
    return bool(np.any((kinds[:-1] == Command.STITCH) & (kinds[1:] == Command.JUMP)))


def _longest_sewn_mm(decoded: Decoded) -> float:
    stitch = decoded.kinds == Command.STITCH
    both = stitch[1:] & stitch[:-1]
    return float(np.hypot(*np.diff(decoded.points, axis=0).T)[both].max(initial=0.0))
