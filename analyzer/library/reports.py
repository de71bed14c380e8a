"""Reports on the designs of an answer: each in a file of its own, made by processes of this machine."""

from __future__ import annotations

import concurrent.futures as futures
import hashlib
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from analyzer import __version__
from analyzer.errors import PrehoopError
from analyzer.formats import read_bytes
from analyzer.job import Job
from analyzer.library.answers import Answer
from analyzer.library.book import Book
from analyzer.library.walking import content_of, found_at
from analyzer.library.workers import end, processes
from analyzer.pipeline import check
from analyzer.report.numbers import sound_text
from analyzer.report.reports import write_report

_ENDED = "making its report ended the process that did"
_LETTERS = 40  #: of a design's name that its report's name keeps

Tell = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One design to report on: where the book says that it is, and what its report is called."""

    sha256: str
    root: Path
    key: bytes
    file: str


@dataclass(slots=True)
class Made:
    """What has been made so far: names of reports and reasons where there is none, both by sha256."""

    files: dict[str, str]
    reasons: dict[str, str]

    @property
    def done(self) -> int:
        """How many designs are done, with a report or without."""
        return len(self.files) + len(self.reasons)


def wanted(book: Book, answer: Answer, job: Job) -> tuple[Wanted, ...]:
    """Return what reports an answer needs: one for every design that could be read, wherever it lies.

    A report's name holds a digest of the design, the job and the version, so that one that is there already
    is the one that is wanted.
    """
    found: dict[str, Wanted] = {}
    for record in answer.records():
        sha256 = str(record["sha256"])
        if sha256 in found or record["status"] == "unreadable":
            continue
        with book.told():
            root, key = book.base.execute(
                "SELECT root, key FROM files WHERE sha256 = ? AND path = ?", (sha256, record["path"])
            ).fetchone()
        digest = hashlib.sha256(f"{__version__} {sha256} {job!r}".encode()).hexdigest()[:12]
        found[sha256] = Wanted(sha256, Path(root), bytes(key), f"{_plain(str(record['path']))}-{digest}.html")
    return tuple(found.values())


def _plain(path: str) -> str:
    """Return a design's name as part of a file's name that every system takes."""
    stem = PurePosixPath(path).stem[:_LETTERS]
    return "".join(letter if letter.isalnum() or letter in "-_" else "-" for letter in stem) or "design"


def make_reports(
    designs: Sequence[Wanted], folder: Path, job: Job, jobs: int, made: Made, tell: Tell = lambda *_: None
) -> None:
    """Write the reports that are not in ``folder`` yet, each whole or not at all; ``made`` says how it went.

    ``tell`` is called with how many designs are done, and of how many. Interrupted, it keeps what was
    finished, and ``made`` holds it.
    """
    missing = []
    for one in designs:
        if (folder / one.file).is_file():
            made.files[one.sha256] = one.file
        else:
            missing.append(one)
    total = len(designs)
    tell(made.done, total)
    broken = _together(missing, folder, job, jobs, made, lambda: tell(made.done, total))
    for one in broken:  # one of them ended a process: alone, each shows whether it was that one
        if _together([one], folder, job, 1, made, lambda: tell(made.done, total)):
            made.reasons[one.sha256] = _ENDED
            tell(made.done, total)


def _together(
    designs: Iterable[Wanted], folder: Path, job: Job, jobs: int, made: Made, tell: Callable[[], None]
) -> list[Wanted]:
    """Make reports side by side; return those that were under way or waiting when a process ended."""
    broken = []
    pool = processes(jobs)
    try:
        given = {pool.submit(_make, one, job, folder / one.file): one for one in designs}
        for done in futures.as_completed(given):
            one = given[done]
            try:
                reason = done.result()
            except BrokenProcessPool:
                broken.append(one)
                continue
            if reason is None:
                made.files[one.sha256] = one.file
            else:
                made.reasons[one.sha256] = reason
            tell()
    finally:
        end(pool)
    return broken


def _make(one: Wanted, job: Job, target: Path) -> str | None:
    """Write one report; return None, or the reason why there is none."""
    try:
        found = found_at(one.root, one.key)
        if found is None:
            return "it is no longer where it was: scan the folder again"
        content = content_of(found)
        if hashlib.sha256(content).hexdigest() != one.sha256:
            return "it has changed since it was scanned: scan the folder again"
        write_report(check(read_bytes(found.place.name, content), job), target, force=True)
    except (PrehoopError, ValueError) as error:
        return sound_text(str(error))
    except OSError as error:
        return sound_text((error.strerror or str(error)).lower())
    except MemoryError:
        return "it takes more memory than a worker may have"
    return None
