"""Design books of earlier versions: brought up whole or not at all, and nothing in them lost.

``data/design-book-1.sqlite.gz`` was written by the prehoop that knew version 1, the other by that which knew
version 2: three sample designs and a broken file, screened on jersey and felt, planned in full on canvas.
"""

from __future__ import annotations

import gzip
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from library_makers import Here

from analyzer.errors import BadBook
from analyzer.library import book as book_module
from analyzer.library import migrating
from analyzer.library.answers import ask
from analyzer.library.book import Book
from analyzer.library.migrating import SCHEMA, kinds_in, layers_in, weight_in
from analyzer.library.scanning import scan
from analyzer.library.types import Asked

HERE = Path(__file__).parent
SAMPLES = HERE.parent / "sample_designs"
NAMES = ("lighthouse-sketch.jef", "regatta-lettering.pes", "rope-wreath.exp")
TABLES = {
    "designs": "*",
    "files": "*",
    "findings": "*",
    "threads": "*",
    "verdicts": "sha256, goods, outcome, chance, decided_by, worst_gap_mm, pucker_mm, stack, enough",
}


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return book_of(1, tmp_path)


def book_of(number: int, folder: Path) -> Path:
    path = folder / "old.sqlite"
    path.write_bytes(gzip.decompress((HERE / "data" / f"design-book-{number}.sqlite.gz").read_bytes()))
    return path


