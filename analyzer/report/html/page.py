"""Putting the page together."""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2
import numpy as np

from analyzer import __version__
from analyzer.pipeline import Checked
from analyzer.report import predicted, tables
from analyzer.report.canvas import own_style
from analyzer.report.design_map import hoop_of
from analyzer.report.fill_in import document
from analyzer.report.ground import ground_colour
from analyzer.report.html import content
from analyzer.report.html.before import before_after
from analyzer.report.html.inset import worst_place
from analyzer.report.html.layers import layers, units_of
from analyzer.report.html.shape import PER_MM, path, sheet_of, thinned, thread
from analyzer.report.html.steps import movement, page_data, steps
from analyzer.report.thread_look import FLUFF, broken_lines

_BARS_MM = (1, 2, 5, 10, 20, 50, 100, 200)


def html_report(checked: Checked, units: str = "mm") -> bytes:
    """Return the check as one HTML page, UTF-8; the same check gives the same bytes.

    ``units`` is "mm" or "in" and touches lengths only.

    Raises:
        NotConverged: a number is not finite, or a solve missed its tolerance.

    """
    with own_style():
        context = _context(checked, units)
    style, script = _part("page.css") + _fitting(context["sheet"]), _part("page.js")
    page = _template("page.html").render(
        **context,
        embedded=False,
        style=style,
        script=script,
        policy="; ".join(
            (
                "default-src 'none'",
                "img-src data:",
                f"style-src '{_hash(style)}'",
                f"script-src '{_hash(script)}'",
                "base-uri 'none'",
                "form-action 'none'",
            )
        ),
    )
    return page.encode("utf-8")


@dataclass(frozen=True, slots=True)
class Body:
    """A report to stand within another page: its markup, and the style that fits its drawing to the screen.

    The other page brings :func:`page_style` and :func:`page_script`, the script anew for every body.
    """

    html: str
    style: str


def html_body(checked: Checked, units: str = "mm") -> Body:
    """Return the report without head, style and script, to stand within another page.

    Raises:
        NotConverged: a number is not finite, or a solve missed its tolerance.

    """
    with own_style():
        context = _context(checked, units)
    return Body(_template("body.html").render(**context, embedded=True), _fitting(context["sheet"]))


def page_style() -> str:
    """Return the style of all reports."""
    return _part("page.css")


def page_script() -> str:
    """Return the script of all reports."""
    return _part("page.js")


def _fitting(sheet: dict[str, int]) -> str:
    """Return the rule that keeps the whole drawing in sight, however tall it is."""
    share = sheet["width"] / sheet["height"]
    return f"@media screen {{ .stage {{ max-width: max(18rem, {56 * share:.0f}vh); }} }}\n"


def _part(name: str) -> str:
    return files("analyzer.report.html").joinpath(name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """Return the hash by which a policy admits an inline element (Content Security Policy 3, 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


@cache
def _template(name: str) -> jinja2.Template:
    surroundings = jinja2.Environment(
        loader=jinja2.FunctionLoader(_part),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return surroundings.get_template(name)


def _context(checked: Checked, units_name: str) -> dict[str, Any]:
    shown, whole = units_of(checked, units_name), document(checked)
    numbers = content.Numbers(whole, shown)
    on, plan, design = checked.judged, checked.plan, checked.design
    sheet = sheet_of(checked, hoop_of(checked))
    outline = thinned(design, checked.regions)
    moves = movement(checked, on)
    found = content.findings(checked, sheet, shown)
    sewing = steps(checked, moves)
    ends = np.flatnonzero(outline.design.joined).astype(np.int32)
    capped = on is not None and on.setup.holding == "cap-frame"
    left, top, width, height = sheet.box
    bar = max((one for one in _BARS_MM if one * PER_MM <= width / 4), default=1)
    return {
        "version": __version__,
        "name": content.clean(design.name),
        "answer": content.answer(checked, found, shown),
        "n": numbers,
        "units": shown,
        "sheet": {"left": left, "top": top, "width": width, "height": height, "bar": bar},
        "hoop": _hoop(sheet.hoop),
        "ground": ground_colour(checked),
        "surface": on.setup.cloth.family if on else "plain",
        "colours_known": any(thread.rgb for thread in design.threads),
        "ground_known": checked.job.colour is not None,
        "thread": thread(sheet, outline),
        "pale": path(sheet, broken_lines(outline.design.penetrations, ends)),
        "width": round(FLUFF * checked.cover.thread_width_mm * PER_MM, 2),
        "layers": layers(checked, sheet, shown),
        "steps": sewing,
        "grouped": len(sewing) < len(checked.regions.items),
        "moves": moves,
        "inset": worst_place(checked, on),
        "before_after": before_after(checked, outline, sheet),
        "findings": found,
        "movement": [(label, shown.sentence(said)) for label, said in predicted.movement_rows(on, shown)]
        if on and not capped
        else [],
        "capped": capped,
        "beyond": on is not None and on.response.pull_in.beyond_range,
        "gaps": content.gap_rows(checked, on, numbers, shown) if on and not capped else None,
        "comparison": predicted.comparison_table(checked.comparison, shown) if checked.comparison else None,
        "plan": plan,
        "plan_rows": tables.plan_rows(plan, shown) if plan else [],
        "design": whole.design,
        "notes": [content.clean(note) for note in design.notes],
        "damaged": content.clean(design.damaged) if design.damaged else "",
        "colours": content.colour_rows(checked, numbers),
        "regions": content.region_rows(checked, numbers),
        "voids": tables.voids_in_words(checked.cover, shown),
        "design_minutes": whole.use.minutes,
        "sureness": tables.sureness_lines(checked.sureness),
        "settings": content.settings(whole, checked, shown),
        "data": _data(page_data(checked, outline, sheet, sewing, moves, shown)),
    }


def _hoop(hoop: Any) -> dict[str, Any] | None:
    if hoop is None:
        return None
    width, height = round(hoop.width_mm * PER_MM), round(hoop.height_mm * PER_MM)
    return {"width": width, "height": height, "oval": hoop.shape == "oval", "name": content.clean(hoop.name)}


def _data(data: dict[str, Any]) -> str:
    """Return data as JSON that cannot end the element it stands in."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=True)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
