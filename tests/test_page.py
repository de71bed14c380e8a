"""The local page as a program sees it: what it hands out, and what it refuses."""

from __future__ import annotations

import io
import itertools
import json
import multiprocessing
import os
import re
import statistics
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from analyzer.design import Command, Design
from analyzer.formats import to_bytes, writable_format
from analyzer.job import Job
from analyzer.library.book import Book
from analyzer.library.scanning import scan
from analyzer.library.types import Asked
from analyzer.library.workers import LocalWorkers
from analyzer.page import make_app
from analyzer.page.choices import choices, job_of
from analyzer.page.guard import UPLOAD_BYTES
from analyzer.page.store import Store
from analyzer.page.tasks import Made, Wanted, copied_name
from analyzer.page.workers import Busy, Hall

SAMPLES = Path(__file__).parents[1] / "sample_designs"
CREST = SAMPLES / "crest-outline-last.dst"
OWN = {"origin": "http://127.0.0.1:8674"}


def _light() -> bytes:
    """Return a design of a few rows, quickly looked over."""
    x = np.where(np.arange(60) % 4 < 2, 0.0, 8.0)
    points = np.column_stack([x, np.repeat(np.arange(30) * 0.4, 2)]).round(1)
    design = Design.from_commands(points, np.full(60, Command.STITCH))
    return to_bytes(design, writable_format(Path("light.dst")), "light.dst")[0]


LIGHT = _light()


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = tmp_path_factory.mktemp("page")
    library = folder / "library"
    library.mkdir()
    for name in ("crest-outline-last.dst", "towel-shell.vp3"):
        (library / name).write_bytes((SAMPLES / name).read_bytes())
    workers = LocalWorkers(1)
    with Book(folder / "book.sqlite", write=True) as book:
        scan(library, book, Asked(("jersey",)), workers)
    workers.close()
    settings = folder / "own" / "prehoop.toml"
    app = make_app(Job, 8674, book=folder / "book.sqlite", settings_file=settings, workers=2)
    with TestClient(app, base_url="http://127.0.0.1:8674", follow_redirects=False) as made:
        yield made


def dropped(client: TestClient, path: Path = CREST, name: str | None = None, **said: str) -> str:
    """Drop a file on the page and return where it is shown."""
    files = {"files": (name or path.name, path.read_bytes())}
    answer = client.post("/designs", files=files, data=said, headers=OWN)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def settled(client: TestClient, url: str, within_s: float = 60.0) -> Any:
    """Ask until an answer is there."""
    answer = client.get(url)
    end = time.monotonic() + within_s
    while (task := re.search(r"/tasks/([\w-]+)\"", answer.text)) and time.monotonic() < end:
        answer = client.get(f"/tasks/{task[1]}")
    assert "<progress" not in answer.text
    return answer


# ---- the flow


def test_a_dropped_design_is_answered_on_its_goods(client: TestClient) -> None:
    place = dropped(client, goods="jersey")
    page = client.get(place)
    assert page.status_code == 200
    assert CREST.name in page.text
    token, query = urlsplit(place).path, urlsplit(place).query
    text = settled(client, f"{token}/answer?{query}").text
    assert "sample first" in text.lower()
    assert "outline-gap" in text
    assert re.search(r"fusible-cutaway|mesh-cutaway|cutaway", text)


def test_a_change_of_goods_changes_the_answer(client: TestClient) -> None:
    place = urlsplit(dropped(client)).path
    jersey = settled(client, f"{place}/answer?goods=jersey").text
    terry = settled(client, f"{place}/answer?goods=terry").text
    assert "on terry towel" in terry
    assert "on terry towel" not in jersey


def test_without_goods_three_are_compared(client: TestClient) -> None:
    text = settled(client, f"{urlsplit(dropped(client)).path}/answer").text
    assert "What three goods would do to it" in text


