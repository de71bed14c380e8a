"""The gallery: a page of small pictures, and a report on each design beside it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote_to_bytes

import pytest
from library_makers import write_files

from analyzer.errors import BadJob
from analyzer.job import Job
from analyzer.library.answers import Answer, ask
from analyzer.library.book import Book
from analyzer.library.export import export
from analyzer.library.gallery import PAGE, REPORTS, write_gallery
from analyzer.library.measuring import look_at
from analyzer.library.reports import Made
from analyzer.library.scanning import scan
from analyzer.library.types import Asked, Record
from analyzer.library.walking import Found, content_of, found_at, walk

FELT = Job(goods="felt")


class Here:
    """Looks at designs in this process."""

    room = 4

    def __init__(self) -> None:
        self.done: list[tuple[int, Record]] = []

    def give(self, ticket: int, name: str, content: bytes, asked: Asked) -> None:
        """Look at one design."""
        self.done.append((ticket, look_at(name, content, asked)))

    def take(self, *, wait: bool) -> list[tuple[int, Record]]:
        """Return what is finished."""
        done, self.done = self.done, []
        return done

    def close(self) -> None:
        """Nothing is held."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two designs, one of them twice and in an archive, and a file that is none."""
    place = tmp_path / "designs"
    write_files(place, 2)
    shutil.copy(place / "design-00001.exp", place / "50% off #2?.exp")
    with zipfile.ZipFile(place / "old.zip", "w") as archive:
        archive.write(place / "design-00000.exp", "sub/first.exp")
    (place / "broken.dst").write_bytes(b"")
    return place


@pytest.fixture
def book(folder: Path, tmp_path: Path) -> Path:
    path = tmp_path / "book.sqlite"
    with Book(path, write=True) as opened:
        scan(folder, opened, Asked(()), Here())
    return path


def gallery(book: Path, place: Path, answer: Answer | None = None, **more: object) -> Made:
    with Book(book) as opened:
        return write_gallery(opened, answer or ask(opened), place, FELT, 1, **more)  # type: ignore[arg-type]


class Links(HTMLParser):
    """Collects where a page leads, with what is written there."""

    def __init__(self, page: Path) -> None:
        super().__init__()
        self.found: list[Path] = []
        self.folder = page.parent
        self.feed(page.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take one element in."""
        self.found += [
            self.folder / os.fsdecode(unquote_to_bytes(value or ""))
            for name, value in attrs
            if name == "href"
        ]


def test_every_design_that_can_be_read_has_a_report(book: Path, folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "shown" / "gallery"
    told: list[tuple[int, int]] = []
    made = gallery(book, place, tell=lambda *one: told.append(one))
    reports = sorted(path.name for path in (place / REPORTS).iterdir())
    assert sorted(made.files.values()) == reports
    assert len(reports) == 2, "what holds the same has one report"
    assert told == sorted(told)
    assert (told[0], told[-1]) == ((0, 2), (2, 2))
    text = (place / REPORTS / reports[0]).read_text(encoding="utf-8")
    assert "felt" in text
    links = Links(place / PAGE).found
    assert all(link.is_file() for link in links), links
    named = {link.resolve() for link in links}
    assert {place / REPORTS / name for name in reports} < named
    assert (folder / "50% off #2?.exp").resolve() in named
    assert "broken.dst" in (place / PAGE).read_text(encoding="utf-8")


def test_reports_that_are_there_are_kept(book: Path, tmp_path: Path) -> None:
    place = tmp_path / "gallery"
    gallery(book, place)
    before = {path: path.stat().st_ino for path in (place / REPORTS).iterdir()}
    page = (place / PAGE).read_bytes()
    with pytest.raises(BadJob, match="there already"):
        gallery(book, place)
    gallery(book, place, force=True)
    assert {path: path.stat().st_ino for path in (place / REPORTS).iterdir()} == before
    assert (place / PAGE).read_bytes() == page


def test_interrupted_it_shows_what_was_finished(book: Path, tmp_path: Path) -> None:
    place = tmp_path / "gallery"

    def stop(done: int, _: int) -> None:
        if done == 1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        gallery(book, place, tell=stop)
    (report,) = (place / REPORTS).glob("*.html")
    assert report in Links(place / PAGE).found
    assert len(gallery(book, place, force=True).files) == 2


def test_a_design_that_changed_or_went_is_told(book: Path, folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "gallery"
    with Book(book) as opened:
        answer = ask(opened, "name ~ design")
    (folder / "design-00000.exp").unlink()
    shutil.copy(folder / "broken.dst", folder / "design-00001.exp")
    made = gallery(book, place, answer)
    assert made.files == {}
    assert sorted(made.reasons.values()) == [
        "it has changed since it was scanned: scan the folder again",
        "it is no longer where it was: scan the folder again",
    ]
    assert "No report: it has changed" in (place / PAGE).read_text(encoding="utf-8")


def test_a_page_links_to_the_designs_from_wherever_it_lies(book: Path, tmp_path: Path) -> None:
    for page in (tmp_path / "page.html", tmp_path / "designs" / "page.html"):
        with Book(book) as opened:
            export(opened, ask(opened), page)
        links = Links(page).found
        assert len(links) == 4, "a member of an archive has no address"
        assert all(link.is_file() for link in links)


def test_a_key_finds_what_the_walk_finds_and_nothing_else(folder: Path, tmp_path: Path) -> None:
    walked = [one for one in walk(folder) if isinstance(one, Found)]
    found = [found_at(folder, one.place.key) for one in walked]
    assert [_known(one) for one in found] == [_known(one) for one in walked]
    assert content_of(walked[-1]) == content_of(found_at(folder, walked[-1].place.key) or walked[0])
    (tmp_path / "secret.exp").write_bytes(b"x")
    (folder / "link.exp").symlink_to(tmp_path / "secret.exp")
    (folder / "way").symlink_to(tmp_path, target_is_directory=True)
    for key in ("../secret.exp", str(tmp_path / "secret.exp"), "link.exp", "way/secret.exp", "none.exp", ""):
        assert found_at(folder, os.fsencode(key)) is None, key


def _known(one: Found | None) -> tuple[object, ...]:
    """Return all but the size, which of a member is that of its archive until it is read."""
    assert one is not None
    return one.place.key, one.place.path, one.place.name, one.place.mtime_ns, one.file, one.member


def test_the_command_writes_a_gallery(book: Path, tmp_path: Path) -> None:
    place = tmp_path / "gallery"

    def run(*more: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "analyzer", "book", str(book), *more]
        return subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)

    done = run("--gallery", str(place), "--goods", "felt", "--where", "name = design-00000.exp")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"1 report. The gallery is {place / PAGE}.\n"
    for more, said in (
        (["--gallery", str(place)], "there already"),
        (["--gallery", str(place), "--json"], "stands alone"),
        (["--goods", "felt"], "add --gallery"),
        (["--gallery", str(place), "--force", "--goods", "jersy"], "did you mean jersey"),
    ):
        done = run(*more)
        assert done.returncode == 2
        assert said in done.stderr
