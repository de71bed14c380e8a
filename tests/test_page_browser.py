"""The local page in a real browser: the whole flow, by mouse and by keyboard, and what axe-core says."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="chromium is missing: apt-get install chromium")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
SAMPLES = Path(__file__).parents[1] / "sample_designs"
WAIT_MS = 90_000
WIDTHS = (390, 820, 1280)
OWN = ("goods", "backings", "stock", "machine", "limits")


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve the page as a user does, in a process of its own."""
    folder = tmp_path_factory.mktemp("served")
    library = folder / "library"
    library.mkdir()
    for name in ("lighthouse-sketch.jef", "signal-flags.jef"):
        shutil.copy(SAMPLES / name, library / name)
    tool = [sys.executable, "-m", "analyzer"]
    book = folder / "book.sqlite"
    scanned = [*tool, "scan", str(library), "--book", str(book), "--goods", "jersey", "--jobs", "1"]
    subprocess.run(scanned, check=True, capture_output=True, timeout=120)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    left = folder / "temporary"
    left.mkdir()
    environment = os.environ | {
        "HOME": str(folder), "XDG_CONFIG_HOME": str(folder / "settings"), "TMPDIR": str(left)
    }  # fmt: skip
    command = [*tool, "serve", "--port", str(port), "--book", str(book)]
    with subprocess.Popen(command, cwd=folder, env=environment, stderr=subprocess.DEVNULL) as served:
        end = time.monotonic() + 30
        while time.monotonic() < end:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        yield f"http://127.0.0.1:{port}"
        assert list(left.glob("prehoop-page-*")), "the session's folder is looked for in the wrong place"
        served.terminate()
        served.wait(20)
    assert not list(left.glob("prehoop-page-*")), "the session's folder is left behind"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as running:
        started = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    shown = context.new_page()
    shown.set_default_timeout(WAIT_MS)
    complaints: list[str] = []
    shown.on("pageerror", lambda error: complaints.append(str(error)))
    refused = re.compile(
        r"status of (422|503)|ERR_FAILED|Response Status Error Code 503"
        r"|htmx:(responseError|sendError|afterRequest)"
    )  # what a test asks for
    shown.on(
        "console",
        lambda said: (
            complaints.append(said.text) if said.type == "error" and not refused.search(said.text) else None
        ),
    )
    fetched: list[str] = []
    shown.on("request", lambda request: fetched.append(request.url))
    yield shown
    assert not complaints
    assert all(re.match(r"(http://127\.0\.0\.1:|data:|blob:)", url) for url in fetched), (
        "fetched from elsewhere"
    )
    context.close()


def drop(page: Any, address: str, file: str = "crest-outline-last.dst", goods: str | None = "jersey") -> None:
    page.goto(address)
    page.set_input_files("#files", str(SAMPLES / file))
    if goods:
        page.check(f'input[name="goods"][value="{goods}"]')
    page.click("#drop button[type=submit]")
    page.wait_for_selector(".report h1")


def test_the_whole_flow(page: Any, address: str, tmp_path: Path) -> None:
    drop(page, address)
    assert "sample first" in page.inner_text(".report h1").lower()
    # the goods are changed, and the answer follows without a new page
    page.click(".goods summary")
    page.check('input[name="goods"][value="terry"]')
    page.wait_for_selector('.report .about:has-text("terry")')
    assert "goods=terry" in page.url
    # another backing
    page.click("details.more summary")
    page.fill('input[name="backing"]', "cutaway:85x2")
    page.press('input[name="backing"]', "Tab")
    page.wait_for_selector('.answer dd:has-text("cutaway 85 g/m2")')
    # take the reports
    for text, begins in (("Risk report", b"%PDF"), ("Sewing sheet", b"%PDF"), ("This report", b"<!DOCTYPE")):
        with page.expect_download() as waiting:
            page.click(f"text={text}")
        file = tmp_path / waiting.value.suggested_filename
        waiting.value.save_as(file)
        assert file.read_bytes().startswith(begins)
    # the order
    page.fill('input[name="quantity"]', "12")
    page.click("text=Put into the order")
    line = page.inner_text(".lines li")
    assert "crest-outline-last.dst" in line
    assert "12 pieces on" in line
    with page.expect_download() as waiting:
        page.click("text=Make its paperwork")
    waiting.value.save_as(tmp_path / "order.zip")
    with zipfile.ZipFile(tmp_path / "order.zip") as archive:
        assert "risk-report.pdf" in archive.namelist()


