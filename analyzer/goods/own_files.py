"""The user's own TOML files: my machine, the stock, own goods and backings.

Every mistake is an error that names the file and the line; unknown keys name the nearest known one.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analyzer.errors import BadJob, PrehoopError
from analyzer.job import Frame, Machine, OwnMaterials

MACHINE_KEYS = ("name", "needles", "heads", "speed_spm", "foot_clearance_mm", "frame")
FRAME_KEYS = ("name", "width_mm", "height_mm", "diameter_mm", "shape")
STOCK_KEYS = ("backings",)
OWN_KEYS = ("goods", "backings")


@dataclass(frozen=True, slots=True)
class TomlFile:
    """A TOML file as read, which knows where its keys stand."""

    path: Path
    text: str
    table: dict[str, Any]

    def wrong(self, message: str, *keys: str | int) -> BadJob:
        """Return the error that names the file and the line of a key."""
        from analyzer.goods.lines import place

        error = BadJob(f"{place(str(self.path), self.text, keys) if keys else self.path}: {message}")
        error.keys = keys
        return error

    def only(
        self, known: Collection[str], *within: str | int, table: Mapping[str, Any] | None = None
    ) -> None:
        """Refuse keys that are not known, in the file or in a table within it."""
        for key in self.table if table is None else table:
            if key not in known:
                nearest = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
                advice = f"did you mean {nearest[0]}?" if nearest else f"known: {', '.join(known)}"
                raise self.wrong(f"unknown key '{key}': {advice}", *within, key)


def read_toml(path: Path) -> TomlFile:
    """Return a TOML file of the user's.

    Raises:
        BadJob: it cannot be opened, or is no UTF-8 text or no TOML.

    """
    try:
        return toml_file(path, path.read_bytes())
    except OSError as error:
        raise BadJob(f"{path}: {(error.strerror or str(error)).lower()}") from None


def toml_file(path: Path, content: bytes) -> TomlFile:
    """Return what a TOML file of the user's holds, or would hold.

    Raises:
        BadJob: it is no UTF-8 text or no TOML.

    """
    try:
        text = content.decode("utf-8-sig")
        return TomlFile(path, text, tomllib.loads(text))
    except UnicodeDecodeError:
        raise BadJob(f"{path}: this is no UTF-8 text") from None
    except tomllib.TOMLDecodeError as error:
        raise BadJob(f"{path}: this is no TOML: {error}") from None
    except RecursionError:
        raise BadJob(f"{path}: brackets stand in brackets too deeply") from None


def read_machine(path: Path) -> Machine:
    """Return the machine that a TOML file describes.

    Raises:
        BadJob: the file is no TOML, a key is unknown or missing, or a value cannot be.

    """
    return machine_of(read_toml(path))


def machine_of(file: TomlFile) -> Machine:
    """Return the machine that a file describes, as :func:`read_machine` does."""
    file.only(MACHINE_KEYS)
    frames = file.table.get("frame", [])
    if not isinstance(frames, list) or not all(isinstance(one, dict) for one in frames):
        raise file.wrong(f"write each frame as [[frame]] with {', '.join(FRAME_KEYS)}", "frame")
    clearance = _above_zero(file, "foot_clearance_mm") if "foot_clearance_mm" in file.table else None
    return Machine(
        name=str(file.table.get("name", file.path.stem)),
        needles=_whole(file, "needles"),
        speed_spm=_above_zero(file, "speed_spm"),
        frames=tuple(_frame(file, number, one) for number, one in enumerate(frames, 1)),
        heads=_whole(file, "heads") if "heads" in file.table else 1,
        foot_clearance_mm=clearance,
    )


def read_stock(path: Path, own: tuple[OwnMaterials, ...] = ()) -> tuple[str, ...]:
    """Return the backings of a stock file, each "KIND:WEIGHT" of the tables or of the user's ``own``.

    Raises:
        BadJob: the file is no TOML, a key is unknown, ``backings`` is no list of texts, or one is no backing.

    """
    from analyzer.goods.own import tables_of
    from analyzer.goods.parse import parse_backing

    file = read_toml(path)
    stock, tables = stock_of(file), tables_of(own)
    for number, one in enumerate(stock):
        try:
            parse_backing(one, tables)
        except PrehoopError as error:
            raise file.wrong(str(error), "backings", number) from None
    return stock


def stock_of(file: TomlFile) -> tuple[str, ...]:
    """Return the backings of a stock, as :func:`read_stock` does."""
    file.only(STOCK_KEYS)
    backings = file.table.get("backings")
    if not isinstance(backings, list) or not backings or not all(isinstance(one, str) for one in backings):
        raise file.wrong('write what is there as backings = ["cutaway:85", "tearaway:50"]', "backings")
    return tuple(backings)


def read_own(path: Path) -> OwnMaterials:
    """Return a file of the user's own goods and backings, entries not yet looked into.

    Raises:
        BadJob: the file is no TOML, or holds more than [goods.NAME] and [backings.NAME].

    """
    file = read_toml(path)
    file.only(OWN_KEYS)
    return OwnMaterials(file.text, str(path))


def _above_zero(
    file: TomlFile, key: str, *within: str | int, table: Mapping[str, Any] | None = None
) -> float:
    held = file.table if table is None else table
    named = " ".join(str(part) for part in (*within, key))
    if key not in held:
        raise file.wrong(f"the key '{key}' is missing", *(within or (key,)))
    value = held[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not (0 < value < math.inf):
        raise file.wrong(f"{named} must be a number above zero, not {value!r}", *within, key)
    return float(value)


def _whole(file: TomlFile, key: str) -> int:
    number = _above_zero(file, key)
    if number != int(number):
        raise file.wrong(f"{key} must be a whole number, not {number:g}", key)
    return int(number)


def _frame(file: TomlFile, number: int, table: Mapping[str, Any]) -> Frame:
    within = ("frame", number)
    file.only(FRAME_KEYS, *within, table=table)
    round_one = "diameter_mm" in table
    shape = table.get("shape", "round" if round_one else "rectangle")
    if shape not in ("rectangle", "oval", "round"):
        raise file.wrong(f"shape must be rectangle, oval or round, not {shape!r}", *within, "shape")
    if round_one != (shape == "round") or (round_one and {"width_mm", "height_mm"} & set(table)):
        raise file.wrong("a round frame has diameter_mm, any other width_mm and height_mm", *within)
    sides = ("diameter_mm", "diameter_mm") if round_one else ("width_mm", "height_mm")
    width, height = (_above_zero(file, side, *within, table=table) for side in sides)
    return Frame(
        name=str(table.get("name", f"frame {number}")),
        width_mm=width,
        height_mm=height,
        shape="oval" if round_one else shape,
    )
