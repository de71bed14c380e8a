"""The page in a real browser: keyboard, places of findings, layers, print, no script, nothing loaded."""

from __future__ import annotations

import dataclasses
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analyzer.design import Command, Design, Thread
from analyzer.formats import read
from analyzer.job import Job
from analyzer.pipeline import Checked, check
from analyzer.report.html import html_report

CHROMIUM = shutil.which("chromium")
playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="chromium is missing: apt-get install chromium")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@pytest.fixture(scope="module")
def checked() -> Checked:
    design = read("sample_designs/crest-outline-last.dst")
    return check(design, Job(goods="jersey", backing="cutaway:85"), changes=False)


@pytest.fixture(scope="module")
def address(checked: Checked, tmp_path_factory: pytest.TempPathFactory) -> str:
    file: Path = tmp_path_factory.mktemp("page") / "crest.html"
    file.write_bytes(html_report(checked))
    return file.as_uri()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with playwright.sync_playwright() as running:
        started = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def page(browser: Any, address: str) -> Iterator[Any]:
    """A page of desktop width; whatever the browser complains of fails the test."""
    context = browser.new_context(viewport={"width": 1200, "height": 900}, reduced_motion="reduce")
    shown = context.new_page()
    complaints: list[str] = []
    asked: list[str] = []
    shown.on("console", lambda said: complaints.append(said.text))
    shown.on("pageerror", lambda error: complaints.append(str(error)))
    shown.on("request", lambda request: asked.append(request.url))
    shown.goto(address)
    shown.wait_for_selector("#sewn[width]")  # set when it is drawn; the policy bars polling by eval
    yield shown
    assert complaints == []
    assert [url for url in asked if not url.startswith("data:")] == [address]
    context.close()


