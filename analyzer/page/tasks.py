"""What a worker of the page does: look a design over and make what is wanted of it."""

from __future__ import annotations

import io
import json
import zipfile
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from analyzer.errors import PrehoopError
from analyzer.formats import read_bytes, to_bytes, writable_format
from analyzer.job import Job
from analyzer.report import Check, check

_KEPT = 3  #: checks that a worker remembers, so that a download does not compute anew

Tell = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One thing to make of one design."""

    kind: str  #: answer, summary, pdf, html, json, sheet, countered, order, glance
    path: Path
    name: str
    job: Job
    units: str = "mm"
    items: tuple[
        tuple[Path, str, Job, int, str], ...
    ] = ()  #: of an order, or files to glance at: file, name, job, quantity, placement
    title: str = ""

    @property
    def key(self) -> str:
        """What an answer is kept under."""
        return f"{self.kind}|{self.path.name}|{self.units}|{self.job!r}|{self.items!r}|{self.title}"


@dataclass(frozen=True, slots=True)
class Made:
    """What came of it: bytes, or one line that says what is wrong."""

    content: bytes = b""
    trouble: str | None = None


_checks: OrderedDict[str, Check] = OrderedDict()


def make(wanted: Wanted, tell: Tell) -> Made:
    """Return what is wanted; what goes wrong becomes one line."""
    makers: dict[str, Callable[[Wanted, Tell], bytes]] = {
        "answer": _answer,
        "summary": _summary,
        "pdf": _pdf,
        "sheet": _sheet,
        "html": _html,
        "json": _json,
        "countered": _countered,
        "order": _order,
        "glance": _glance,
    }
    try:
        return Made(makers[wanted.kind](wanted, tell))
    except PrehoopError as error:
        return Made(trouble=str(error))
    except MemoryError:
        return Made(trouble=f"{wanted.name}: it takes more memory than the page may use")


def looked_over(wanted: Wanted, tell: Tell) -> Check:
    """Return the check of a design, remembered from the last few."""
    key = f"{wanted.path.name}|{wanted.name}|{wanted.job!r}"
    if key not in _checks:
        design = read_bytes(wanted.name, wanted.path.read_bytes())
        _checks[key] = check(design, wanted.job, tell)
        while len(_checks) > _KEPT:
            _checks.popitem(last=False)
    _checks.move_to_end(key)
    return _checks[key]


def _answer(wanted: Wanted, tell: Tell) -> bytes:
    from analyzer.report.html import html_body

    result = looked_over(wanted, tell)
    tell("drawing", 0.95)
    body = html_body(result, wanted.units)
    said = {
        "outcome": result.outcome,
        "body": body.html,
        "style": body.style,
        "thread": [one.name or one.rgb for one in result.design.threads],
        "size": result.design.size_mm,
    }
    return json.dumps(said).encode()


def _glance(wanted: Wanted, tell: Tell) -> bytes:
    """Return what is wrong with each file of ``items``, in their order; empty where it can be read."""
    wrong = []
    for number, (path, name, *_) in enumerate(wanted.items):
        tell(f"reading {name}", number / len(wanted.items))
        try:
            read_bytes(name, path.read_bytes())
        except PrehoopError as error:
            wrong.append(str(error).removeprefix(f"{name}: "))  # the name stands before it
        except FileNotFoundError:
            wrong.append("it is no longer kept")
        else:
            wrong.append("")
    return json.dumps(wrong).encode()


def _summary(wanted: Wanted, tell: Tell) -> bytes:
    """Return what stands in one half of a comparison."""
    from analyzer.report.cloth_maps import cloth_map
    from analyzer.report.predicted import gap_table
    from analyzer.report.terminal import answer_rows
    from analyzer.report.words import Units, middle_of

    result = looked_over(wanted, tell)
    tell("drawing", 0.9)
    units = Units(wanted.units, middle_of(result.design))
    rows = [(label, units.sentence(text)) for label, text in answer_rows(result)]
    gaps: list[list[str]] = []
    if result.judged is not None and result.judged.setup.holding != "cap-frame":
        _, cells, _ = gap_table(result.judged, result.regions, units)
        gaps = [[*row[:2], *row[3:6]] for row in cells[:5]]
    drift = next(name for name in result.map_names() if name.startswith("drift"))
    picture = cloth_map(result, drift, form="svg").decode("utf-8")
    said = {
        "outcome": result.outcome,
        "rows": rows,
        "gaps": gaps,
        "picture": picture[picture.index("<svg") :],
    }
    return json.dumps(said).encode()


def _pdf(wanted: Wanted, tell: Tell) -> bytes:
    from analyzer.report.paper import Occasion, Piece, risk_report

    result = looked_over(wanted, tell)
    return risk_report([Piece(result)], Occasion(), units=wanted.units)


def _sheet(wanted: Wanted, tell: Tell) -> bytes:
    from analyzer.report.paper import Piece, sewing_sheet

    return sewing_sheet(Piece(looked_over(wanted, tell)), None, wanted.units)


def _html(wanted: Wanted, tell: Tell) -> bytes:
    from analyzer.report.html import html_report

    return html_report(looked_over(wanted, tell), wanted.units)


def _json(wanted: Wanted, tell: Tell) -> bytes:
    return looked_over(wanted, tell).to_json().encode("utf-8")


def _countered(wanted: Wanted, tell: Tell) -> bytes:
    """Return a countered copy in the format that it came in, or in DST where that is not written."""
    result = looked_over(wanted, tell)
    copy = result.countered(tell)
    if copy.design is None:
        raise PrehoopError(" ".join(copy.says))
    form = writable_format(Path(copied_name(wanted.name)))
    return to_bytes(replace(copy.design, name=wanted.name), form, wanted.name)[0]


def copied_name(name: str) -> str:
    """Return the name of a countered copy: the same format where it can be written, else DST."""
    path = Path(name)
    try:
        writable_format(Path("x" + path.suffix))
        ending = path.suffix
    except PrehoopError:
        ending = ".dst"
    return f"{path.stem}-countered{ending}"


def _order(wanted: Wanted, tell: Tell) -> bytes:
    """Return the paperwork of several designs as one archive."""
    import tempfile

    from analyzer.orders import Item, Order, paperwork

    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "paper"
        jobs: dict[Path, Job] = {}
        items = []
        for position, (path, name, job, quantity, placement) in enumerate(wanted.items, 1):
            copy = Path(folder) / f"{position:03d}{Path(name).suffix}"
            copy.write_bytes(path.read_bytes())
            jobs[copy] = job
            items.append(
                Item(position, f"item {position}", copy, job.goods or "", quantity, title=Path(name).stem,
                     placement=placement or None)
            )  # fmt: skip
        order = Order(source=Path("order"), items=tuple(items), number=wanted.title or None)
        paperwork(order, out, jobs.__getitem__, tell, units=wanted.units)
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in sorted(out.iterdir()):
                archive.writestr(zipfile.ZipInfo(file.name, (2000, 1, 1, 0, 0, 0)), file.read_bytes())
        return packed.getvalue()
