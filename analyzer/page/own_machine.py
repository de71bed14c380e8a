"""Forms for the user's machine, stock and limits, to and from their files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit

from analyzer.errors import BadJob, PrehoopError
from analyzer.goods import constants, parse_backing
from analyzer.goods.own_files import machine_of, stock_of, toml_file
from analyzer.goods.parse import checked_hoop
from analyzer.goods.tables import Tables
from analyzer.goods.types import Hoop
from analyzer.page.own_fields import Field, Form, Group, Row, Wrong, number_of, plain, shown
from analyzer.page.own_text import Doc, edited, without

MOST_FRAMES = 40
_SHAPES = (("", (("", "rectangle"), ("oval", "oval"), ("round", "round"))),)
_MACHINE = (
    ("needles", "Needles", "", "Colours that are threaded at a time."),
    ("speed_spm", "Speed", "stitches a minute", "What you usually sew at, not what the plate promises."),
    ("heads", "Heads", "", "Empty: one."),
    ("foot_clearance_mm", "Room for the foot", "mm", "Left free round the design. Empty: the usual."),
)
#: limits that are often one's own, with words of their own; the rest are shown by what the table says
_EVERYDAY = {
    "gap_bare_mm": "Bare cloth allowed at an ordinary outline",
    "gap_bare_thin_mm": "Bare cloth allowed at a thin outline of another colour on smooth cloth",
    "gap_bare_pile_mm": "Bare cloth allowed at an outline on cloth with pile",
    "gap_overlap_mm": "Overlap allowed at an outline",
    "column_width_mm": "Narrowest satin column, smooth cloth",
    "column_width_pile_mm": "Narrowest satin column, cloth with pile",
    "lettering_height_mm": "Smallest satin letters, smooth cloth",
    "lettering_height_pile_mm": "Smallest satin letters, cloth with pile",
    "pucker_mm": "Height of ripples allowed",
    "long_stitch_mm": "Longest open stitch, goods seldom washed",
    "long_stitch_washed_mm": "Longest open stitch, goods washed often",
    "short_stitch_mm": "A stitch is short under",
    "hoop_edge_mm": "Distance from the edge of the sewing field that wants an eye on the foot",
}


# ---- machine


def machine_values(table: Mapping[str, Any]) -> dict[str, str]:
    """Return what stands in each field for a machine's file."""
    said = {key: shown(table.get(key)) for key in ("name", *(key for key, *_ in _MACHINE))}
    for number, frame in enumerate(table.get("frame", ()), 1):
        said |= {
            f"frame_{number}_name": shown(frame.get("name")),
            f"frame_{number}_shape": "round" if "diameter_mm" in frame else _shape(frame),
            f"frame_{number}_width": shown(frame.get("diameter_mm", frame.get("width_mm"))),
            f"frame_{number}_height": shown(frame.get("height_mm")),
        }
    return said


def _shape(frame: Mapping[str, Any]) -> str:
    shape = shown(frame.get("shape"))
    return "" if shape == "rectangle" else shape


def machine_form(said: Mapping[str, str], rows: int) -> Form:
    """Return the form of a machine with so many rows for frames."""
    needed = ("needles", "speed_spm")
    about = [Field("name", "Name", "text", needed=True)]
    about += [
        Field(key, words, unit=unit, help=told, needed=key in needed) for key, words, unit, told in _MACHINE
    ]
    frames = [
        Row(
            (
                Field(f"frame_{n}_name", "Name", "text"),
                Field(f"frame_{n}_shape", "Shape", "choice", options=_SHAPES),
                Field(f"frame_{n}_width", "Width", unit="mm"),
                Field(f"frame_{n}_height", "Height", unit="mm"),
            ),
            f"Frame {n}",
        )
        for n in range(1, rows + 1)
    ]
    groups = (
        Group("The machine", tuple(Row((one,)) for one in about)),
        Group(
            "Its frames",
            tuple(frames),
            ("The sewing field inside of the ring, not the ring; the width of a round one is its diameter. "
             "Without any, the usual hoops are taken. A frame whose fields are all empty is left out.",),
        ),
    )  # fmt: skip
    return Form("My machine", groups, more="More frames").filled(said, {})