@pytest.mark.parametrize(
    ("what", "begins", "ending"),
    [
        ("risk-report", b"%PDF", ".pdf"),
        ("sewing-sheet", b"%PDF", ".pdf"),
        ("report", b"<!DOCTYPE html>", ".html"),
        ("check", b"{", ".json"),
        ("countered", b"LA:", ".dst"),
    ],
)
def test_everything_can_be_taken_away(client: TestClient, what: str, begins: bytes, ending: str) -> None:
    place = urlsplit(dropped(client, goods="jersey")).path
    answer = client.get(f"{place}/take/{what}?goods=jersey")
    assert answer.status_code == 200, answer.text
    assert answer.content.startswith(begins)
    assert re.search(rf'filename="[\w.\- ]+{re.escape(ending)}"', answer.headers["content-disposition"])


def test_numbers_of_the_page_are_those_of_the_json(client: TestClient) -> None:
    place = urlsplit(dropped(client, goods="jersey")).path
    document = client.get(f"{place}/take/check?goods=jersey").json()
    shown = settled(client, f"{place}/answer?goods=jersey").text
    gap = document["gaps"][0]
    assert f"{gap['worst_mm']:+.1f}" in shown
    assert f"{document['design']['stitches']:,}" in shown
    sheet = PdfReader(io.BytesIO(client.get(f"{place}/take/sewing-sheet?goods=jersey").content))
    assert f"{gap['worst_mm']:+.1f}" in sheet.pages[0].extract_text()


def test_two_goods_side_by_side(client: TestClient) -> None:
    place = urlsplit(dropped(client)).path
    assert client.get(f"{place}/compare?goods=jersey&other_goods=canvas").status_code == 200
    first = settled(client, f"{place}/compare?goods=jersey&other_goods=canvas&part=first").text
    second = settled(client, f"{place}/compare?goods=jersey&other_goods=canvas&part=second").text
    assert "on jersey" in first
    assert "on canvas" in second


def test_an_order_of_several_designs(client: TestClient) -> None:
    token = urlsplit(dropped(client)).path.rsplit("/", 1)[-1]
    said = {"token": token, "goods": "jersey", "quantity": "12", "placement": "left chest"}
    assert client.post("/order/add", data=said, headers=OWN).status_code == 303
    other = urlsplit(dropped(client, SAMPLES / "towel-shell.vp3")).path.rsplit("/", 1)[-1]
    client.post("/order/add", data={"token": other, "goods": "terry", "quantity": "2"}, headers=OWN)
    shown = client.get("/order").text
    assert "left chest" in shown
    answer = client.post("/order/paper", data={"number": "R-14"}, headers=OWN)
    assert answer.status_code == 200, answer.text
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        names = archive.namelist()
        order = json.loads(archive.read("order.json"))
    assert "risk-report.pdf" in names
    assert [item["quantity"] for item in order["items"]] == [12, 2]
    line = re.search(r'name="line" value="([\w-]+)"', shown)
    assert line is not None
    client.post("/order/drop", data={"line": line[1]}, headers=OWN)
    assert "left chest" not in client.get("/order").text


@pytest.mark.parametrize(("quantity", "goods"), [("0", "jersey"), ("many", "jersey"), ("1", "")])
def test_an_order_line_must_make_sense(client: TestClient, quantity: str, goods: str) -> None:
    token = urlsplit(dropped(client)).path.rsplit("/", 1)[-1]
    answer = client.post(
        "/order/add", data={"token": token, "goods": goods, "quantity": quantity}, headers=OWN
    )
    assert answer.status_code == 400
    assert "trouble" in answer.text


def test_the_design_book_is_filtered_and_opened(client: TestClient) -> None:
    whole = client.get("/book").text
    assert "crest-outline-last.dst" in whole
    assert "towel-shell.vp3" in whole
    some = client.get("/book", params={"name": "shell"}).text
    assert "crest-outline-last.dst" not in some
    assert "did you mean" in client.get("/book", params={"where": "stiches > 3"}).text
    sha256 = re.search(r'name="sha256" value="(\w{64})"', some)
    assert sha256 is not None
    answer = client.post("/book/open", data={"sha256": sha256[1], "goods": "terry"}, headers=OWN)
    assert answer.status_code == 303
    assert "goods=terry" in answer.headers["location"]


