"""The design book: what a scan finds, keeps, forgets and survives."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from library_makers import Here, write_files

from analyzer.design import Command, Design
from analyzer.errors import BadBook
from analyzer.formats import to_bytes, writable_format
from analyzer.library import workers as workers_module
from analyzer.library.book import SCHEMA, Book
from analyzer.library.measuring import look_at
from analyzer.library.scanning import Tally, scan
from analyzer.library.types import Asked, Record
from analyzer.library.walking import Found, Trouble, content_of, walk
from analyzer.library.workers import ClusterWorkers, LocalWorkers

SAMPLES = Path(__file__).parents[1] / "sample_designs"
NO_GOODS = Asked(())
#: what of each table must be alike after any course of scans; dates and the writer's version may differ
CONTENT = {
    "designs": "SELECT sha256, size, status, reason, format, stitches, width_mm, sketch, thumb FROM designs",
    "files": "SELECT key, path, name, sha256, size FROM files",
    "verdicts": "SELECT * FROM verdicts",
    "findings": "SELECT * FROM findings",
    "threads": "SELECT * FROM threads",
    "pages": "SELECT contents, sketches FROM sketch_pages",
}


def scanned(folder: Path, book: Path, asked: Asked = NO_GOODS) -> tuple[Tally, list[str]]:
    """Scan and return what it came to and the names that were looked at."""
    here = Here()
    with Book(book, write=True) as opened:
        tally = scan(folder, opened, asked, here)
    return tally, here.seen


def content(book: Path) -> dict[str, list[tuple[object, ...]]]:
    with sqlite3.connect(book) as base:
        return {name: sorted(base.execute(sql).fetchall(), key=repr) for name, sql in CONTENT.items()}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "designs"
    write_files(place, 4)
    write_files(place / "deep" / "er", 2, first=10)
    return place


# ---- walking


def test_every_stitch_file_is_found_in_a_steady_order(folder: Path) -> None:
    (folder / ".hidden.exp").write_bytes(b"x")
    (folder / "notes.txt").write_text("no design")
    (folder / "link.exp").symlink_to(folder / "design-00000.exp")
    (folder / "loop").symlink_to(folder, target_is_directory=True)
    names = [one.place.path for one in walk(folder) if isinstance(one, Found)]
    assert names == [
        *(f"design-0000{i}.exp" for i in range(4)),
        "deep/er/design-00010.exp",
        "deep/er/design-00011.exp",
    ]
    assert names == [one.place.path for one in walk(folder) if isinstance(one, Found)]


def test_archives_are_read_and_their_names_never_used(folder: Path, tmp_path: Path) -> None:
    design = (folder / "design-00000.exp").read_bytes()
    with zipfile.ZipFile(folder / "a.zip", "w") as archive:
        archive.writestr("../../../escaped.exp", design)
        archive.writestr("/rooted.exp", design)
        archive.writestr("plain/ünï.exp", design)
        archive.writestr("readme.txt", "no design")
    (folder / "broken.zip").write_bytes(b"PK\x03\x04 not really")
    found = list(walk(folder))
    members = [one for one in found if isinstance(one, Found) and one.member]
    assert [content_of(one) for one in members] == [design] * 3
    assert {path.name for path in tmp_path.iterdir()} == {"designs"}, "nothing was unpacked onto the disk"
    (trouble,) = [one for one in found if isinstance(one, Trouble)]
    assert trouble.path == "broken.zip"


def test_a_bomb_is_not_unpacked(folder: Path) -> None:
    """Deflate packs zeros about a thousand to one (RFC 1951)."""
    with zipfile.ZipFile(folder / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("big.exp", bytes(200_000_000))
        archive.writestr("packed.exp", bytes(5_000_000))
    for one in walk(folder):
        if isinstance(one, Found) and one.member:
            with pytest.raises(ValueError, match="no stitch file"):
                content_of(one)


def test_a_member_that_lies_about_its_size_is_cut_off(folder: Path) -> None:
    path = folder / "liar.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.exp", bytes(3_000_000))
    raw = path.read_bytes()
    path.write_bytes(raw.replace((3_000_000).to_bytes(4, "little"), (100).to_bytes(4, "little")))
    for one in walk(folder):
        if isinstance(one, Found) and one.member:
            with contextlib.suppress(ValueError):
                assert len(content_of(one)) <= 101


# ---- new, known, changed, moved, gone


def test_a_second_scan_looks_at_nothing(folder: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite"
    first, seen = scanned(folder, book)
    assert first.looked_at == len(seen) == 6
    before = content(book)
    again, seen = scanned(folder, book)
    assert (again.known, again.looked_at, seen) == (6, 0, [])
    assert content(book) == before


def test_only_what_changed_is_looked_at(folder: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite"
    scanned(folder, book)
    shutil.copy(SAMPLES / "rope-wreath.exp", folder / "design-00002.exp")
    tally, seen = scanned(folder, book)
    assert seen == ["design-00002.exp"]
    assert tally.known == 5
    assert len(content(book)["designs"]) == 6, "the content that is nowhere any more is forgotten"


def test_moved_renamed_copied_and_deleted_files_are_noticed(folder: Path, tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite"
    scanned(folder, book)
    (folder / "design-00000.exp").rename(folder / "deep" / "moved.exp")
    shutil.copy(folder / "design-00001.exp", folder / "copy.exp")
    (folder / "design-00002.exp").unlink()
    tally, seen = scanned(folder, book)
    assert seen == []
    assert tally.moved == [("design-00000.exp", "deep/moved.exp")]
    assert tally.copies == 2
    assert tally.gone == 1
    files = content(book)["files"]
    assert len(files) == 6
    assert len(content(book)["designs"]) == 5
    fresh = tmp_path / "fresh.sqlite"
    scanned(folder, fresh)
    assert content(fresh) == content(book)


def test_damaged_files_are_listed_with_the_reason_and_stop_nothing(folder: Path, tmp_path: Path) -> None:
    (folder / "empty.dst").write_bytes(b"")
    (folder / "noise.jef").write_bytes(np.random.default_rng(1).bytes(4000))
    (folder / "cut.dst").write_bytes((SAMPLES / "crest-outline-last.dst").read_bytes()[:4000])
    tally, _ = scanned(folder, tmp_path / "book.sqlite")
    assert tally.looked_at == 9
    with sqlite3.connect(tmp_path / "book.sqlite") as base:
        rows = base.execute(
            "SELECT f.name, d.status, d.reason FROM designs d JOIN files f USING (sha256)"
            " WHERE status != 'read'"
        ).fetchall()
    told = {name: (status, reason) for name, status, reason in rows}
    assert told["empty.dst"][0] == "unreadable"
    assert "empty" in told["empty.dst"][1]
    assert told["cut.dst"][0] == "damaged"
    _, seen = scanned(folder, tmp_path / "book.sqlite")
    assert seen == [], "what is damaged is not tried again"


def test_other_goods_are_added_to_what_is_known(tmp_path: Path) -> None:
    folder = tmp_path / "designs"
    folder.mkdir()
    shutil.copy(SAMPLES / "lighthouse-sketch.jef", folder / "a.jef")
    book = tmp_path / "book.sqlite"
    scanned(folder, book, Asked(("felt",)))
    scanned(folder, book, Asked(("poplin",)))
    with sqlite3.connect(book) as base:
        assert {row[0] for row in base.execute("SELECT goods FROM verdicts")} == {"felt", "poplin"}
    _, seen = scanned(folder, book, Asked(("felt",), care="industrial"))
    assert seen == ["a.jef"], "another care is another question"


# ---- never loses


def test_two_scans_at_once_give_one_sound_book(folder: Path, tmp_path: Path) -> None:
    book, troubles = tmp_path / "book.sqlite", []

    def run() -> None:
        try:
            scanned(folder, book)
        except Exception as error:
            troubles.append(error)

    both = [threading.Thread(target=run) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert not troubles
    alone = tmp_path / "alone.sqlite"
    scanned(folder, alone)
    assert content(book) == content(alone)


def test_a_full_disk_gets_a_sentence_and_loses_nothing(folder: Path, tmp_path: Path) -> None:
    """SQLite says that the disk is full when its file may not grow: max_page_count is its way to try that."""
    book = tmp_path / "book.sqlite"
    scanned(folder, book)
    before = content(book)
    shutil.copy(SAMPLES / "towel-shell.vp3", folder / "more.vp3")
    with Book(book, write=True) as opened:
        pages = opened.base.execute("PRAGMA page_count").fetchone()[0]
        opened.base.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(BadBook, match="disk is full"):
            scan(folder, opened, NO_GOODS, Here())
    assert content(book)["designs"] == before["designs"]
    scanned(folder, book)
    assert len(content(book)["designs"]) == 7


def test_a_folder_that_cannot_be_written_gets_a_sentence(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(BadBook, match="cannot be written or opened"):
        Book(tmp_path / "none" / "book.sqlite", write=True)


@pytest.mark.parametrize("bytes_", [b"SQLite format 3\x00" + bytes(4000), b"not a database at all" * 300])
def test_what_is_no_design_book_is_left_alone(tmp_path: Path, bytes_: bytes) -> None:
    path = tmp_path / "other.sqlite"
    path.write_bytes(bytes_)
    with pytest.raises(BadBook):
        Book(path, write=True)
    assert path.read_bytes() == bytes_


def test_another_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as base:
        base.execute("CREATE TABLE letters (a)")
    with pytest.raises(BadBook, match="no design book"):
        Book(path, write=True)


def test_a_book_of_a_later_prehoop_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    Book(path, write=True).close()
    with sqlite3.connect(path) as base:
        base.execute(f"PRAGMA user_version = {SCHEMA + 1}")
    with pytest.raises(BadBook, match="later prehoop"):
        Book(path)


def test_a_book_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BadBook, match="prehoop scan"):
        Book(tmp_path / "none.sqlite")


# ---- workers


def _ending(name: str, content: bytes, asked: Asked) -> Record:
    """Stand for a design that ends the process that looks at it."""
    if name == "design-00002.exp":
        os._exit(3)
    return look_at(name, content, asked)


@pytest.mark.skipif(sys.platform == "win32", reason="the stand-in is handed over by name")
def test_a_design_that_ends_its_worker_is_found_and_told(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers_module, "safely", _ending)
    workers = LocalWorkers(1)
    with Book(tmp_path / "book.sqlite", write=True) as book:
        tally = scan(folder, book, NO_GOODS, workers)
    workers.close()
    assert (tally.looked_at, tally.damaged) == (6, 1)
    with sqlite3.connect(tmp_path / "book.sqlite") as base:
        (reason,) = base.execute("SELECT reason FROM designs WHERE status = 'unreadable'").fetchone()
    assert "ended the process" in reason


def test_processes_and_this_process_give_the_same_book(folder: Path, tmp_path: Path) -> None:
    workers = LocalWorkers(2)
    with Book(tmp_path / "a.sqlite", write=True) as book:
        scan(folder, book, NO_GOODS, workers)
    workers.close()
    scanned(folder, tmp_path / "b.sqlite")
    assert content(tmp_path / "a.sqlite") == content(tmp_path / "b.sqlite")


# ---- the command


def command(*arguments: str, **more: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "analyzer", *arguments], capture_output=True, timeout=300, check=False, **more
    )  # type: ignore[call-overload, no-any-return]


def test_a_scan_is_quiet_when_nobody_watches(folder: Path) -> None:
    done = command("scan", str(folder), "--goods", "felt", "--jobs", "1")
    assert done.returncode == 0
    assert done.stderr == b""
    assert b"6 designs found: 6 looked at" in done.stdout
    again = command("scan", str(folder), "--goods", "felt", "--jobs", "1")
    assert b"0 looked at, 6 unchanged" in again.stdout
    assert len(json.loads(command("book", str(folder), "--json").stdout)["rows"]) == 6


def test_goods_may_be_named_together_or_one_by_one(folder: Path) -> None:
    done = command("scan", str(folder), "--goods", "felt", "--goods", "poplin, terry", "--jobs", "1")
    assert done.returncode == 0
    with contextlib.closing(sqlite3.connect(folder / ".prehoop.sqlite")) as base:
        named = {row[0] for row in base.execute("SELECT DISTINCT goods FROM verdicts")}
    assert named == {"felt", "poplin", "terry"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--goods", "jersy"], b"did you mean jersey"),
        (["--jobs", "1", "--cluster", "tcp://127.0.0.1:1"], b"give one of them"),
        (["--export", "a.docx"], b"ends in"),
    ],
)
def test_mistakes_are_told_in_a_line(folder: Path, arguments: list[str], said: bytes) -> None:
    done = command("scan", str(folder), *arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert b"Traceback" not in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_ctrl_c_keeps_what_was_finished(tmp_path: Path) -> None:
    folder = tmp_path / "designs"
    write_files(folder, 40)
    large = _large_files(
        folder, 8
    )  # looked at last, for long: no machine is done with them before it is told
    book = tmp_path / "book.sqlite"
    run = [
        sys.executable,
        "-m",
        "analyzer",
        "scan",
        str(folder),
        "--book",
        str(book),
        "--goods",
        "felt",
        "--jobs",
        "1",
    ]
    with subprocess.Popen(
        run, stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=_heed_ctrl_c
    ) as running:
        end = time.monotonic() + 60
        while time.monotonic() < end and _known(book) < 10:
            time.sleep(0.1)
        running.send_signal(signal.SIGINT)
        _, told = running.communicate(timeout=60)
    assert running.returncode == 130, told
    assert b"Traceback" not in told
    kept, of_large = _known(book), _known(book, "WHERE stitches > 50000")
    assert kept >= 10
    assert of_large < len(large)
    for path in large:
        path.unlink()
    done = command("scan", str(folder), "--book", str(book), "--goods", "felt", "--jobs", "2")
    assert f"{40 - (kept - of_large)} looked at".encode() in done.stdout


def _heed_ctrl_c() -> None:
    """Undo what a shell does to work in its background, where Ctrl-C goes by."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _large_files(folder: Path, count: int) -> list[Path]:
    """Write designs of 100,000 stitches each, which differ in their last byte."""
    across, up = np.arange(0.0, 170.0, 1.0), np.arange(0.0, 180.0, 0.3)
    rows = np.stack(np.meshgrid(across, up), axis=2)
    rows[1::2] = rows[1::2, ::-1]
    points = rows.reshape(-1, 2)
    design = Design.from_commands(points, np.full(len(points), Command.STITCH))
    content = to_bytes(design, writable_format(Path("z.exp")), "z.exp")[0]
    paths = [folder / f"z-{number}.exp" for number in range(count)]
    for number, path in enumerate(paths):
        path.write_bytes(content + bytes([number]))
    return paths