def machine_text(text: str, path: Path, said: Mapping[str, str], before: Mapping[str, str]) -> str:
    """Return the machine's file as the form says.

    Raises:
        Wrong, BadJob: as for goods.

    """
    errors: dict[str, str] = {}

    def number(name: str) -> int | float | None:
        try:
            return plain(number_of(said[name])) if said.get(name) else None
        except ValueError as error:
            errors[name] = str(error)
            return None

    top: dict[str, Any] = {"name": said.get("name") or None}
    top |= {key: number(key) for key, *_ in _MACHINE}
    if top["name"] is None:
        errors["name"] = "give it a name"
    frames = [_frame(n, said, number, errors) for n in range(1, MOST_FRAMES + 1)]
    if errors:
        raise Wrong(errors)
    made = text
    held = toml_file(path, text.encode()).table.get("frame", [])
    for n in range(len(held), 0, -1):
        if not frames[n - 1]:
            made = without(made, ("frame", n))
    kept = [frame for frame in frames if frame]
    touched = {key: value for key, value in top.items() if said.get(key, "") != before.get(key, "")}
    made = edited(made, lambda doc: _set_machine(doc, touched, kept))
    try:
        machine = machine_of(toml_file(path, made.encode()))
        for n, frame in zip([n for n, one in enumerate(frames, 1) if one], machine.frames, strict=True):
            try:
                checked_hoop(Hoop(frame.name, frame.width_mm, frame.height_mm, "rectangle", ""))
            except BadJob as error:
                raise Wrong({f"frame_{n}_width": str(error)}) from None
    except BadJob as error:
        raise _beside(error, [n for n, one in enumerate(frames, 1) if one]) from None
    return made


def _frame(n: int, said: Mapping[str, str], number: Any, errors: dict[str, str]) -> dict[str, Any]:
    """Return what the fields of one frame say; nothing where all are empty."""
    name, shape = said.get(f"frame_{n}_name", ""), said.get(f"frame_{n}_shape", "")
    typed = {side: said.get(f"frame_{n}_{side}", "") for side in ("width", "height")}
    width, height = (number(f"frame_{n}_{side}") for side in typed)
    if not (name or any(typed.values())):
        return {}
    for side, text in typed.items():
        if not text and (side == "width" or shape != "round"):
            errors[f"frame_{n}_{side}"] = f"give the {side}"
        elif text and side == "height" and shape == "round":
            errors[f"frame_{n}_height"] = "leave it empty: the width of a round frame is its diameter"
    sides = {"diameter_mm": width} if shape == "round" else {"width_mm": width, "height_mm": height}
    frame = {"name": name or None, **sides, "shape": shape or None}
    return {key: value for key, value in frame.items() if value is not None}


def _set_machine(doc: Doc, top: Mapping[str, Any], frames: list[dict[str, Any]]) -> None:
    plain_values = type(doc) is dict
    for key, value in top.items():
        if value is None:
            doc.pop(key, None)
        elif key in doc or plain_values or "frame" not in doc:
            doc[key] = value
        else:  # keys of the machine itself stand before its frames
            _first(doc, key, value)
    if "frame" not in doc and frames:
        if not plain_values and len(doc):
            tail: Any = doc
            tail.add(tomlkit.nl())
        doc["frame"] = [] if plain_values else tomlkit.aot()
    held: Any = doc.get("frame", [])
    for number, frame in enumerate(frames):
        if number >= len(held):
            held.append(dict(frame) if plain_values else _table(frame))
        elif _meant(held[number]) != _meant(frame):
            for key in set(held[number]) - set(frame):
                del held[number][key]
            held[number].update(frame)


