"""Finding stitch files in a folder and in the archives within it, without ever following a name out of it."""

from __future__ import annotations

import os
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from analyzer.formats import ReadLimits, known
from analyzer.goods.constants import constants
from analyzer.library.book import Place
from analyzer.report.numbers import sound_text

_ARCHIVE = ".zip"
_SMALL = 1_000_000  #: bytes up to which a member is unpacked however well it was packed
_WITHIN = " > "  #: between an archive and its member, to read


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that could not be looked into, and why."""

    path: str
    reason: str


@dataclass(frozen=True, slots=True)
class Found:
    """One stitch file: where it is, and how to get at its bytes."""

    place: Place
    file: Path
    member: str | None = None  #: of an archive


@cache
def endings() -> frozenset[str]:
    """Return the endings of stitch files, with their dot, in small letters."""
    return frozenset("." + ending.lower() for form in known().values() for ending in form.extensions)


def walk(root: Path) -> Iterator[Found | Trouble]:
    """Yield every stitch file below ``root`` in a steady order, and what could not be looked into.

    Folders and files whose names begin with a dot are left out; links are not followed. A member of an
    archive is only ever read into memory: its name is never used as a path.
    """
    waiting = [root]
    while waiting:
        folder = waiting.pop()
        try:
            with os.scandir(folder) as listing:
                entries = sorted(listing, key=lambda entry: os.fsencode(entry.name))
        except OSError as error:
            yield Trouble(_shown(root, folder), (error.strerror or str(error)).lower())
            continue
        folders = []
        for entry in entries:
            if entry.name.startswith(".") or entry.is_symlink():
                continue
            if entry.is_dir():
                folders.append(Path(entry.path))
            elif entry.is_file() and Path(entry.name).suffix.lower() in (*endings(), _ARCHIVE):
                yield from _file(root, Path(entry.path))
        waiting += reversed(folders)


def _file(root: Path, file: Path) -> Iterator[Found | Trouble]:
    try:
        state = file.stat()
    except OSError as error:
        yield Trouble(_shown(root, file), (error.strerror or str(error)).lower())
        return
    key, path = os.fsencode(file.relative_to(root)), _shown(root, file)
    if file.suffix.lower() != _ARCHIVE:
        yield Found(Place(key, path, sound_text(file.name), state.st_size, state.st_mtime_ns), file)
        return
    try:
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
    except (
        OSError,
        zipfile.BadZipFile,
        ValueError,
        RuntimeError,
        NotImplementedError,
        UnicodeDecodeError,
    ) as error:
        yield Trouble(path, f"this archive cannot be opened: {error}")
        return
    most = int(constants("library")["zip_members"].value)
    if len(members) > most:
        yield Trouble(path, f"{len(members):,} members; only the first {most:,} are looked at")
    for member in members[:most]:
        name = Path(member.filename.replace("\\", "/")).name
        if member.is_dir() or name.startswith(".") or Path(name).suffix.lower() not in endings():
            continue
        within = key + b"\x00" + member.filename.encode("utf-8", "surrogateescape")
        shown = sound_text(member.filename)
        # an archive's own date tells whether anything in it changed
        place = Place(within, path + _WITHIN + shown, sound_text(name), member.file_size, state.st_mtime_ns)
        yield Found(place, file, member.filename)


def _shown(root: Path, file: Path) -> str:
    return sound_text(file.relative_to(root).as_posix())


def found_at(root: Path, key: bytes) -> Found | None:
    """Return the file below ``root`` that a book knows by ``key``; None where it is not there any more.

    A book may come from anywhere, so a key that leads out of ``root``, or over a link, finds nothing. The
    size of a member of an archive is that of the archive.
    """
    outer, _, member = key.partition(b"\x00")
    within = Path(os.fsdecode(outer))
    if within.is_absolute() or within.drive or ".." in within.parts or not within.parts:
        return None
    file = root
    for part in within.parts:
        file = file / part
        if file.is_symlink():
            return None
    if not file.is_file():
        return None
    state = file.stat()
    inner = member.decode("utf-8", "surrogateescape") if member else None
    shown = _shown(root, file) if inner is None else _shown(root, file) + _WITHIN + sound_text(inner)
    name = Path(inner.replace("\\", "/")).name if inner is not None else file.name
    return Found(Place(key, shown, sound_text(name), state.st_size, state.st_mtime_ns), file, inner)


def content_of(found: Found, limits: ReadLimits | None = None) -> bytes:
    """Return the bytes of a file or of a member of an archive.

    Raises:
        OSError: it cannot be read.
        ValueError: it is larger than any design, or a member unpacks to far more than it should.

    """
    most = (limits or ReadLimits()).bytes
    if found.member is None:
        with found.file.open("rb") as stream:
            content = stream.read(most + 1)
    else:
        content = _member(found.file, found.member, most)
    if len(content) > most:
        raise ValueError(f"larger than {most / 1e6:.0f} MB, so no stitch file")
    return content


def _member(file: Path, name: str, most: int) -> bytes:
    """Return a member's bytes, never unpacking more than a stitch file could hold."""
    ratio = constants("library")["zip_ratio"].value
    try:
        with zipfile.ZipFile(file) as archive:
            member = archive.getinfo(name)
            if member.flag_bits & 0x1:
                raise ValueError("it is locked with a password")
            packed = max(member.compress_size, 1)
            if member.file_size > most or (member.file_size > _SMALL and member.file_size > ratio * packed):
                raise ValueError(f"unpacks to {member.file_size / 1e6:.0f} MB, so no stitch file")
            with archive.open(member) as stream:
                return stream.read(min(most, member.file_size) + 1)
    except (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, EOFError, KeyError) as error:
        raise ValueError(f"cannot be unpacked: {error}") from None
