"""The page: its numbers are the JSON's, it refers to nothing outside, and what files say stays text."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import itertools
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analyzer import __version__
from analyzer.arrays import Floats, frozen
from analyzer.design import Command, Design, Thread
from analyzer.findings import chance_words
from analyzer.formats import read
from analyzer.job import Job
from analyzer.pipeline import Checked, check
from analyzer.regions.types import RegionKind, Regions
from analyzer.report import Check
from analyzer.report import text as screen_of
from analyzer.report.html import html_report
from analyzer.report.html.content import clean
from analyzer.report.html.shape import Sheet, path, sheet_of, thinned, thread
from analyzer.report.predicted import RUN_GAP
from analyzer.report.tables import voids_in_words
from analyzer.report.thread_look import broken_lines
from analyzer.report.words import Units

VOID = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"}
CREST = "sample_designs/crest-outline-last.dst"


class Page(HTMLParser):
    """A page as a list of elements (tag, attributes) and the texts of those with ``data-of``."""

    def __init__(self, page: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.inside: list[str] = []
        self.numbers: list[tuple[str, str, str]] = []
        self.texts: list[str] = []
        self.raw: dict[str, str] = {}
        self._number: tuple[str, str] | None = None
        self.feed(page.decode("utf-8"))
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take an element in."""
        found = {key: value or "" for key, value in attrs}
        assert len(found) == len(attrs), f"an attribute is given twice on {tag}"
        self.elements.append((tag, found))
        if tag not in VOID:
            self.inside.append(tag)
        if "data-of" in found:
            self._number = found["data-of"], found["data-kind"]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take an element of a drawing in, which closes itself."""
        self.elements.append((tag, {key: value or "" for key, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        """Close the last open element, which must be this one."""
        assert self.inside.pop() == tag, f"</{tag}> closes something else"
        self._number = None

    def handle_data(self, data: str) -> None:
        """Take a text in."""
        if self.inside and self.inside[-1] in ("style", "script"):
            key = self.inside[-1] + (" data" if self.elements[-1][1].get("type") else "")
            self.raw[key] = self.raw.get(key, "") + data
            return
        if self._number is not None:
            self.numbers.append((*self._number, data))
        self.texts.append(data)

    @property
    def text(self) -> str:
        """All that is read on the page."""
        return " ".join(" ".join(self.texts).split())

    def ids(self) -> list[str]:
        """All ids, in order."""
        return [attrs["id"] for _, attrs in self.elements if "id" in attrs]


@pytest.fixture(scope="module")
def crest() -> Checked:
    return check(read(CREST), Job(goods="jersey", backing="cutaway:85"), changes=False)


@pytest.fixture(scope="module")
def compared() -> Checked:
    return check(read(CREST), Job())


@pytest.fixture(scope="module")
def cap() -> Checked:
    job = Job(goods="cotton-twill", holding="cap-frame", backing="tearaway:50")
    return check(read("sample_designs/lighthouse-patch.pes"), job, changes=False)


@pytest.fixture(scope="module")
def pages(crest: Checked, compared: Checked, cap: Checked) -> dict[str, tuple[Checked, Page]]:
    kinds = {"goods": crest, "no goods": compared, "cap": cap}
    return {name: (checked, Page(html_report(checked))) for name, checked in kinds.items()}


KINDS = ("goods", "no goods", "cap")


def value_of(document: dict[str, Any], of: str) -> Any:
    """Return what stands in the JSON at a place such as ``gaps.0.worst_mm``."""
    value: Any = document
    for step in of.split("."):
        value = value[int(step)] if step.isdigit() else value[step]
    return value


def said(value: Any, kind: str) -> str:
    """Return how a number of the JSON is said: 0.1 mm, whole per cent, words for chances (INTERFACE)."""
    if value is None:
        return "-"
    if kind == "signed":
        return f"{value:+.1f}" if round(value, 1) else "0.0"
    known = {
        "mm": lambda: f"{round(value, 1) + 0.0:.1f}",
        "tenths": lambda: f"{value:.1f}",
        "whole": lambda: f"{value:,.0f}",
        "count": lambda: f"{value:,}",
        "percent": lambda: f"{value:.0%}",
        "chance": lambda: chance_words(value),
        "word": lambda: str(value),
    }
    return known[kind]()


@pytest.mark.parametrize("kind", KINDS)
def test_numbers_on_the_page_are_those_of_the_json(kind: str, pages: dict[str, tuple[Checked, Page]]) -> None:
    checked, page = pages[kind]
    document = json.loads(Check.of(checked).to_json())
    assert len(page.numbers) > 60
    for of, how, text in page.numbers:
        assert text.removesuffix(" mm") == said(value_of(document, of), how), of
    shown = {of.split(".")[0] for of, _, _ in page.numbers}
    assert {"design", "use", "regions", "cover", "prehoop"} <= shown
    assert ("gaps" in shown and "pull_in" in shown and "pucker" in shown) == (kind == "goods")


def test_every_gap_finding_and_colour_is_on_the_page(pages: dict[str, tuple[Checked, Page]]) -> None:
    checked, page = pages["goods"]
    assert checked.judged is not None
    assert sum(of.endswith("worst_mm") for of, _, _ in page.numbers) == len(checked.judged.findings.gaps)
    assert sum(of.startswith("design.colours") for of, _, _ in page.numbers) == len(checked.design.threads)
    for item in checked.judged.findings.items:
        assert item.name in page.text
        assert item.because in page.text


def test_inches_are_said_throughout(crest: Checked) -> None:
    """1 inch is 25.4 mm (international yard and pound agreement, 1959)."""
    page = Page(html_report(crest, "in"))
    of, _, text = next(one for one in page.numbers if one[0] == "design.width_mm")
    assert of
    assert text == f"{round(crest.design.size_mm[0], 1) / 25.4:.2f} in"
    assert not re.search(r"\d mm\b(?! per mm2)", page.text)


@pytest.mark.parametrize("kind", KINDS)
def test_version_settings_hash_and_limits_are_told(kind: str, pages: dict[str, tuple[Checked, Page]]) -> None:
    checked, page = pages[kind]
    document = json.loads(Check.of(checked).to_json())
    assert f"prehoop {__version__}" in page.text
    assert checked.design.sha256 in page.text
    for key in ("goods", "care", "back", "holding", "thread", "needle"):
        assert (document["job"][key] or {"goods": "none named"}.get(key, "-")) in page.text
    assert "holds for this file, these goods, this backing, hoop, thread and needle only" in page.text
    assert "is an estimate" in page.text


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_comes_from_elsewhere(kind: str, pages: dict[str, tuple[Checked, Page]]) -> None:
    _, page = pages[kind]
    for tag, attrs in page.elements:
        assert tag not in ("link", "iframe", "object", "embed", "base", "form", "foreignobject")
        for key in ("href", "src", "xlink:href", "action", "data", "srcset", "poster"):
            assert attrs.get(key, "#").startswith(("#", "data:image/png;base64,")), (tag, key)
        assert not any(key.startswith("on") or key == "style" for key in attrs), tag
    assert not re.search(r"url\(|@import|https?:", page.raw["style"])
    assert not re.search(r"https?:|fetch\(|XMLHttp|import\(|eval\(|innerHTML", page.raw["script"])


@pytest.mark.parametrize("kind", KINDS)
def test_policy_admits_this_style_and_this_script_alone(
    kind: str, pages: dict[str, tuple[Checked, Page]]
) -> None:
    """Hashes as in Content Security Policy 3, section 2.3.1."""
    _, page = pages[kind]
    policy = next(
        attrs["content"] for tag, attrs in page.elements
        if tag == "meta" and attrs.get("http-equiv") == "Content-Security-Policy"
    )  # fmt: skip
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["img-src"] == "data:"
    for name in ("style", "script"):
        digest = base64.b64encode(hashlib.sha256(page.raw[name].encode()).digest()).decode()
        assert rules[f"{name}-src"] == f"'sha256-{digest}'"


def test_same_check_gives_the_same_bytes(crest: Checked) -> None:
    assert html_report(crest) == html_report(crest)


@pytest.mark.parametrize("kind", KINDS)
def test_structure_holds(kind: str, pages: dict[str, tuple[Checked, Page]]) -> None:
    """Tags close in order; ids are unique; whatever is pointed at is there (HTML 3.2.6, WAI-ARIA 1.2)."""
    _, page = pages[kind]
    assert page.inside == []
    ids = page.ids()
    assert len(ids) == len(set(ids))
    for tag, attrs in page.elements:
        if attrs.get("href", "").startswith("#"):
            assert attrs["href"][1:] in ids, (tag, attrs["href"])
        for key in ("aria-labelledby", "aria-describedby"):
            assert set(attrs.get(key, "").split()) <= set(ids)
        if attrs.get("role") == "img":
            assert "aria-labelledby" in attrs or attrs.get("aria-label")
        if tag == "img":
            assert attrs.get("alt")
        if tag == "th":
            assert attrs.get("scope") in ("row", "col")
    tags = [tag for tag, _ in page.elements]
    assert (tags.count("h1"), tags.count("main"), tags.count("header"), tags.count("footer")) == (1, 1, 1, 1)
    levels = [int(tag[1]) for tag in tags if re.fullmatch("h[1-6]", tag)]
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert page.elements[0] == ("html", {"lang": "en"})


@pytest.mark.parametrize("kind", KINDS)
def test_without_script_there_is_a_still_for_every_layer(
    kind: str, pages: dict[str, tuple[Checked, Page]]
) -> None:
    _, page = pages[kind]
    choices = [attrs["value"] for _, attrs in page.elements if attrs.get("name") == "lay"]
    offered = [value for value in choices if value]
    drawn = [attrs["href"] for tag, attrs in page.elements if tag == "use" and "data-layer" not in attrs]
    assert len(offered) == (6 if kind == "goods" else 3)
    assert all(f"#layer-{key}" in drawn for key in offered)


HOSTILE = (
    "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
    "\x00\x08\u202egnp.evil\u2066\udcff\ud800&amp;{{7*7}}$x$"
)


def test_hostile_names_and_metadata_stay_text(crest: Checked) -> None:
    """Mark-up, quotes, control marks, marks that turn lines round, broken Unicode, template marks."""
    design = dataclasses.replace(
        crest.design,
        name=HOSTILE,
        notes=(HOSTILE,),
        damaged=HOSTILE,
        threads=tuple(Thread(None, HOSTILE, HOSTILE) for _ in crest.design.threads),
    )
    page = html_report(dataclasses.replace(crest, design=design))
    calm, wild = Page(html_report(crest)), Page(page)
    scripts = [[tag for tag, _ in one.elements].count("script") for one in (calm, wild)]
    assert scripts == [2, 2]
    assert not any(tag == "img" for tag, _ in wild.elements)
    assert wild.text.count("<script>alert(1)</script>") >= 4
    assert "{{7*7}}" in wild.text
    decoded = page.decode("utf-8")
    assert not set("\x00\x08\u202e\u2066") & set(decoded)
    assert "&amp;amp;" in decoded
    own = [attrs for tag, attrs in wild.elements if tag == "bdi"]
    assert len(own) >= 4 + 2 * len(design.threads)


def test_script_data_cannot_end_its_element(crest: Checked) -> None:
    page = Page(html_report(crest))
    assert not set("<>&") & set(page.raw["script data"])
    assert set(json.loads(page.raw["script data"])) >= {"places", "steps", "parts", "looks"}


@pytest.mark.parametrize(
    "text", ["a\ud800b", "\x00", "\x9b31m", "\u202eabc", "\ufffe", "plain \u05d0\u05d1 text"]
)
def test_clean_text_can_be_written_and_keeps_what_is_sound(text: str) -> None:
    seen = clean(text)
    seen.encode("utf-8")
    assert len(seen) >= len([mark for mark in text if mark.isprintable()])
    if text.isprintable():
        assert seen == text


def unpacked(text: str) -> Floats:
    result: Floats = np.frombuffer(base64.b64decode(text), dtype="<i2").astype(np.float64)
    return result


def bilinear(nodal: Floats, cell: float, corner: Floats, at: Floats) -> Floats:
    """Interpolate (ny, nx, 2) at places (p, 2), written apart from the program's own."""
    ny, nx = nodal.shape[:2]
    x = np.clip((at[:, 0] - corner[0]) / cell, 0, nx - 1.000001)
    y = np.clip((at[:, 1] - corner[1]) / cell, 0, ny - 1.000001)
    i, j = np.floor(x).astype(int), np.floor(y).astype(int)
    a, b = (x - i)[:, None], (y - j)[:, None]
    result: Floats = (
        nodal[j, i] * (1 - a) * (1 - b) + nodal[j, i + 1] * a * (1 - b)
        + nodal[j + 1, i] * (1 - a) * b + nodal[j + 1, i + 1] * a * b
    )  # fmt: skip
    return result