def test_a_cloth_of_ones_own_is_added_and_a_design_checked_on_it(page: Any, address: str) -> None:
    page.goto(f"{address}/own")
    page.click("text=Add a cloth")
    # by keyboard, as it comes: a mistake first
    page.focus("#name")
    page.keyboard.type("Crew Polo")
    page.keyboard.press("Tab")
    page.select_option("#like", "pique")
    page.keyboard.press("Tab")
    page.keyboard.type("heavy")
    with page.expect_response(lambda answer: answer.request.method == "POST") as refused:
        page.keyboard.press("Enter")
    assert refused.value.status == 422
    page.wait_for_selector("#weight[aria-invalid=true]")
    page.click('.trouble a[href="#weight"]')
    assert page.evaluate("document.activeElement.id") == "weight"
    described = page.get_attribute("#weight", "aria-describedby").split()
    assert page.inner_text(f"#{described[0]}").startswith("give a number")
    page.fill("#weight", "205")
    page.click("summary:has-text('stretch test')")
    for key, value in (("strip_mm", "50"), ("gauge_mm", "200"), ("load_g", "100"), ("extension_mm", "14")):
        page.fill(f"#along_{key}", value)
    page.click("form.fill p.line button:has-text('Keep')")
    page.wait_for_selector('.kept:has-text("The cloth is kept")')
    drop(page, address, "lighthouse-sketch.jef", goods="crew-polo")
    page.wait_for_selector('.report .about:has-text("crew-polo")')


def test_own_things_can_be_kept_without_script(browser: Any, address: str) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{address}/own/machine")
    for field, value in (
        ("name", "Loft"),
        ("needles", "12"),
        ("speed_spm", "800"),
        ("frame_1_name", "breast"),
    ):
        page.fill(f"#{field}", value)
    page.press("#frame_1_name", "Enter")
    page.click('.trouble a[href="#frame_1_width"]')
    page.fill("#frame_1_width", "110")
    page.fill("#frame_1_height", "110")
    page.click("form.fill p.line button:has-text('Keep')")
    assert "The machine is kept." in page.inner_text(".kept")
    assert "12 needles, 800 stitches a minute, 1 frame" in page.inner_text("main")
    context.close()


def test_side_by_side(page: Any, address: str) -> None:
    drop(page, address)
    page.select_option('select[name="other_goods"]', "canvas")
    page.click("text=Side by side")
    page.wait_for_selector(".pairing section:nth-child(1) .drawn svg")
    page.wait_for_selector(".pairing section:nth-child(2) .drawn svg")
    assert page.locator(".pairing h3").count() == 2


def test_a_design_of_the_book_is_opened(page: Any, address: str) -> None:
    page.goto(f"{address}/book?name=flags")
    assert page.locator(".gallery li").count() == 1
    page.click(".gallery button")
    page.wait_for_selector(".report")
    assert "signal-flags.jef" in page.inner_text(".setup .about")


def test_the_flow_by_keyboard_alone(page: Any, address: str) -> None:
    page.goto(address)
    page.set_input_files("#files", str(SAMPLES / "crest-outline-last.dst"))  # the system's own window chooses
    page.focus("#files")
    page.keyboard.press("Tab")
    while page.evaluate_handle("document.activeElement").get_property("name").json_value() != "goods":
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    page.wait_for_selector(".report h1")
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        active = page.evaluate_handle("document.activeElement")
        reached.add(active.get_property("id").json_value() or active.get_property("name").json_value())
        if active.get_property("id").json_value() == "step":
            break
    assert "step" in reached
    before = page.inner_text("#said")
    page.keyboard.press("ArrowLeft")
    assert page.inner_text("#said") != before