def _known(book: Path, which: str = "") -> int:
    try:
        with sqlite3.connect(f"file:{book}?mode=ro", uri=True, timeout=5) as base:
            return int(base.execute(f"SELECT count(*) FROM designs {which}").fetchone()[0])
    except sqlite3.DatabaseError:
        return 0


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_killed_at_thirty_random_moments_nothing_is_lost_or_doubled(tmp_path: Path) -> None:
    folder = tmp_path / "designs"
    write_files(folder, 400)
    shutil.copy(SAMPLES / "crest-outline-last.dst", folder / "copy-a.dst")
    shutil.copy(SAMPLES / "crest-outline-last.dst", folder / "copy-b.dst")
    whole = tmp_path / "whole.sqlite"
    arguments = ["--goods", "felt", "--jobs", "2"]
    command("scan", str(folder), "--book", str(whole), *arguments)
    wanted = content(whole)
    rng = np.random.default_rng(7)
    kills = 0
    book = tmp_path / "book.sqlite"
    while kills < 30:
        if kills % 10 == 0:
            book.unlink(missing_ok=True)
        run = [sys.executable, "-m", "analyzer", "scan", str(folder), "--book", str(book), *arguments]
        running = subprocess.Popen(
            run, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        time.sleep(float(rng.uniform(0.5, 6.0)))
        os.killpg(running.pid, signal.SIGKILL)
        running.wait()
        kills += 1
        if not book.exists():
            continue
        with sqlite3.connect(book) as base:
            assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            if base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                doubled = "SELECT count(*) - count(DISTINCT sha256) FROM designs"
                assert base.execute(doubled).fetchone()[0] == 0
                lost = (
                    "SELECT count(*) FROM designs d WHERE status = 'read' AND NOT EXISTS"
                    " (SELECT 1 FROM verdicts v WHERE v.sha256 = d.sha256)"
                )
                assert base.execute(lost).fetchone()[0] == 0, "half a design was written"
    command("scan", str(folder), "--book", str(book), *arguments)
    assert content(book) == wanted


@pytest.fixture
def cluster() -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and two workers, each in a process of its own, over loopback TCP."""
    pytest.importorskip("distributed")
    tool = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    flags = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    scheduler = subprocess.Popen([*tool, *flags], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL)
    assert scheduler.stderr is not None
    address = ""
    for line in scheduler.stderr:
        if b"tcp://" in line:
            address = "tcp://" + line.decode().split("tcp://")[1].split()[0].strip()
            break
    reader = threading.Thread(target=lambda: [None for _ in scheduler.stderr or ()], daemon=True)
    reader.start()
    worker = [
        sys.executable,
        "-m",
        "distributed.cli.dask_worker",
        address,
        "--nthreads",
        "1",
        "--no-nanny",
        "--no-dashboard",
    ]
    hands = [subprocess.Popen(worker, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) for _ in range(2)]
    yield address, hands
    for process in (*hands, scheduler):
        process.kill()
        process.wait()
    reader.join(5.0)
    scheduler.stderr.close()


@pytest.mark.long
def test_a_cluster_that_loses_a_worker_gives_the_same_book(
    tmp_path: Path, cluster: tuple[str, list[subprocess.Popen[bytes]]]
) -> None:
    address, hands = cluster
    folder = tmp_path / "designs"
    write_files(folder, 60)
    asked = Asked(("felt",))
    workers = ClusterWorkers(address)
    end = time.monotonic() + 60
    while len(workers._client.nthreads()) < 2 and time.monotonic() < end:
        time.sleep(0.2)

    def lose(tally: Tally) -> None:
        if tally.looked_at > 10 and hands[0].poll() is None:
            hands[0].kill()

    with Book(tmp_path / "cluster.sqlite", write=True) as book:
        tally = scan(folder, book, asked, workers, lose)
    workers.close()
    assert hands[0].poll() is not None
    assert tally.looked_at == 60
    here = Here()
    with Book(tmp_path / "local.sqlite", write=True) as book:
        scan(folder, book, asked, here)
    assert content(tmp_path / "cluster.sqlite") == content(tmp_path / "local.sqlite")