def test_what_the_script_draws_ends_where_the_check_says(crest: Checked) -> None:
    """Places and movements read back from the page: at the last step they are the drift of the response."""
    data = json.loads(Page(html_report(crest)).raw["script data"])
    x0, y0, x1, y1 = crest.design.bounds_mm
    at = unpacked(data["places"]).reshape(-1, 2) / data["scale"]
    meant = crest.design.penetrations - ((x0 + x1) / 2, (y0 + y1) / 2)
    assert np.abs(at - meant).max() <= 0.5 / data["scale"] + 1e-9
    moves = data["moves"]
    after = unpacked(moves["after"]).reshape(len(data["steps"]), moves["ny"], moves["nx"], 2) / 1000.0
    own = unpacked(moves["own"]).reshape(-1, 2) / 1000.0
    drawn = own + bilinear(after[-1], moves["cell"], -np.array(data["box"]), at)
    assert crest.judged is not None
    assert np.abs(drawn - crest.judged.response.drift).max() < 0.01
    assert data["steps"][-1]["end"] == len(at)
    ends = [step["end"] for step in data["steps"]]
    assert ends == sorted(ends)
    told = re.search(r"drawn (\d+) times", Page(html_report(crest)).text)
    assert told is not None
    assert int(told[1]) == moves["factor"]


