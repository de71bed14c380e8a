"""Scanning a folder into the design book: new files are looked at, known ones left, lost ones forgotten."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from analyzer.library.book import Book, Place
from analyzer.library.types import Asked, Record
from analyzer.library.walking import Found, Trouble, content_of, walk
from analyzer.library.workers import Workers

_BATCH = 64  #: designs written at a time
_BATCH_S = 2.0  #: or after so many seconds

Tell = Callable[["Tally"], None]


@dataclass(slots=True)
class Tally:
    """How far a scan is. Lives inside one scan; the command line shows it."""

    seen: int = 0  #: files found so far
    known: int = 0  #: of them, unchanged
    looked_at: int = 0
    copies: int = 0  #: of a content that is known from elsewhere
    damaged: int = 0
    moved: list[tuple[str, str]] = field(default_factory=list)  #: from, to
    gone: int = 0
    under_way: int = 0
    walked: bool = False  #: whether all files have been found
    troubles: list[Trouble] = field(default_factory=list)
    began: float = field(default_factory=time.monotonic)

    @property
    def rate(self) -> float:
        """Designs looked at in a second."""
        return self.looked_at / max(time.monotonic() - self.began, 1e-9)


@dataclass(slots=True)
class _Scan:
    """The state of one scan; lives inside one call of :func:`scan`."""

    book: Book
    root: str
    asked: Asked
    workers: Workers
    tell: Tell
    tally: Tally
    complete: set[str]  #: contents of which everything asked is known
    waiting: dict[str, list[Place]] = field(default_factory=dict)  #: places of a content under way
    tickets: dict[int, str] = field(default_factory=dict)
    places: list[tuple[Place, str]] = field(default_factory=list)  #: not yet written
    records: list[Record] = field(default_factory=list)
    written: float = field(default_factory=time.monotonic)

    def look(self, found: Found) -> None:
        """Take one file that is new or changed."""
        try:
            content = content_of(found)
        except (OSError, ValueError) as error:
            reason = (getattr(error, "strerror", None) or str(error)).lower()
            self.tally.troubles.append(Trouble(found.place.path, reason))
            return
        sha256 = hashlib.sha256(content).hexdigest()
        if sha256 in self.waiting:
            self.waiting[sha256].append(found.place)
            self.tally.copies += 1
        elif sha256 in self.complete:
            self.places.append((found.place, sha256))
            self.tally.copies += 1
            self.write(only_full=True)
        else:
            while len(self.tickets) >= self.workers.room:
                self.take(wait=True)
            ticket = self.tally.looked_at + len(self.tickets) + 1
            self.waiting[sha256] = [found.place]
            self.tickets[ticket] = sha256
            self.workers.give(ticket, found.place.name, content, self.asked)
            self.take(wait=False)

    def take(self, *, wait: bool) -> None:
        """Take in what the workers have finished."""
        for ticket, record in self.workers.take(wait=wait):
            sha256 = self.tickets.pop(ticket)
            self.records.append(record)
            self.places += [(place, sha256) for place in self.waiting.pop(sha256)]
            self.complete.add(sha256)
            self.tally.looked_at += 1
            self.tally.damaged += record.status != "read"
        self.tally.under_way = len(self.tickets)
        self.write(only_full=True)
        self.tell(self.tally)

    def write(self, *, only_full: bool = False) -> None:
        """Write what is finished; ``only_full``: when it is worth a transaction."""
        pending = len(self.records) + len(self.places)
        late = time.monotonic() - self.written > _BATCH_S
        if not pending or (only_full and pending < _BATCH and not late):
            return
        self.book.write(self.root, self.places, self.records, self.asked)
        self.places, self.records = [], []
        self.written = time.monotonic()


def scan(folder: Path, book: Book, asked: Asked, workers: Workers, tell: Tell = lambda _: None) -> Tally:
    """Bring the book up to date with a folder; interrupted, it keeps all that was finished.

    A file whose size and date are those of last time is taken to be unchanged; any other is known by its
    content, so that a moved, renamed or copied one is not looked at again.

    Raises:
        BadBook: the book cannot be written.

    """
    root = str(folder.resolve())
    before = book.places(root)
    state = _Scan(book, root, asked, workers, tell, Tally(), book.complete(asked))
    tally, kept = state.tally, set[bytes]()
    fresh: dict[bytes, Place] = {}
    try:
        for found in walk(folder):
            if isinstance(found, Trouble):
                tally.troubles.append(found)
                continue
            tally.seen += 1
            place = found.place
            old = before.get(place.key)
            kept.add(place.key)
            if old is not None and old[:2] == (place.size, place.mtime_ns) and old[2] in state.complete:
                tally.known += 1
                continue
            if old is None:
                fresh[place.key] = place
            state.look(found)
        tally.walked = True
        while state.tickets:
            state.take(wait=True)
    finally:
        state.write()
    _forget(state, before, kept, fresh)
    if not book.pages_fresh():
        book.page_sketches()
    tell(tally)
    return tally


def _forget(
    state: _Scan, before: dict[bytes, tuple[int, int, str]], kept: set[bytes], fresh: dict[bytes, Place]
) -> None:
    """Forget what is no longer there, and tell what only moved."""
    lost = [key for key in before if key not in kept]
    now = {key: sha256 for key, (_, _, sha256) in state.book.places(state.root).items()}
    by_content: dict[str, list[str]] = {}
    for key, place in fresh.items():
        if key in now:
            by_content.setdefault(now[key], []).append(place.path)
    for key in lost:
        new = by_content.get(before[key][2])
        if new:
            state.tally.moved.append((key.replace(b"\x00", b" > ").decode("utf-8", "replace"), new.pop(0)))
        else:
            state.tally.gone += 1
    if lost or state.tally.looked_at or state.tally.copies:
        state.book.forget(state.root, lost)
