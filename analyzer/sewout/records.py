"""Records of measured sew-outs: one file, kept for ever, written whole or not at all.

A record holds the design's own stitches, so that it can be learned from again when the file is long gone.
What is corrected or removed stays in the file, marked, and no longer counts.
"""

from __future__ import annotations

import base64
import json
import os
import time
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from analyzer.design import Design
from analyzer.errors import BadRecords
from analyzer.files import write_whole
from analyzer.job import Calibration, OwnMaterials
from analyzer.sewout.piece import Kind

SCHEMA = 1
_PATIENCE_S, _STALE_S = 10.0, 120.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One measure as read, mm; ``error_mm`` the reading error. Places as in ``piece.Measure``."""

    name: str
    kind: Kind
    start: tuple[float, float]
    end: tuple[float, float]
    value_mm: float
    error_mm: float
    repeats: int = 1  #: pieces that the value is the mean of


@dataclass(frozen=True, slots=True)
class Record:
    """One measured sew-out: ``readings`` in the hoop, those out of it, those washed (kept to compare)."""

    id: str
    design: str  #: the file's name
    sha256: str  #: of the file
    goods: str
    backing: tuple[str, ...]  #: each as --backing takes it; ("none",) for none
    machine: str
    thread: str
    readings: tuple[Reading, ...]
    points: str  #: the design's rows, packed
    topping: str | None = None
    holding: str = "hooped"
    hoop: str | None = None
    needle: str | None = None
    date: str | None = None  #: as the user gives it
    notes: str = ""
    changed: bool = False  #: something changed on the machine just before it
    released: tuple[Reading, ...] = ()
    washed: tuple[Reading, ...] = ()
    own: tuple[OwnMaterials, ...] = ()  #: the user's own goods and backings, where it names one
    state: str = "kept"  #: "kept", "corrected" (another stands for it) or "removed"


@dataclass(frozen=True, slots=True)
class Taught:
    """A calibration, for one machine and thread."""

    machine: str
    thread: str
    calibration: Calibration


@dataclass(frozen=True, slots=True)
class Records:
    """A file of records, and what was last learned from them."""

    schema: int = SCHEMA
    records: tuple[Record, ...] = ()
    taught: tuple[Taught, ...] = field(default=())

    @property
    def kept(self) -> tuple[Record, ...]:
        """Return the records that count."""
        return tuple(one for one in self.records if one.state == "kept")

    def find(self, name: str) -> Record:
        """Return the record of that id.

        Raises:
            BadRecords: there is none that counts.

        """
        for one in self.kept:
            if one.id == name:
                return one
        known = ", ".join(one.id for one in self.kept) or "none"
        raise BadRecords(f"there is no sew-out '{name}'; recorded: {known}")

    def marked(self, name: str, state: str) -> Records:
        """Return these with one record marked as corrected or removed."""
        self.find(name)
        marked = tuple(
            replace(one, state=state) if one.id == name and one.state == "kept" else one
            for one in self.records
        )
        return replace(self, records=marked)

    def added(self, record: Record) -> Records:
        """Return these and another record."""
        return replace(self, records=(*self.records, record))

    def next_id(self) -> str:
        """Return an id that no record has."""
        return f"s{1 + max((int(one.id[1:]) for one in self.records if one.id[1:].isdigit()), default=0)}"


def load(path: Path) -> Records:
    """Return the records of a file; none where there is no file.

    Raises:
        BadRecords: the file is damaged (it is kept aside under another name) or of a later version.

    """
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return Records()
    try:
        whole: Any = json.loads(content)
        schema = whole["schema"] if isinstance(whole, dict) else None
        if isinstance(schema, int) and schema > SCHEMA:
            raise BadRecords(f"{path}: written by a later version of prehoop (schema {schema}); update it")
        return msgspec.convert(whole, Records)
    except BadRecords:
        raise
    except (ValueError, KeyError, RecursionError, msgspec.ValidationError):
        aside = _aside(path)
        raise BadRecords(
            f"{path}: the records are damaged; they are kept as {aside.name}. Bring back a "
            "copy with prehoop sewout import, or begin anew"
        ) from None


def _aside(path: Path) -> Path:
    number = 1
    while (aside := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    path.rename(aside)
    return aside


def to_bytes(records: Records) -> bytes:
    """Return records as the file holds them."""
    return msgspec.json.format(msgspec.json.encode(records), indent=1) + b"\n"


def save(path: Path, records: Records) -> None:
    """Write records; a reader sees the old file or the whole new one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, to_bytes(records), force=True)


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Keep other programs from changing the same records meanwhile.

    Raises:
        BadRecords: another program has held them for long.

    """
    path.parent.mkdir(parents=True, exist_ok=True)
    lock = path.with_name(f"{path.name}.lock")
    until = time.monotonic() + _PATIENCE_S
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            break
        except FileExistsError:
            try:
                if time.time() - lock.stat().st_mtime > _STALE_S:  # its program was killed
                    lock.unlink(missing_ok=True)
                    continue
            except FileNotFoundError:
                continue
            if time.monotonic() > until:
                raise BadRecords(
                    f"{path}: another program is changing these records; try again, or remove {lock.name}"
                ) from None
            time.sleep(0.05)
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)


def packed(design: Design) -> str:
    """Return a design's rows as text: hundredths of a millimetre and kinds."""
    rows = np.column_stack([np.round(design.points * 100.0), design.kinds]).astype("<i4")
    return base64.b64encode(zlib.compress(rows.tobytes(), 9)).decode("ascii")


def unpacked(record: Record) -> Design:
    """Return the design of a record.

    Raises:
        BadRecords: its rows are damaged.

    """
    try:
        rows = np.frombuffer(zlib.decompress(base64.b64decode(record.points)), "<i4").reshape(-1, 3)
    except (ValueError, zlib.error):
        raise BadRecords(f"sew-out {record.id}: its stitches are damaged; remove it, add it anew") from None
    return Design.from_commands(
        rows[:, :2] / 100.0, rows[:, 2].astype(np.uint8), name=record.design, sha256=record.sha256
    )