def test_before_and_after_is_drawn_as_large_as_told(crest: Checked) -> None:
    """The same path in both drawings: where it begins moves by the factor times the drift of that place."""
    text = html_report(crest).decode()
    section = text[text.index('class="panels"') : text.index('class="stills"')]
    told = re.search(r"Movements are drawn (\d+) times", text)
    assert told is not None
    moved = np.array(re.findall(r'd="M(-?\d+) (-?\d+)l', section.split("<figure>")[3]), dtype=float)
    thread = text[text.index('id="thread"') : text.index('id="ground"')]
    meant = np.array(re.findall(r'd="M(-?\d+) (-?\d+)l', thread), dtype=float)
    moved = moved[-len(meant) :]  # the cloth's grid is drawn before
    x0, y0, x1, y1 = crest.design.bounds_mm
    points = (crest.design.penetrations - ((x0 + x1) / 2, (y0 + y1) / 2)) * (10.0, -10.0)
    assert crest.judged is not None
    off = float(told[1]) * crest.judged.response.drift * (10.0, -10.0)
    alone = 0
    for before, after in zip(meant, moved, strict=True):
        near = np.flatnonzero(np.hypot(*(points - before).T) < 0.8)
        if len(near) == 1:
            alone += 1
            assert np.abs(after - before - off[near[0]]).max() <= 1.01  # two roundings to whole units
    assert alone > 20