def picture(page: Any) -> str:
    """Return what the canvas shows, once it is drawn."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    shown: str = page.evaluate("document.getElementById('sewn').toDataURL()")
    return shown


def focused(page: Any) -> str:
    found: str = page.evaluate("document.activeElement.id || document.activeElement.getAttribute('href')")
    return found


def test_arrow_keys_move_along_the_sewing(page: Any, checked: Checked) -> None:
    """WCAG 2.2, 2.1.1: all of it works from the keyboard. The live region says what is sewn."""
    steps = len(checked.regions.items)
    page.focus("#step")
    whole = picture(page)
    assert page.inner_text("#said").startswith(f"Step {steps} of {steps}: ")
    assert f"{checked.design.stitches:,} of {checked.design.stitches:,} stitches" in page.inner_text("#said")
    page.keyboard.press("ArrowLeft")
    assert page.inner_text("#said").startswith(f"Step {steps - 1} of {steps}: ")
    page.keyboard.press("Home")
    assert page.inner_text("#said") == "Nothing is sewn yet."
    assert page.get_attribute("#step", "aria-valuetext") == "Nothing is sewn yet."
    bare = picture(page)
    assert bare != whole
    page.keyboard.press("End")
    assert picture(page) == whole
    assert page.get_attribute("#said", "role") == "status"


def test_buttons_and_ribbon_move_along_too(page: Any) -> None:
    page.click("#earlier")
    before = page.inner_text("#said")
    page.click("#later")
    assert page.inner_text("#said") != before
    page.locator('.ribbon rect[data-step="5"]').click(force=True)
    assert page.inner_text("#said").startswith("Step 5 of ")
    assert page.locator(".ribbon rect.later").count() == page.locator(".ribbon rect").count() - 5


def test_movement_can_be_left_out(page: Any) -> None:
    moved = picture(page)
    page.focus("#moved")
    page.keyboard.press("Space")
    meant = picture(page)
    assert meant != moved
    page.keyboard.press("Space")
    assert picture(page) == moved


def test_enter_on_a_finding_marks_its_place_and_leads_back(page: Any) -> None:
    link = page.locator(".findings a.place").first
    link.focus()
    page.keyboard.press("Enter")
    assert focused(page) == "place-1"
    assert page.locator("#place-1").get_attribute("class") == "mark on"
    assert "outline-gap" in page.inner_text("#said")
    box = page.locator("#place-1").bounding_box()
    assert box is not None
    assert 0 <= box["y"] <= 900
    page.keyboard.press("Enter")
    assert focused(page) == "#place-1"
    assert page.evaluate("document.activeElement.closest('li').id") == "finding-1"


def test_one_layer_at_a_time_is_laid_over(page: Any) -> None:
    shown = "use.layer:not([hidden])"
    assert page.locator(shown).count() == 0
    page.focus('input[name="lay"][value=""]')
    for _ in range(2):
        page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.value") == "coverage"
    assert page.locator(shown).count() == 1
    assert page.locator(shown).get_attribute("data-layer") == "coverage"
    assert page.locator('[data-told="coverage"]').is_visible()
    assert not page.locator('[data-told="density"]').is_visible()


def test_tab_reaches_everything_in_reading_order(page: Any) -> None:
    """WCAG 2.2, 2.4.3; what can be reached says what it is (4.1.2)."""
    page.evaluate("document.body.focus()")
    places = []
    for _ in range(60):
        page.keyboard.press("Tab")
        place = page.evaluate(
            "() => { const one = document.activeElement, box = one.getBoundingClientRect();"
            " return one === document.body ? null : [one.id || one.className || one.value || '',"
            " (one.getAttribute('aria-label') || one.textContent || (one.labels || [{}])[0].textContent"
            " || '').trim(), box.top + scrollY]; }"
        )
        if place is None:
            break
        places.append(place)
    names = [place[0] for place in places]
    assert [names.index(name) for name in ("step", "earlier", "later", "moved")] == sorted(
        names.index(name) for name in ("step", "earlier", "later", "moved")
    )
    assert all(told for _, told, _ in places if told is not None)
    assert len(places) > 10


@pytest.mark.parametrize("width", [390, 1200])
def test_nothing_sticks_out_sideways(browser: Any, address: str, width: int) -> None:
    """WCAG 2.2, 1.4.10: no scrolling in two directions at the width of a phone."""
    context = browser.new_context(viewport={"width": width, "height": 844})
    shown = context.new_page()
    shown.goto(address)
    assert shown.evaluate("document.documentElement.scrollWidth") <= width
    context.close()


def test_without_script_all_is_there(browser: Any, address: str, checked: Checked) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 1200, "height": 900})
    shown = context.new_page()
    shown.goto(address)
    assert not shown.locator("#sewn").is_visible()
    assert not shown.locator("#step").is_visible()
    assert shown.locator(".still").count() == 6
    assert all(still.is_visible() for still in shown.locator(".still").all())
    rows = shown.locator("section[aria-labelledby=order-head] table").first.locator("tbody tr")
    assert rows.count() == len(checked.regions.items)
    shown.locator(".findings a.place").first.click()
    assert shown.url.endswith("#place-1")
    context.close()


def test_on_paper_there_are_stills_and_no_controls(page: Any) -> None:
    page.emulate_media(media="print")
    assert not page.locator("#step").is_visible()
    assert not page.locator("#sewn").is_visible()
    assert not page.locator("fieldset.lay").is_visible()
    assert page.locator(".still").first.is_visible()
    assert page.locator(".stage .drawn").evaluate("(one) => getComputedStyle(one).display") != "none"
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_prints_on_both_papers(page: Any, size: str) -> None:
    """Points: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI Y14.1)."""
    pypdf = pytest.importorskip("pypdf")
    import io

    pages = pypdf.PdfReader(io.BytesIO(page.pdf(format=size, prefer_css_page_size=False))).pages
    wide, high = (595, 842) if size == "A4" else (612, 792)
    sheet = pages[0].mediabox
    assert (float(sheet.width), float(sheet.height)) == pytest.approx((wide, high), abs=1)
    words = " ".join(" ".join(one.extract_text() for one in pages).split())
    assert "What was found" in words
    assert "sha256" in words
    assert len(pages) <= 14


def test_dark_where_the_reader_wants_it(browser: Any, address: str) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        context = browser.new_context(color_scheme=scheme)
        shown = context.new_page()
        shown.goto(address)
        colour = shown.evaluate("getComputedStyle(document.body).backgroundColor")
        grounds.append(sum(int(part) for part in colour[4:-1].split(",")))
        context.close()
    assert grounds[1] < 150 < 600 < grounds[0]


def test_hostile_names_run_nothing(browser: Any, checked: Checked, tmp_path: Path) -> None:
    name = "</title><script>window.ran = 1</script><img src=x onerror='window.ran = 1'>\"'\u202e\x00\udcff"
    threads = tuple(Thread(None, name, name) for _ in checked.design.threads)
    design = dataclasses.replace(checked.design, name=name, notes=(name,), threads=threads)
    file = tmp_path / "hostile.html"
    file.write_bytes(html_report(dataclasses.replace(checked, design=design)))
    shown = browser.new_page()
    complaints: list[str] = []
    shown.on("console", lambda said: complaints.append(said.text))
    shown.goto(file.as_uri())
    shown.wait_for_timeout(100)
    assert shown.evaluate("window.ran") is None
    assert complaints == []
    assert shown.title().startswith("</title><script>window.ran = 1</script>")
    assert "<img src=x" in shown.inner_text(".about")
    shown.close()


def test_the_cloth_is_brought_nearer_and_tells_what_lies_there(page: Any, checked: Checked) -> None:
    """By keyboard alone; places are told in mm from the middle, regions by their numbers."""
    before = picture(page)
    page.focus(".stage")
    for key in ("+", "+", "ArrowRight"):
        page.keyboard.press(key)
    assert picture(page) != before
    told = page.inner_text("#here")
    place = re.search(r"At \((-?[0-9.]+), (-?[0-9.]+)\) mm: (fill|satin|run|underlay|tie|travel) (\d+)", told)
    assert place is not None, told
    x, y = float(place[1]), float(place[2])
    region = next(one for one in checked.regions.items if one.id == int(place[4]))
    x0, y0, x1, y1 = checked.design.bounds_mm
    middle = (x0 + x1) / 2, (y0 + y1) / 2
    low_x, low_y, high_x, high_y = region.bbox_mm
    assert low_x - 3.0 <= x + middle[0] <= high_x + 3.0
    assert low_y - 3.0 <= y + middle[1] <= high_y + 3.0
    assert "moved" in told
    page.keyboard.press("0")
    assert picture(page) == before


def test_dragging_moves_along_the_cloth(page: Any) -> None:
    page.click("#nearer")
    page.click("#nearer")
    box = page.locator(".stage").bounding_box()
    page.locator(".stage").scroll_into_view_if_needed()
    box = page.locator(".stage").bounding_box()
    before = picture(page)
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 0.45 * box["height"])
    page.mouse.up()
    assert picture(page) != before
    page.click("#all")


COUNT_LINES = """() => {
  window.lines = 0;
  const pen = CanvasRenderingContext2D.prototype, plain = pen.lineTo;
  pen.lineTo = function (x, y) { window.lines += 1; plain.call(this, x, y); };
}"""


def lines_drawn(page: Any, key: str) -> int:
    """Press a key on the cloth and return how many lines were drawn for it."""
    picture(page)
    page.evaluate("window.lines = 0")
    page.focus(".stage")
    page.keyboard.press(key)
    picture(page)
    return int(page.evaluate("window.lines"))


def test_only_what_is_in_sight_is_drawn(page: Any) -> None:
    page.evaluate(COUNT_LINES)
    whole = lines_drawn(page, "0")
    for _ in range(5):
        lines_drawn(page, "+")
    assert 0 < lines_drawn(page, "ArrowLeft") < 0.7 * whole  # rows of its middle lie under each other
    assert lines_drawn(page, "0") == whole


def test_a_large_design_is_drawn_coarsely_until_it_is_near(browser: Any, tmp_path: Path) -> None:
    """48,000 stitches: each is drawn once from afar, with edges and tones from near."""
    y, columns = np.arange(800) * 0.2, []
    for number in range(60):
        x = np.where(np.arange(800) % 2, 3.0, 0.0) + 3.6 * number
        columns.append(np.column_stack([x, y if number % 2 == 0 else y[::-1]]))
    points = np.concatenate(columns).round(1)
    design = Design.from_commands(points, np.full(len(points), Command.STITCH), sha256="0" * 64)
    file = tmp_path / "large.html"
    file.write_bytes(
        html_report(check(design, Job(goods="cotton-twill", holding="cap-frame"), changes=False))
    )
    assert file.stat().st_size < 30 * design.stitches
    context = browser.new_context(viewport={"width": 1200, "height": 900})
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector("#sewn[width]")
    assert page.evaluate("document.querySelectorAll('*').length") < 5_000
    page.evaluate(COUNT_LINES)
    assert design.stitches * 0.99 <= lines_drawn(page, "0") <= design.stitches
    for _ in range(4):
        near = lines_drawn(page, "+")
    # what is seen at 6.6 times is a share of about 1 / 6.6 ** 2, drawn twice, in pieces of 100
    assert near < 0.4 * design.stitches
    tones = page.evaluate("""() => { const held = document.getElementById('sewn');
      const seen = held.getContext('2d').getImageData(0, 0, held.width, held.height).data, found = new Set();
      for (let k = 0; k < seen.length; k += 4) found.add(seen[k]);
      return found.size; }""")
    assert tones > 3
    context.close()