def kept(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return all that a book of version 1 holds."""
    with sqlite3.connect(path) as base:
        assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return {
            name: base.execute(f"SELECT {columns} FROM {name} ORDER BY 1, 2").fetchall()
            for name, columns in TABLES.items()
        }


def version(path: Path) -> int:
    with sqlite3.connect(path) as base:
        return int(base.execute("PRAGMA user_version").fetchone()[0])


def layout(path: Path) -> list[tuple[object, ...]]:
    with sqlite3.connect(path) as base:
        names = [row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return [row for name in sorted(names) for row in base.execute(f"PRAGMA table_xinfo({name})")]


@pytest.mark.parametrize("write", [False, True])
def test_an_old_book_is_brought_up_and_loses_nothing(old: Path, tmp_path: Path, write: bool) -> None:
    before = kept(old)
    assert version(old) == 1
    with Book(old, write=write) as opened:
        answer = ask(opened, "canvas.backing_g_m2 < 40 and canvas.layers = 1 and canvas.backing = tearaway")
        assert {str(row["path"]) for row in answer.records()} == set(NAMES)
        assert ask(opened, "jersey.backing_g_m2 = 68").total == 3
    assert kept(old) == before
    assert version(old) == SCHEMA
    Book(tmp_path / "new.sqlite", write=True).close()
    assert layout(old) == layout(tmp_path / "new.sqlite")


@pytest.mark.parametrize(
    ("stack", "kinds", "g_m2", "layers"),
    [
        ("nothing", "", 0.0, 0),
        ("cutaway 68 g/m2 (2.0 oz/yd2), 1 layer", "cutaway", 68.0, 1),
        ("tearaway 51 g/m2 (1.5 oz/yd2), 2 layers turned 0 and 90 degrees", "tearaway", 102.0, 2),
        (
            "mesh-cutaway 45 g/m2 (1.3 oz/yd2), 1 layer; tearaway 30 g/m2 (0.9 oz/yd2), 1 layer",
            "mesh-cutaway, tearaway",
            75.0,
            2,
        ),
    ],
)
def test_stacks_in_words_are_understood(stack: str, kinds: str, g_m2: float, layers: int) -> None:
    assert (kinds_in(stack), weight_in(stack), layers_in(stack)) == (kinds, g_m2, layers)


@pytest.mark.parametrize("number", [1, 2])
def test_screens_made_another_way_are_made_again(number: int, tmp_path: Path) -> None:
    old = book_of(number, tmp_path)
    folder = tmp_path / "designs"
    folder.mkdir()
    for name in NAMES:
        shutil.copy(SAMPLES / name, folder / name)
    (folder / "broken.dst").write_bytes(b"")  # of the first book; that of the second is gone
    with sqlite3.connect(old) as base:
        base.execute("UPDATE files SET root = ?", (str(folder.resolve()),))
    here, asked = Here(), Asked(("jersey",))
    with Book(old, write=True) as opened:
        scan(folder, opened, asked, here)
    looked_at = NAMES if number == 1 else (*NAMES, "broken.dst")
    assert sorted(here.seen) == sorted(looked_at), "a broken file that is known needs no second look"
    fresh = tmp_path / "fresh.sqlite"
    with Book(fresh, write=True) as opened:
        scan(folder, opened, asked, Here())
    rows = "SELECT * FROM verdicts WHERE goods = 'jersey' ORDER BY sha256"
    with sqlite3.connect(old) as one, sqlite3.connect(fresh) as other:
        assert one.execute(rows).fetchall() == other.execute(rows).fetchall()
        left = one.execute("SELECT DISTINCT goods, kind FROM verdicts ORDER BY 1").fetchall()
    assert left == [("canvas", "full||"), ("felt", "earlier screen||"), ("jersey", "screen||")]


_KILLED = """
import os, signal, sys
from pathlib import Path
from analyzer.library import migrating
from analyzer.library.book import Book
calls, real = [int(sys.argv[2])], migrating.layers_in
def layers_in(stack):
    calls[0] -= 1
    if calls[0] == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return real(stack)
migrating.layers_in = layers_in
Book(Path(sys.argv[1]), write=sys.argv[3] == "write").close()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
@pytest.mark.parametrize(("row", "way"), [(1, "write"), (5, "write"), (9, "read")])
def test_killed_on_the_way_it_is_the_old_book_still(old: Path, row: int, way: str) -> None:
    """Nine verdicts are brought up; the process is killed at one of them."""
    before = kept(old)
    done = subprocess.run([sys.executable, "-c", _KILLED, str(old), str(row), way], check=False, timeout=120)
    assert done.returncode == -signal.SIGKILL
    assert kept(old) == before
    assert version(old) == 1
    Book(old).close()
    assert kept(old) == before
    assert version(old) == SCHEMA


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_killed_at_random_moments(old: Path, tmp_path: Path) -> None:
    """A book of 60,000 verdicts, killed thirty times while it is brought up."""
    with sqlite3.connect(old) as base:
        base.execute("PRAGMA foreign_keys = OFF")
        base.execute(
            "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 20000)"
            " INSERT INTO verdicts SELECT printf('%064x', i), goods, kind, outcome, chance, decided_by,"
            " worst_gap_mm, gap_low_mm, gap_high_mm, pucker_mm, stack, enough FROM n,"
            " (SELECT * FROM verdicts GROUP BY goods)"
        )
    before = kept(old)
    rng = np.random.default_rng(0)
    code = f"from pathlib import Path; from analyzer.library.book import Book; Book(Path({str(old)!r}))"
    killed_midway = 0
    for _ in range(30):
        copy = tmp_path / "copy.sqlite"
        shutil.copy(old, copy)
        with subprocess.Popen([sys.executable, "-c", code.replace(str(old), str(copy))]) as running:
            journal = copy.with_name(copy.name + "-journal")
            while running.poll() is None and not journal.exists():
                time.sleep(0.001)
            time.sleep(rng.uniform(0.0, 0.4))
            running.kill()
        killed_midway += journal.exists()
        assert version(copy) in range(1, SCHEMA + 1)
        assert kept(copy) == before
        Book(copy).close()
        assert version(copy) == SCHEMA
        assert kept(copy) == before
    assert killed_midway >= 10


def test_a_step_that_fails_leaves_the_old_book(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(stack: str) -> str:
        raise ValueError(stack)

    before = old.read_bytes()
    monkeypatch.setattr(migrating, "kinds_in", fails)
    with pytest.raises(BadBook):
        Book(old, write=True)
    assert old.read_bytes() == before


def test_where_nothing_can_be_written_it_says_what_to_do(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Book._connected
    monkeypatch.setattr(book_module.Book, "_connected", lambda self, _: real(self, "ro"))
    before = old.read_bytes()
    with pytest.raises(BadBook, match="copy it to a place that can be written"):
        Book(old)
    assert old.read_bytes() == before


def test_two_that_bring_it_up_at_once_do_no_harm(old: Path) -> None:
    before, troubles = kept(old), []

    def run() -> None:
        try:
            Book(old, write=True).close()
        except Exception as error:
            troubles.append(error)

    both = [threading.Thread(target=run) for _ in range(4)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert not troubles
    assert kept(old) == before
    assert version(old) == SCHEMA