def big_fill(rows: int, columns: int) -> Design:
    """Sew straight rows 0.4 mm apart of stitches 0.4 mm long, to and fro."""
    x = np.arange(columns) * 0.4
    ways = (x, x[::-1])
    places = [np.stack((ways[row % 2], np.full(columns, row * 0.4)), 1) for row in range(rows)]
    points = np.concatenate(places)
    return Design.from_commands(points, np.full(len(points), Command.STITCH), sha256="0" * 64)


def test_very_many_stitches_take_few_bytes_and_lie_where_they_did() -> None:
    """200,000 stitches in straight rows: what is left out lies within 0.06 mm of the lines that are drawn."""
    design = big_fill(447, 448)
    assert design.stitches > 200_000
    regions = Regions((), frozen(np.zeros(len(design.penetrations), dtype=np.int32)), ())
    outline = thinned(design, regions)
    kept = design.penetrations[outline.kept]
    assert len(kept) < len(design.penetrations) / 4
    left_out = np.setdiff1d(np.arange(len(design.penetrations)), outline.kept)
    before = np.searchsorted(outline.kept, left_out) - 1
    a, b, p = kept[before], kept[before + 1], design.penetrations[left_out]
    share = np.clip(np.einsum("ij,ij->i", p - a, b - a) / np.einsum("ij,ij->i", b - a, b - a), 0, 1)
    assert np.hypot(*(a + share[:, None] * (b - a) - p).T).max() <= 0.061
    sheet = Sheet((90.0, 90.0), (100.0, 100.0), None)
    drawn = path(sheet, broken_lines(kept, np.flatnonzero(outline.design.joined).astype(np.int32)))
    assert len(drawn) < 600_000