def _meant(frame: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return what a frame comes to, however it is written."""
    width, height = (frame.get(key) for key in ("width_mm", "height_mm"))
    shape = "round" if "diameter_mm" in frame else frame.get("shape", "rectangle")
    return frame.get("name"), shape, frame.get("diameter_mm", width), height


def _first(doc: Any, key: str, value: Any) -> None:
    """Put a key before the tables of a document."""
    frames = doc["frame"]
    del doc["frame"]
    doc[key] = value
    doc["frame"] = frames


def _table(values: Mapping[str, Any]) -> Any:
    table = tomlkit.table()
    table.update(values)
    return table


def _beside(error: BadJob, rows: list[int]) -> Wrong:
    """Return a reader's error beside the field that it is about."""
    text = str(error).partition(": ")[2]
    keys = error.keys
    if keys[:1] == ("frame",) and len(keys) > 1 and isinstance(keys[1], int):
        field = {"height_mm": "height", "shape": "shape", "name": "name"}.get(str(keys[-1]), "width")
        return Wrong({f"frame_{rows[keys[1] - 1]}_{field}": text})
    return Wrong({str(keys[0]) if keys else "": text})


# ---- stock


def stock_values(items: tuple[str, ...], tables: Tables) -> dict[str, str]:
    """Return what stands in each field for a list of backings at hand."""
    said: dict[str, str] = {}
    for kind, weights in _at_hand(items, tables).items():
        usual = tables.backings[kind].weights_g_m2
        said |= {f"{kind}:{weight:g}": "on" for weight in weights if weight in usual}
        said[f"{kind}:other"] = " ".join(f"{weight:g}" for weight in weights if weight not in usual)
    return said


def stock_words(items: tuple[str, ...], tables: Tables) -> str:
    """Return what is at hand in words."""
    held = _at_hand(items, tables).items()
    return "; ".join(f"{kind} {', '.join(f'{w:g}' for w in weights)} g/m2" for kind, weights in held)


def _at_hand(items: tuple[str, ...], tables: Tables) -> dict[str, list[float]]:
    held: dict[str, list[float]] = {}
    for item in items:
        for choice in parse_backing(item, tables):
            held.setdefault(choice.kind, []).append(round(choice.g_m2, 1))
    return held


def stock_form(said: Mapping[str, str], tables: Tables) -> Form:
    """Return the form of the stock: every kind of backing with its usual weights."""
    rows = []
    for kind, backing in tables.backings.items():
        ticks = [Field(f"{kind}:{weight:g}", f"{weight:g} g/m2", "tick") for weight in backing.weights_g_m2]
        rows.append(Row((*ticks, Field(f"{kind}:other", "Other weights", unit="g/m2")), backing.title))
    about = "Tick what lies on your shelf. Once something is ticked, only that is chosen from; with nothing "
    group = Group("Backings at hand", tuple(rows), (f"{about}ticked, everything of the tables is.",))
    return Form("My stock", (group,)).filled(said, {})


def stock_of_form(said: Mapping[str, str], tables: Tables) -> tuple[str, ...]:
    """Return the backings that the form says are at hand.

    Raises:
        Wrong: a weight is no number, or none in which such a backing is made.

    """
    items, errors = [], {}
    for kind, backing in tables.backings.items():
        items += [f"{kind}:{w:g}" for w in backing.weights_g_m2 if said.get(f"{kind}:{w:g}")]
        name = f"{kind}:other"
        try:
            for part in said.get(name, "").replace(";", " ").split():
                item = f"{kind}:{number_of(part, weight=True):.10g}"
                parse_backing(item, tables)
                items.append(item)
        except (PrehoopError, ValueError) as error:
            errors[name] = str(error)
    if errors:
        raise Wrong(errors)
    return tuple(dict.fromkeys(items))


def stock_text(text: str, path: Path, items: tuple[str, ...], tables: Tables) -> str:
    """Return the stock's file with these backings; those that it named already stay as they are written."""

    def same(item: str) -> tuple[tuple[str, float], ...]:
        return tuple((one.kind, round(one.g_m2, 1)) for one in parse_backing(item, tables))

    wanted = {same(item): item for item in items}

    def change(doc: Doc) -> None:
        held = doc.get("backings")
        if held is None:
            doc["backings"] = list(items)
            return
        for number in range(len(held) - 1, -1, -1):
            if same(str(held[number])) not in wanted:
                del held[number]
        there = {same(str(one)) for one in held}
        for key, item in wanted.items():
            if key not in there:
                held.append(item)

    made = edited(text, change)
    stock_of(toml_file(path, made.encode()))
    return made


# ---- limits


def limits_values(table: Mapping[str, Any]) -> dict[str, str]:
    """Return what stands in each field for the limits of a settings file."""
    return {f"limit_{name}": shown(table.get(name)) for name in constants("limits")}


def limits_form(said: Mapping[str, str]) -> Form:
    """Return the form of the limits."""
    table = constants("limits")
    about = limit_words()

    def row(name: str, words: str) -> Row:
        unit = "mm" if name in _EVERYDAY else ""
        usual = f"Usually {table[name].value:g}"
        return Row((Field(f"limit_{name}", words, unit=unit, help=usual),))

    others = [name for name in table if name not in _EVERYDAY]
    groups = (
        Group(
            "Everyday",
            tuple(row(name, words) for name, words in _EVERYDAY.items()),
            ("From where on something is said. Leave empty what should stay as it is.",),
        ),
        Group(
            "All the others", tuple(row(name, about[name]) for name in others), folded=True,
        ),
    )  # fmt: skip
    return Form("My limits", groups).filled(said, {})


def limit_words() -> dict[str, str]:
    """Return what the table says of each limit."""
    from analyzer.goods.constants import read_table

    said = {name: str(entry["about"]) for name, entry in read_table("limits").items()}
    return {name: text[:1].upper() + text[1:] for name, text in said.items()} | _EVERYDAY


def limits_text(text: str, said: Mapping[str, str], before: Mapping[str, str]) -> str:
    """Return the settings with the limits as the form says.

    Raises:
        Wrong, BadJob: as for goods.

    """
    errors: dict[str, str] = {}
    changes: dict[str, int | float | None] = {}
    for name in constants("limits"):
        typed = said.get(f"limit_{name}", "")
        if typed == before.get(f"limit_{name}", ""):
            continue
        try:
            changes[name] = plain(number_of(typed)) if typed else None
            if (changes[name] or 0) < 0:
                errors[f"limit_{name}"] = "must not be below zero"
        except ValueError as error:
            errors[f"limit_{name}"] = str(error)
    if errors:
        raise Wrong(errors)

    def change(doc: Doc) -> None:
        if "limits" not in doc and any(value is not None for value in changes.values()):
            doc["limits"] = {} if type(doc) is dict else tomlkit.table()
        for name, value in changes.items():
            if value is None:
                doc.get("limits", {}).pop(name, None)
            else:
                doc["limits"][name] = value

    return edited(text, change)