def test_files_dropped_together_are_named_at_the_top_with_what_is_wrong(client: TestClient) -> None:
    files = [
        ("files", ("first of three.dst", LIGHT)),
        ("files", ("second.dst", LIGHT)),
        ("files", ("torn.dst", b"no stitches at all")),
        ("files", ("empty.pes", b"")),
    ]
    answer = client.post("/designs", files=files, data={"goods": "denim"}, headers=OWN)
    assert answer.status_code == 303
    where = answer.headers["location"]
    shown = client.get(where).text
    head = shown[: shown.index('id="answer"')]
    for name in ("second.dst", "torn.dst", "empty.pes"):
        assert f"<bdi>{name}</bdi>" in head
    (ask,) = re.findall(r'class="others" hx-get="([^"]+)"', head)
    told = client.get(ask.replace("&amp;", "&")).text
    lines = {re.search(r"<bdi>(.*?)</bdi>", line)[1]: line for line in re.findall(r"<li>.*?</li>", told)}  # type: ignore[index]
    assert "cannot be read" in lines["torn.dst"]
    assert "cannot be read" in lines["empty.pes"]
    assert "cannot be read" not in lines["second.dst"]
    assert "goods=denim" in lines["second.dst"], "the choices go along"
    assert "first of three" not in told


def test_a_file_can_be_forgotten(client: TestClient) -> None:
    place = urlsplit(dropped(client, name="forget.dst")).path
    assert client.post(f"{place}/remove", headers=OWN).status_code == 303
    assert client.get(place).status_code == 404