def test_very_many_stitches_are_one_path_for_each_colour_change() -> None:
    design = big_fill(447, 448)
    regions = Regions((), frozen(np.arange(len(design.penetrations), dtype=np.int32) // 50), ())
    patches = thread(Sheet((90.0, 90.0), (100.0, 100.0), None), thinned(design, regions))
    assert [len(patch.strokes) for patch in patches] == [1]
    assert patches[0].strokes[0].d.count("M") == 1


def test_few_stitches_are_all_drawn(crest: Checked) -> None:
    outline = thinned(crest.design, crest.regions)
    assert len(outline.kept) == len(crest.design.penetrations)
    strokes = [one for patch in thread(sheet_of(crest, None), outline) for one in patch.strokes]
    assert {one.shade for one in strokes} == {True, False}


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour (WCAG 2.2, definition of relative luminance)."""
    parts = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def test_text_contrasts_with_its_ground_by_day_and_by_night() -> None:
    """4.5 to 1 (WCAG 2.2, success criterion 1.4.3)."""
    style = Path("analyzer/report/html/page.css").read_text(encoding="utf-8")
    themes = re.findall(r":root \{([^}]*)\}", style)
    assert len(themes) == 3  # light, dark, paper
    for theme in themes:
        tones = {name: tone if len(tone) == 7 else "#" + "".join(2 * mark for mark in tone[1:])
                 for name, tone in re.findall(r"--(\w+): (#[0-9a-f]{3,6})", theme)}  # fmt: skip
        for ground in ("paper", "sheet"):
            for ink in ("ink", "soft", "link"):
                light, dark = sorted((luminance(tones[ground]), luminance(tones[ink])), reverse=True)
                assert (light + 0.05) / (dark + 0.05) >= 4.5, (ink, ground)


def test_report_is_written_by_its_name(crest: Checked, tmp_path: Path) -> None:
    Check.of(crest).report(tmp_path / "a.html")
    assert (tmp_path / "a.html").read_bytes() == html_report(crest)


def test_beyond_what_is_computed_no_amount_is_drawn(crest: Checked) -> None:
    assert crest.judged is not None
    pull = dataclasses.replace(crest.judged.response.pull_in, beyond_range=True)
    response = dataclasses.replace(crest.judged.response, pull_in=pull)
    wild = dataclasses.replace(crest, judged=dataclasses.replace(crest.judged, response=response))
    page = Page(html_report(wild))
    assert "moves" not in json.loads(page.raw["script data"])
    assert not any(of.startswith(("pull_in", "gaps", "pucker")) for of, _, _ in page.numbers)
    assert "more than can be computed" in page.text


def test_screen_and_page_count_alike() -> None:
    """The flags have one void, too small to be seen: neither counts it, and both write the same figures."""
    flags = check(read("sample_designs/signal-flags.jef"), Job())
    assert len(flags.cover.voids) == 1
    page, screen = Page(html_report(flags)).text, " ".join(screen_of(flags).split())
    figures = [
        voids_in_words(flags.cover, Units()),
        f"{flags.cover.stitched_mm2:,.0f} mm2 stitched",
        f"about {flags.use.minutes:.0f} min",
    ]
    assert figures[0] == "0 voids wider than 0.6 mm"
    for figure in figures:
        assert figure in page
        assert figure in screen


def test_one_is_said_as_one(pages: dict[str, tuple[Checked, Page]]) -> None:
    said = " ".join(page.text for _, page in pages.values())
    found = re.findall(r"\b([0-9,]+) (trims?|jumps?|stops?|voids?|penetrations?)\b", said)
    assert {"trim", "trims"} & {word for _, word in found}
    assert [pair for pair in found if pair[1].endswith("s") is (pair[0] == "1")] == []


def test_a_gap_of_a_run_is_said_to_be_from_its_middle_line(crest: Checked) -> None:
    """The arrows stand on the middle line, within the thread drawn; without a word that looks wrong."""
    page, screen = Page(html_report(crest)).text, " ".join(screen_of(crest).split())
    assert "between the arrows, from the middle line of the run, where region 28" in page
    assert page.count(RUN_GAP) == screen.count(RUN_GAP) == 1
    assert crest.judged is not None
    satin = tuple(dataclasses.replace(item, kind=RegionKind.SATIN) for item in crest.regions.items)
    no_run = dataclasses.replace(crest, regions=dataclasses.replace(crest.regions, items=satin))
    assert RUN_GAP not in " ".join(screen_of(no_run).split())