def test_long_work_is_shown_and_can_be_stopped_and_taken_up_again(page: Any, address: str) -> None:
    page.goto(address)
    page.set_input_files("#files", str(SAMPLES / "overdense-flag.exp"))
    page.check('input[name="goods"][value="jersey"]')
    # the first look tells how far it is; every later one but the last is told the same, so that there is time
    told: list[str] = []
    again = re.compile(r"/answer\?")
    halted = (
        '<div class="progress" hx-get="/tasks/held" hx-trigger="load delay:100ms" hx-target="this" '
        'hx-swap="outerHTML"><p data-state>Measuring</p><button type="button" id="stop-held" '
        'hx-post="/tasks/held/stop" hx-target="closest .progress" hx-swap="outerHTML">Stop</button></div>'
    )
    stopped = (
        '<div class="progress"><p class="trouble" role="alert">Stopped.</p><button type="button" '
        'hx-get="PLACE" hx-target="closest .progress" hx-swap="outerHTML">Look it over again</button></div>'
    )

    def hold(route: Any) -> None:
        told.append(route.request.url)
        is_over = any(url.endswith("/stop") for url in told)
        body = stopped.replace("PLACE", page.url.replace("?", "/answer?")) if is_over else halted
        route.fulfill(status=200, content_type="text/html", body=body)

    page.route(again, hold)
    page.route("**/tasks/held**", hold)
    page.click("#drop button[type=submit]")
    page.focus("#stop-held")
    while len(told) < 4:
        page.wait_for_timeout(50)
    assert page.evaluate("document.activeElement.id") == "stop-held", "the button is lost at every look"
    assert page.inner_text("#state") == "Measuring"
    page.unroute(again)
    # pressed the very moment that a look at how far it is has put a new button in the old one's place
    page.evaluate(
        "document.body.addEventListener('htmx:afterSwap', "
        "() => setTimeout(() => document.activeElement.click()), {once: true})"
    )
    page.click("text=Look it over again")
    page.wait_for_selector(".report h1")
    assert page.inner_text("#state").startswith("The answer is there")


def test_what_is_refused_or_unanswered_is_shown(page: Any, address: str) -> None:
    drop(page, address, "lighthouse-sketch.jef", "felt")
    busy = '<p class="trouble" role="alert">Many designs are being looked at just now.</p>'
    page.route("**/answer?*", lambda route: route.fulfill(status=503, content_type="text/html", body=busy))
    page.click(".goods summary")
    with page.expect_response("**/answer?*"):
        page.check('input[name="goods"][value="terry"]')
    page.wait_for_selector('.trouble:has-text("Many designs")')
    page.unroute("**/answer?*")
    page.route("**/answer?*", lambda route: route.abort())
    page.check('input[name="goods"][value="canvas"]')
    page.wait_for_selector('#answer .trouble:has-text("does not answer")')


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_core_finds_nothing_serious(browser: Any, address: str, scheme: str) -> None:
    """axe-core 4 (Deque), rules of WCAG 2.1 A and AA."""
    from axe_playwright_python.sync_playwright import Axe

    context = browser.new_context(color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    drop(page, address)
    shown = page.url
    serious: list[str] = []
    own = [f"{address}/own{part}" for part in ("", *(f"/{one}" for one in OWN))]
    for url in (shown, address, f"{address}/order", f"{address}/book", *own):
        page.goto(url)
        if "/own/" in url:  # as it is after a mistake, with everything unfolded
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            page.evaluate("document.querySelector('input[size]').value = 'many'")
            page.click("form.fill p.line button >> nth=0")
            page.wait_for_selector("[aria-invalid=true]")
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        if url == shown:
            page.wait_for_selector(".report h1")
            page.click("details.more summary")
        for rule in Axe().run(page).response["violations"]:
            if rule["impact"] in ("serious", "critical"):
                serious += [f"{url}: {rule['id']}: {node['html'][:120]}" for node in rule["nodes"]]
    context.close()
    assert not serious, "\n".join(serious)


@pytest.mark.parametrize("width", WIDTHS)
def test_no_page_is_wider_than_its_window(browser: Any, address: str, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 800}, bypass_csp=True)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    drop(page, address)
    page.click("text=Put into the order")
    for url in (
        page.url,
        address,
        f"{address}/order",
        f"{address}/book",
        *(f"{address}/own/{one}" for one in OWN),
    ):
        page.goto(url)
        if "/own/" in url:
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        page.wait_for_load_state("networkidle")
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width + 1, f"{url} is {wide} px wide in a window of {width}"
    context.close()


def test_reduced_motion_is_honoured(browser: Any, address: str) -> None:
    context = browser.new_context(reduced_motion="reduce", bypass_csp=True)
    page = context.new_page()
    page.goto(address)
    assert page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "auto"
    context.close()


def test_a_script_in_a_name_does_not_run(page: Any, address: str, tmp_path: Path) -> None:
    hostile = tmp_path / "<img src=x onerror=document.title='run'>.dst"
    shutil.copy(SAMPLES / "lighthouse-sketch.jef", hostile.with_suffix(".jef"))
    page.goto(address)
    page.set_input_files("#files", str(hostile.with_suffix(".jef")))
    page.check('input[name="goods"][value="felt"]')
    page.click("#drop button[type=submit]")
    page.wait_for_selector(".report h1")
    assert page.title() != "run"
    assert page.locator("img[src=x]").count() == 0
