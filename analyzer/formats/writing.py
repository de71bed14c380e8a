"""Writing one design to a stitch file, and never a file that says something else than the design."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analyzer.arrays import Ints
from analyzer.design import Command, Design
from analyzer.errors import BadJob, UnwritableDesign
from analyzer.files import refuse_existing, write_whole
from analyzer.formats.decoded import UNIT_MM, Decoded
from analyzer.formats.decoding import decode
from analyzer.formats.encoding import SETTINGS, encode
from analyzer.formats.table import Format, by_extension, known

_WITHOUT_COLOURS = "DST"  # the format that asks least of a design


@dataclass(frozen=True, slots=True)
class Written:
    """A file that was written."""

    path: Path
    format: str
    remarks: tuple[str, ...]  #: what the format does not hold as the design has it, one sentence each


def write(
    design: Design,
    path: str | os.PathLike[str],
    *,
    force: bool = False,
    original: str | os.PathLike[str] | None = None,
) -> Written:
    """Write ``design`` to ``path``, in the format that its ending names.

    What is written is read back first. Needle points must be the same, rounded to the 0.1 mm of the
    formats; so must cuts, colour blocks, stops and sequins. Existing files are written over only with
    ``force``, and ``original``, the file that the design came from, never.

    Raises:
        UnwritableDesign: the ending names no format that is written, the format cannot hold the design, or
            the place cannot be written to.
        BadJob: the file is there already, or is the original.

    """
    file = Path(path)
    form = writable_format(file, force=force, original=original)
    data, remarks = to_bytes(design, form, file.name)
    try:
        write_whole(file, data, force=force)
    except OSError as error:
        raise UnwritableDesign(
            f"{file}: cannot be written ({(error.strerror or str(error)).lower()}); "
            "name a folder that is there, has room and may be written to"
        ) from None
    return Written(file, form.name, remarks)


def writable_format(
    file: Path, *, force: bool = False, original: str | os.PathLike[str] | None = None
) -> Format:
    """Return the format that ``file`` is to be written in, before anything is computed for it.

    Raises:
        UnwritableDesign: its ending names no format that is written, it is a folder, or lies in none.
        BadJob: the file is there already and ``force`` is false, or it is the original.

    """
    form = _format(file)
    if file.is_dir():
        raise UnwritableDesign(f"{file}: this is a folder; name a file in it")
    if not file.parent.is_dir():
        raise UnwritableDesign(f"{file}: there is no folder {file.parent}; make it first, or name another")
    _refuse_original(file, original)
    if not force:
        refuse_existing((file,))
    return form


def to_bytes(design: Design, form: Format, shown: str) -> tuple[bytes, tuple[str, ...]]:
    """Return ``design`` as a file of ``form``, and what that does not hold as the design has it.

    Raises:
        UnwritableDesign: the format cannot hold the design.

    """
    if form.colours and any(thread.rgb is None for thread in design.threads):
        raise UnwritableDesign(
            f"{shown}: {form.name} holds a colour for every block, and the design names none for some; "
            f"colours are not invented, so {_instead(design, form, uncoloured=True)}"
        )
    candidates: list[tuple[int, bytes, Design]] = []
    reason = ""
    for settings in SETTINGS.get(form.name, ({},)):
        try:
            data = encode(design, form, settings)
            back = decode(data, form.name)
            read_back = Design.from_commands(back.points, back.kinds, threads=back.threads)
        except Exception as error:  # the library's writers raise whatever comes of a value too large
            reason = str(error) or type(error).__name__
            continue
        reason = "; ".join(differences(design, read_back, back))
        if not reason:
            candidates.append((_changed_colours(design, read_back), data, read_back))
    if not candidates:
        raise UnwritableDesign(
            f"{shown}: {form.name} cannot hold this design: {reason}; {_instead(design, form)}"
        )
    changed, data, read_back = min(candidates, key=lambda one: one[0])  # the first of equals
    return data, tuple(_remarks(design, read_back, form, changed))


def differences(design: Design, back: Design, decoded: Decoded) -> list[str]:
    """Return in which ways a design that was read back sews something else, one phrase each."""
    meant, found = len(design.penetrations), len(back.penetrations)
    if meant != found:
        return [f"{meant:,} needle points become {found:,}"]
    wrong = []
    rounded = np.rint(design.penetrations / UNIT_MM) * UNIT_MM
    off = np.abs(rounded - back.penetrations).max(initial=0.0)
    if off > 0.01 * UNIT_MM:
        wrong.append(f"needle points would move by up to {off:.1f} mm")
    for what, count in (
        ("the thread would be cut, or not cut, at {} places", np.sum(design.joined != back.joined)),
        ("{} stitches would be sewn in another colour block", np.sum(design.colour != back.colour)),
        (
            "stops would change at {} places",
            np.sum(_before(design, Command.STOP) != _before(back, Command.STOP)),
        ),
        (
            "{} sequins would be lost",
            np.sum(_before(design, Command.SEQUIN) != _before(back, Command.SEQUIN)),
        ),
    ):
        if count:
            wrong.append(what.format(f"{int(count):,}"))
    if decoded.damaged:
        wrong.append(decoded.damaged)
    return wrong


def _before(design: Design, command: Command) -> Ints:
    """Return how often ``command`` comes between each penetration and the one before it, (m,)."""
    so_far = np.cumsum(design.kinds == command)[design.kinds == Command.STITCH]
    between: Ints = np.diff(so_far, prepend=0).astype(np.int32)
    return between


def _format(file: Path) -> Format:
    named = by_extension().get(file.suffix.lower().lstrip("."))
    form = known()[named] if named else None
    if form is None or not form.written:
        raise UnwritableDesign(
            f"{file.name}: {named or 'its ending'} is not written; name a file that ends in "
            f"{', '.join('.' + name.lower() for name in _written())}"
        )
    return form


def _written() -> list[str]:
    return [form.name for form in known().values() if form.written]


def _refuse_original(file: Path, original: str | os.PathLike[str] | None) -> None:
    if original is None:
        return
    source = Path(original)
    same = file.resolve() == source.resolve()
    if not same and file.exists() and source.exists():
        same = file.samefile(source)  # another name of it, or a file system that does not tell case apart
    if same:
        raise BadJob(f"{file} is the original, which is never written over: name another file")


def _instead(design: Design, form: Format, *, uncoloured: bool = False) -> str:
    own = known().get(design.format)
    if own is not None and own.written and own.name != form.name:
        return f"write it as {own.name}, as it came"
    return f"write it as {_WITHOUT_COLOURS}" if uncoloured else "write it in another format"


def _changed_colours(design: Design, back: Design) -> int:
    """Return how many blocks have another colour than meant."""
    return sum(
        meant.rgb is not None and meant.rgb != found.rgb
        for meant, found in zip(design.threads, back.threads, strict=True)
    )


def _remarks(design: Design, back: Design, form: Format, changed: int) -> list[str]:
    remarks = []
    coloured = sum(thread.rgb is not None for thread in design.threads)
    if changed and not any(thread.rgb for thread in back.threads):
        remarks.append(
            f"{form.name} holds no thread colours: keep the list of the design's {coloured} apart."
        )
    elif changed:
        remarks.append(
            f"{changed} of {coloured} thread colours become the nearest of {form.name}'s own palette."
        )
    named = [t.name for t in design.threads if t.name]
    if coloured and not changed and named and [t.name for t in back.threads if t.name] != named:
        remarks.append(f"{form.name} does not hold all names of threads as they are.")
    if bool(np.any(design.jumped & ~back.jumped)):
        remarks.append(f"{form.name} does not tell jumps from long stitches.")
    split = int(np.sum(back.jumped & ~design.jumped & back.joined))
    if split:
        remarks.append(f"{split} stitches longer than {form.step_mm or 0.0:.1f} mm are written in steps.")
    return remarks