# ---- what it refuses


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example:8674", "127.0.0.1:80", "localhost:9", ""]
)
def test_a_name_that_is_not_this_machine_is_refused(client: TestClient, host: str) -> None:
    """DNS rebinding: the browser believes that evil.example is 127.0.0.1, but sends its name."""
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {},
    ],
)
def test_a_form_of_another_site_is_refused(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post("/designs", files={"files": ("a.dst", CREST.read_bytes())}, headers=headers)
    assert answer.status_code == 403


def test_a_picture_on_another_site_cannot_read_the_page(client: TestClient) -> None:
    assert client.get("/", headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert client.get("/").headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS"])
def test_other_methods_are_refused(client: TestClient, method: str) -> None:
    assert client.request(method, "/", headers=OWN).status_code == 405


def test_every_answer_bears_the_policy(client: TestClient) -> None:
    for path in ("/", "/order", "/book", "/own", "/nothing", "/static/page.css", "/designs/none"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe-eval" not in policy
        assert re.search(r"script-src[^;]*unsafe-inline", policy) is None
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"


def test_too_much_at_once_is_refused(client: TestClient) -> None:
    length = str(UPLOAD_BYTES + 1)
    said = OWN | {"content-length": length, "content-type": "multipart/form-data; boundary=x"}
    assert client.post("/designs", content=b"x", headers=said).status_code == 413

    def endless() -> Iterator[bytes]:
        yield b'--x\r\ncontent-disposition: form-data; name="files"; filename="a.dst"\r\n\r\n'
        for _ in range(UPLOAD_BYTES // 1_000_000 + 2):
            yield bytes(1_000_000)

    said = OWN | {"content-type": "multipart/form-data; boundary=x"}
    assert client.post("/designs", content=endless(), headers=said).status_code == 413


@pytest.mark.parametrize(
    "name",
    ["../../etc/passwd.dst", "..\\..\\boot.dst", "/etc/passwd.dst", "a\x00b.dst",
     "<script>alert(1)</script>.dst",
     "'\"><img src=x onerror=alert(1)>.dst", "\u202egnp.dst", "x" * 5000 + ".dst", "CON.dst", ".dst"],
)  # fmt: skip
def test_hostile_names_are_shown_as_text_and_never_used(client: TestClient, name: str) -> None:
    files = {"files": (name, LIGHT)}
    answer = client.post("/designs", files=files, data={"goods": "jersey"}, headers=OWN)
    assert answer.status_code in (303, 400)
    store = client.app.state.page.store  # type: ignore[attr-defined]
    kept = [path.name for path in store.folder.iterdir()]
    assert all(re.fullmatch(r"\d{4}-[0-9a-f]{16}\.upload|[0-9a-f]{32}\.answer", one) for one in kept)
    if answer.status_code == 303:
        place = str(answer.headers["location"])
        text = client.get(place).text + settled(client, f"{urlsplit(place).path}/answer?goods=jersey").text
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "etc/passwd" not in text


def test_hostile_metadata_is_shown_as_text(client: TestClient) -> None:
    raw = bytearray(CREST.read_bytes())
    raw[:20] = b"LA:<b>x</b><script>\r"[:20].ljust(20)
    path = urlsplit(dropped_bytes(client, bytes(raw), "meta.dst")).path
    text = settled(client, f"{path}/answer?goods=jersey").text
    assert "<b>x</b>" not in text


def dropped_bytes(client: TestClient, content: bytes, name: str) -> str:
    answer = client.post("/designs", files={"files": (name, content)}, headers=OWN)
    assert answer.status_code == 303
    return str(answer.headers["location"])


@pytest.mark.parametrize(
    "content", [b"", b"PK\x03\x04", b"\x00" * 3000, b"LA:cut", b"%PDF-1.4", bytes(range(256)) * 40]
)
def test_damaged_files_get_a_sentence(client: TestClient, content: bytes) -> None:
    answer = client.post("/designs", files={"files": ("bad.dst", content)}, headers=OWN)
    if answer.status_code == 303:
        path = urlsplit(str(answer.headers["location"])).path
        answer = settled(client, f"{path}/answer?goods=jersey")
    assert 'role="alert"' in answer.text or "<dt>Damaged</dt>" in answer.text
    assert "Traceback" not in answer.text


def test_no_path_of_the_machine_is_shown(client: TestClient) -> None:
    store = client.app.state.page.store  # type: ignore[attr-defined]
    place = urlsplit(dropped(client, goods="jersey")).path
    texts = [client.get(one).text for one in ("/", "/book", "/own", "/order", place, "/book?where=x")]
    texts.append(settled(client, f"{place}/answer?goods=jersey").text)
    texts.append(client.get(f"{place}/take/check?goods=jersey").text)
    for text in texts:
        assert str(store.folder) not in text
        assert "/tmp/" not in text


@pytest.mark.parametrize(
    "query",
    ["goods=jersy", "goods=jersey&hoop=9x9x9", "goods=jersey&backing=paper:3", "goods=jersey&colour=red"],
)
def test_choices_that_make_no_sense_get_a_sentence(client: TestClient, query: str) -> None:
    text = settled(client, f"{urlsplit(dropped(client)).path}/answer?{query}").text
    assert 'role="alert"' in text


def test_unknown_tokens_get_a_sentence(client: TestClient) -> None:
    for path in (
        "/designs/none",
        "/designs/none/answer",
        "/designs/none/take/check",
        "/designs/%2e%2e/answer",
    ):
        answer = client.get(path)
        assert answer.status_code == 404
        assert "There is nothing here" in answer.text
    assert "no longer known" in client.get("/tasks/none").text


# ---- workers


def test_a_task_can_be_stopped_and_the_next_one_is_done(tmp_path: Path) -> None:
    store = Store()
    hall = Hall(store, workers=1)
    try:
        path = tmp_path / "a"
        path.write_bytes((SAMPLES / "overdense-flag.exp").read_bytes())
        wanted = Wanted("json", path, "a.exp", Job(goods="jersey"))
        task = hall.ask(wanted)
        while task.state == "waiting":
            time.sleep(0.02)
        hall.stop(task.token)
        assert task.finished.wait(5.0)
        assert task.state == "stopped"
        again = hall.ask(Wanted("json", path, "a.exp", Job(goods="felt")))
        assert again.finished.wait(60.0)
        assert again.state == "done"
        assert json.loads(store.answer(again.wanted.key) or b"{}")["job"]["goods"] == "felt"
    finally:
        hall.close()
        store.close()
    assert not store.folder.exists()


def test_more_than_can_be_done_soon_is_refused(tmp_path: Path) -> None:
    store = Store()
    hall = Hall(store, workers=1, waiting=3)
    try:
        path = tmp_path / "a"
        path.write_bytes(CREST.read_bytes())
        refused = 0
        for number in range(10):
            try:
                hall.ask(Wanted("json", path, f"{number}.dst", Job(goods="jersey")))
            except Busy:
                refused += 1
        assert refused >= 6
    finally:
        hall.close()
        store.close()


def test_a_worker_that_ends_is_replaced(tmp_path: Path) -> None:
    store = Store()
    hall = Hall(store, workers=1)
    try:
        bad = hall.ask(Wanted("nonsense", tmp_path / "none", "a.dst", Job()))
        assert bad.finished.wait(30.0)
        assert "please report it" in (bad.trouble or "")
        path = tmp_path / "a"
        path.write_bytes((SAMPLES / "lighthouse-sketch.jef").read_bytes())
        good = hall.ask(Wanted("json", path, "a.jef", Job(goods="felt")))
        assert good.finished.wait(60.0)
        assert good.trouble is None
    finally:
        hall.close()
        store.close()


def test_the_store_forgets_the_oldest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analyzer.page.store._FILES", 3)
    monkeypatch.setattr("analyzer.page.store._ANSWERS", 2)
    store = Store()
    try:
        tokens = [store.add(f"{i}.dst", bytes([i])).token for i in range(5)]
        assert [store.upload(token) is not None for token in tokens] == [False, False, True, True, True]
        for i in range(4):
            store.keep(str(i), bytes(10))
        assert [store.answer(str(i)) is not None for i in range(4)] == [False, False, True, True]
        assert len(list(store.folder.iterdir())) == 5
    finally:
        store.close()


def test_choices_and_jobs_agree() -> None:
    said = {
        "goods": "terry",
        "care": "industrial",
        "holding": "floated",
        "hoop": "130x180",
        "backing": "tearaway:30",
    }
    job = job_of(said, Job())
    assert (job.goods, job.care, job.holding, job.hoop, job.backing) == (
        "terry", "industrial", "floated", "130x180", ("tearaway:30",),
    )  # fmt: skip
    shown = choices(said, Job())
    assert shown.goods == "terry"
    assert [one.value for one in shown.care if one.chosen] == ["industrial"]
    assert sum(len(family.cloths) for family in shown.families) == 27
    assert copied_name("a.dst") == "a-countered.dst"
    assert copied_name("a.hus") == "a-countered.dst"
    assert Made().trouble is None


def memory_mb(pid: int) -> float:
    """Return the resident memory of a process (proc_pid_statm(5), second number), 0 once it ended."""
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    except (OSError, IndexError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/statm").is_file(), reason="memory is read from /proc")
def test_twenty_people_at_once_and_memory_over_a_thousand_checks(
    client: TestClient, record_property: Callable[[str, object], None]
) -> None:
    """A thousand checks by twenty people: memory levels off, and small requests pass the checks by."""
    place = urlsplit(dropped_bytes(client, LIGHT, "light.dst")).path
    troubles: list[str] = []
    done = itertools.count(1)
    server: dict[int, float] = {}
    workers: dict[int, float] = {}
    finished = 0

    def person(number: int) -> None:
        nonlocal finished
        for turn in range(50):
            weight = 40 + (number * 50 + turn) / 10
            text = settled(client, f"{place}/answer?goods=felt&backing=cutaway:{weight:.1f}", 600.0).text
            if 'class="report"' not in text:
                troubles.append(text[:200])
            finished = next(done)
            if finished % 100 == 0:
                server[finished] = memory_mb(os.getpid())
                workers[finished] = max(memory_mb(one.pid or 0) for one in multiprocessing.active_children())

    people = [threading.Thread(target=person, args=(number,)) for number in range(20)]
    for one in people:
        one.start()
    passed: list[int] = []
    while any(one.is_alive() for one in people):
        before = finished
        assert client.get("/order").status_code == 200
        passed.append(finished - before)
        time.sleep(0.05)
    assert not troubles
    assert next(done) == 1001
    # had small requests to wait for their turn among checks, twenty would end before each
    assert statistics.median(passed) <= 1
    record_property("server_mb", server)
    record_property("largest_worker_mb", workers)
    for held, most, spread in ((server, 600.0, 40.0), (workers, 400.0, 60.0)):
        early = max(mb for count, mb in held.items() if count <= 500)
        late = max(mb for count, mb in held.items() if count > 500)
        assert late < most
        assert late < early + spread, f"memory grows: {held}"
