"""The user's own TOML files: my machine, and the stock.

Unknown keys are errors that name the nearest known one.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from analyzer.errors import BadJob
from analyzer.job import Frame, Machine

MACHINE_KEYS = ("name", "needles", "speed_spm", "frame")
FRAME_KEYS = ("name", "width_mm", "height_mm", "shape")
STOCK_KEYS = ("backings",)


def read_machine(path: Path) -> Machine:
    """Return the machine that a TOML file describes.

    Raises:
        BadJob: the file is no TOML, a key is unknown or missing, or a value cannot be.

    """
    table = _read(path)
    _only(path, "", table, MACHINE_KEYS)
    frames = table.get("frame", [])
    if not isinstance(frames, list) or not all(isinstance(one, dict) for one in frames):
        raise BadJob(f"{path}: write each frame as [[frame]] with {', '.join(FRAME_KEYS)}")
    needles = _above_zero(path, "needles", table)
    if needles != int(needles):
        raise BadJob(f"{path}: needles must be a whole number, not {needles:g}")
    return Machine(
        name=str(table.get("name", path.stem)),
        needles=int(needles),
        speed_spm=_above_zero(path, "speed_spm", table),
        frames=tuple(_frame(path, number, one) for number, one in enumerate(frames, 1)),
    )


def read_stock(path: Path) -> tuple[str, ...]:
    """Return the backings of a stock file, each "KIND:WEIGHT".

    Raises:
        BadJob: the file is no TOML, a key is unknown, or ``backings`` is no list of texts.

    """
    table = _read(path)
    _only(path, "", table, STOCK_KEYS)
    backings = table.get("backings")
    if not isinstance(backings, list) or not backings or not all(isinstance(one, str) for one in backings):
        raise BadJob(f'{path}: write what is there as backings = ["cutaway:85", "tearaway:50"]')
    return tuple(backings)


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise BadJob(f"{path}: this is no UTF-8 text") from None
    except tomllib.TOMLDecodeError as error:
        raise BadJob(f"{path}: this is no TOML: {error}") from None


def _only(path: Path, where: str, table: Mapping[str, Any], known: Collection[str]) -> None:
    for key in table:
        if key not in known:
            nearest = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
            advice = f"did you mean {nearest[0]}?" if nearest else f"known: {', '.join(known)}"
            raise BadJob(f"{path}: unknown key '{where}{key}': {advice}")


def _above_zero(path: Path, key: str, table: Mapping[str, Any], where: str = "") -> float:
    if key not in table:
        raise BadJob(f"{path}: the key '{where}{key}' is missing")
    value = table[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not (0 < value < math.inf):
        raise BadJob(f"{path}: {where}{key} must be a number above zero, not {value!r}")
    return float(value)


def _frame(path: Path, number: int, table: Mapping[str, Any]) -> Frame:
    where = f"frame {number}: "
    _only(path, where, table, FRAME_KEYS)
    shape = table.get("shape", "rectangle")
    if shape not in ("rectangle", "oval"):
        raise BadJob(f"{path}: {where}shape must be rectangle or oval, not {shape!r}")
    return Frame(
        name=str(table.get("name", f"frame {number}")),
        width_mm=_above_zero(path, "width_mm", table, where),
        height_mm=_above_zero(path, "height_mm", table, where),
        shape=shape,
    )
