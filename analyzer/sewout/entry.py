"""Sew-outs as users write them down: TOML or CSV, mm or inches; impossible values are questioned."""

from __future__ import annotations

import csv
import io
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

from analyzer.design import Design
from analyzer.errors import BadRecords
from analyzer.goods import constants
from analyzer.sewout.piece import KINDS, Kind, Measure
from analyzer.sewout.records import Reading, Record
from analyzer.sewout.teaching import measures_of

MM_PER_INCH = 25.4
STATES = ("hooped", "released", "washed")
_JOB = (
    "design", "goods", "backing", "topping", "holding", "hoop", "machine", "thread", "needle", "date",
    "notes", "changed", "units", "reading_error",
)  # fmt: skip
_MEASURE = ("name", "kind", "at", "from", "to", "value", "values", "error", "state")


@dataclass(frozen=True, slots=True)
class Entry:
    """What a file says: of the job whatever it names, and readings by state, places from the middle."""

    job: Mapping[str, Any] = field(default_factory=dict)
    rows: tuple[Mapping[str, Any], ...] = ()


def read_entry(path: Path) -> Entry:
    """Read a TOML or CSV file.

    Raises:
        BadRecords: it cannot be read or holds a key that is not known.

    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BadRecords(f"{path}: there is no such file; check its name and folder") from None
    except (OSError, UnicodeDecodeError) as error:
        raise BadRecords(f"{path}: cannot be read ({error}); give a TOML or CSV file in UTF-8") from None
    if path.suffix.lower() == ".csv":
        return Entry(rows=_csv_rows(path, text))
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadRecords(f"{path}: not a TOML file: {error}") from None
    rows = table.pop("measure", [])
    if not isinstance(rows, list) or not all(isinstance(one, Mapping) for one in rows):
        raise BadRecords(f"{path}: write each measure under [[measure]]")
    _only(path, table, _JOB)
    for one in rows:
        _only(path, one, _MEASURE)
    return Entry(table, tuple(rows))


def _only(path: Path, table: Mapping[str, Any], known: Sequence[str]) -> None:
    import difflib

    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
            advice = f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}"
            raise BadRecords(f"{path}: unknown key '{key}': {advice}")


def _csv_rows(path: Path, text: str) -> tuple[Mapping[str, Any], ...]:
    """Return rows of name, kind, x, y, x2, y2, value, error, state; comma or semicolon."""
    first = text.split("\n", 1)[0]
    semicolons = first.count(";") > first.count(",")
    found: list[Mapping[str, Any]] = []
    for number, row in enumerate(csv.DictReader(io.StringIO(text), delimiter=";" if semicolons else ","), 2):
        cells = {
            str(k).strip().lower(): (v or "").strip() for k, v in row.items() if k and isinstance(v, str)
        }
        _only(path, cells, ("name", "kind", "x", "y", "x2", "y2", "value", "error", "state"))
        if not any(cells.values()):
            continue
        one: dict[str, Any] = {k: cells[k] for k in ("name", "kind", "state") if cells.get(k)}
        try:
            for key in ("value", "error"):
                if cells.get(key):
                    one[key] = _number(cells[key], semicolons)
            if cells.get("x") and cells.get("x2"):
                one["from"] = [_number(cells[k], semicolons) for k in ("x", "y")]
                one["to"] = [_number(cells[k], semicolons) for k in ("x2", "y2")]
            elif cells.get("x"):
                one["at"] = [_number(cells[k], semicolons) for k in ("x", "y")]
        except (ValueError, KeyError):
            raise BadRecords(f"{path}, line {number}: write numbers such as 7.6") from None
        found.append(one)
    return tuple(found)


def _number(text: str, semicolons: bool) -> float:
    return float(text.replace(",", ".") if semicolons else text)


def lengths(text: str) -> list[float]:
    """Return the numbers of an answer, repeats apart by spaces; a comma may stand for the decimal point.

    Raises:
        ValueError: it holds what is no finite number.

    """
    found = []
    for piece in text.replace(";", " ").split():
        one = piece.rstrip(",")
        found += [float(part) for part in one.split(",")] if "." in one else [float(one.replace(",", "."))]
    if not found or not all(math.isfinite(one) for one in found):
        raise ValueError(f"no length: '{text}'")
    return found


def readings(
    design: Design,
    rows: Sequence[Mapping[str, Any]],
    *,
    units: str,
    error: float | None,
    was: Record | None = None,
    replaces: bool = False,
) -> dict[str, tuple[Reading, ...]]:
    """Return readings by state, in mm and in the design's own axes.

    What ``was`` recorded and no row names stays, unless the rows replace it all.

    Raises:
        BadRecords: a measure names nothing that is known, or its value is no length.

    """
    scale = MM_PER_INCH if units == "in" else 1.0
    usual = constants("sewout")["reading_error_mm"].value if error is None else error * scale
    x0, y0, x1, y1 = design.bounds_mm
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    before = {} if was is None else dict(zip(STATES, (was.readings, was.released, was.washed), strict=True))
    known = {one.name: one for each in before.values() for one in measures_of(design, each)}
    known |= {one.name: one for one in measures_of(design, ())}
    found: dict[str, list[Reading]] = {state: [] for state in STATES}
    for row in rows:
        state = str(row.get("state", "hooped"))
        if state not in found:
            raise BadRecords(f"state '{state}': write one of {', '.join(STATES)}")
        values = row.get("values", [row["value"]] if "value" in row else [])
        if not isinstance(values, list):
            values = [values]
        if not values or any(isinstance(v, bool) or not isinstance(v, int | float) for v in values):
            raise BadRecords(f"measure '{row.get('name', '?')}': give its value as a number")
        own = float(row["error"]) * scale if "error" in row else usual
        if not 0.0 < own < 5.0:
            raise BadRecords(f"a reading error of {own:g} mm cannot be; give one between 0.01 and 5 mm")
        measure = _measure(row, known, middle)
        mean = scale * sum(map(float, values)) / len(values)
        reading = Reading(
            measure.name, measure.kind, measure.start, measure.end, mean, own, max(1, len(values))
        )
        if any(one.name == reading.name for one in found[state]):
            raise BadRecords(f"measure '{reading.name}' is given twice; give repeats as values = [7.6, 7.5]")
        found[state].append(reading)
    for state, each in before.items() if not replaces else ():
        named = {one.name for one in found[state]}
        found[state] = [one for one in each if one.name not in named] + found[state]
    return {state: tuple(each) for state, each in found.items()}


def _measure(row: Mapping[str, Any], known: Mapping[str, Measure], middle: tuple[float, float]) -> Measure:
    name, kind = str(row.get("name", "")), row.get("kind")
    if kind is None:
        same = [one for key, one in known.items() if key.casefold() == name.casefold()]
        if same:
            return same[0]
        names = "; ".join(known)
        advice = f"the test piece has: {names}" if known else "say its kind and place (sewout add --help)"
        raise BadRecords(f"there is no measure '{name}': {advice}")
    if kind not in KINDS:
        raise BadRecords(f"measure kind '{kind}': write one of {', '.join(KINDS)}")
    places = ("at", "at") if kind in ("width", "gap") else ("from", "to")
    try:
        start, end = ((float(row[key][0]) + middle[0], float(row[key][1]) + middle[1]) for key in places)
    except (KeyError, IndexError, TypeError, ValueError):
        wanted = "at = [x, y]" if places[0] == "at" else "from = [x, y] and to = [x, y]"
        raise BadRecords(f"measure '{name or kind}': say where, {wanted}, mm from the middle") from None
    return Measure(name or f"{kind} at {start[0]:.1f}, {start[1]:.1f}", cast(Kind, kind), start, end, 0.0)


def doubts(readings: Sequence[Reading], meant: Mapping[str, float]) -> tuple[str, ...]:
    """Return a question for each value that can hardly be, given what the file has, mm."""
    asked = (doubt(one.name, one.kind, one.value_mm, meant[one.name]) for one in readings)
    return tuple(one for one in asked if one is not None)


def doubt(name: str, kind: Kind, value_mm: float, meant_mm: float, units: str = "mm") -> str | None:
    """Return a question, in ``units``, where a value can hardly be, given what the file has."""
    table = constants("sewout")
    scale, digits = (MM_PER_INCH, 3) if units == "in" else (1.0, 1)
    value, meant = (f"{length / scale:.{digits}f} {units}" for length in (value_mm, meant_mm))
    off = abs(value_mm - meant_mm)
    if kind == "gap":
        return f"{name}: a gap of {value}?" if off > table["largest_gap_mm"].value else None
    if value_mm > 0.0 and off <= max(table["largest_change"].value * meant_mm, 0.6):
        return None
    return f"{name}: {value}, where the file has {meant}?"
