"""The design book: one SQLite file, written by one connection in whole transactions.

Killed at any moment it opens again and holds every design that was committed, since a transaction is all or
nothing (SQLite, Atomic Commit). Two scans at once wait for each other's transactions and write the same rows.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path

from analyzer import __version__
from analyzer.errors import BadBook
from analyzer.library.migrating import SCHEMA, step
from analyzer.library.types import Asked, Measures, Record

_APPLICATION = 0x70726870  #: in the file's header, so that a design book is known from any other database
_PAGE = 4096  #: sketches in one row
_WAIT_S = 60.0  #: for another scan's transaction
_OF_MEASURES = tuple(f.name for f in fields(Measures) if f.name not in ("threads", "noted"))


@dataclass(frozen=True, slots=True)
class Place:
    """One file as it was found."""

    key: bytes
    path: str
    name: str
    size: int
    mtime_ns: int


class Book:
    """An open design book."""

    def __init__(self, path: Path, *, write: bool = False) -> None:
        """Open the book at ``path``; to write, it is made when missing.

        A book of an earlier prehoop is brought to the present schema, to be read too.

        Raises:
            BadBook: it is missing, no design book, of a later prehoop, or cannot be written.

        """
        self.path = path
        if not write and not path.is_file():
            raise BadBook(f"{path}: there is no such design book; make one with prehoop scan FOLDER")
        with self.told():
            self.base = self._connected("rwc" if write else "ro")
            if write:
                self._migrate()
            elif self._version()[0] == _APPLICATION and self._version()[1] < SCHEMA:
                self._bring_up()
            self._refuse_others()

    def _connected(self, mode: str) -> sqlite3.Connection:
        base = sqlite3.connect(
            f"{self.path.absolute().as_uri()}?mode={mode}", uri=True, timeout=_WAIT_S, isolation_level=None
        )
        base.execute("PRAGMA foreign_keys = ON")
        return base

    def _bring_up(self) -> None:
        """Bring a book of an earlier prehoop up, that was only to be read."""
        self.base.close()
        self.base = self._connected("rw")
        try:
            self._migrate()
        except BadBook as error:
            raise BadBook(
                f"{self.path}: an earlier prehoop wrote it, and it cannot be brought up to date there: "
                f"copy it to a place that can be written ({str(error).removeprefix(f'{self.path}: ')})"
            ) from None
        self.base.close()
        self.base = self._connected("ro")

    def close(self) -> None:
        """Close the book."""
        self.base.close()

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def told(self) -> Iterator[None]:
        """Say in one line what SQLite complains of."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            text = str(error)
            if "full" in text:
                said = "the disk is full; what was finished is kept"
            elif "readonly" in text or "unable to open" in text:
                said = "it cannot be written or opened there; name another place with --book"
            elif "locked" in text:
                said = "another scan has held it for a minute; try again when it is done"
            elif "not a database" in text or "malformed" in text:
                said = "this is no design book, or a damaged one"
            else:
                said = text
            raise BadBook(f"{self.path}: {said}") from None

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Do all of something or nothing of it."""
        with self.told():
            self.base.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                if self.base.in_transaction:  # a full disk has rolled it back already
                    self.base.execute("ROLLBACK")
                raise
            self.base.execute("COMMIT")

    def _version(self) -> tuple[int, int]:
        application = self.base.execute("PRAGMA application_id").fetchone()[0]
        return int(application), int(self.base.execute("PRAGMA user_version").fetchone()[0])

    def _migrate(self) -> None:
        """Bring the book to the present schema, one version after another, each in one transaction."""
        while True:
            with self.transaction():
                application, version = self._version()  # another scan may have brought it up meanwhile
                tables = self.base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
                if application != _APPLICATION and tables:
                    raise BadBook(f"{self.path}: this is a database, but no design book; name another place")
                if version >= SCHEMA:
                    return
                self.base.execute(f"PRAGMA application_id = {_APPLICATION}")
                step(self.base, version + 1)

    def _refuse_others(self) -> None:
        application, version = self._version()
        if application != _APPLICATION:
            raise BadBook(f"{self.path}: this is no design book")
        if version > SCHEMA:
            raise BadBook(
                f"{self.path}: written by a later prehoop (schema {version}, this one knows {SCHEMA}); "
                "update prehoop"
            )

    # ---- what a scan asks and writes

    def places(self, root: str) -> dict[bytes, tuple[int, int, str]]:
        """Return size, mtime_ns and sha256 of every file known below ``root``, by its key."""
        with self.told():
            rows = self.base.execute("SELECT key, size, mtime_ns, sha256 FROM files WHERE root = ?", (root,))
            return {bytes(key): (size, mtime, sha256) for key, size, mtime, sha256 in rows}

    def complete(self, asked: Asked) -> set[str]:
        """Return the contents of which all that is ``asked`` is known, by this version of prehoop."""
        with self.told():
            known = "SELECT sha256 FROM designs WHERE version = ?1"
            found = {row[0] for row in self.base.execute(known, (__version__,))}
            unread = {
                row[0] for row in self.base.execute(known + " AND status = 'unreadable'", (__version__,))
            }
            for name in asked.goods:
                on = self.base.execute(
                    "SELECT sha256 FROM verdicts WHERE goods = ? AND kind = ?", (name, asked.key)
                )
                found &= unread | {row[0] for row in on}
            return found

    def write(
        self, root: str, places: Iterable[tuple[Place, str]], records: Iterable[Record], asked: Asked
    ) -> None:
        """Write finished designs and the places they were found at, in one transaction."""
        with self.transaction():
            self._mark_pages(0)
            for record in records:
                self._write_record(record, asked)
            self.base.executemany(
                "INSERT OR REPLACE INTO files (root, key, path, name, sha256, size, mtime_ns)"
                " VALUES (?,?,?,?,?,?,?)",
                [
                    (root, one.key, one.path, one.name, sha256, one.size, one.mtime_ns)
                    for one, sha256 in places
                ],
            )

    def _write_record(self, record: Record, asked: Asked) -> None:
        base, sha256, measured = self.base, record.sha256, record.measures
        head = {"sha256": sha256, "size": record.size, "status": record.status, "reason": record.reason}
        row = head | {"version": __version__}
        row |= {name: getattr(measured, name) if measured else None for name in _OF_MEASURES}
        names = ", ".join(row)
        marks = ", ".join(f":{name}" for name in row)
        kept = ", ".join(f"{name} = excluded.{name}" for name in row if name != "sha256")
        base.execute(
            f"INSERT INTO designs ({names}) VALUES ({marks}) ON CONFLICT (sha256) DO UPDATE SET {kept}", row
        )
        goods = ["", *(verdict.goods for verdict in record.verdicts)]
        base.executemany(
            "DELETE FROM findings WHERE sha256 = ? AND goods = ?", [(sha256, name) for name in goods]
        )
        noted = [*(measured.noted if measured else ()), *(n for v in record.verdicts for n in v.noted)]
        base.executemany(
            "INSERT OR REPLACE INTO findings VALUES (?,?,?,?,?,?)",
            [(sha256, one.goods, one.name, one.level, one.measured, one.chance) for one in noted],
        )
        base.executemany(
            "INSERT OR REPLACE INTO verdicts VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
            [
                (sha256, one.goods, asked.key, one.outcome, one.chance, one.decided_by, one.worst_gap_mm,
                 one.gap_low_mm, one.gap_high_mm, one.pucker_mm, one.stack, one.enough, one.backing,
                 one.backing_g_m2, one.layers)
                for one in record.verdicts
            ],
        )  # fmt: skip
        threads = measured.threads if measured else ()
        base.executemany(
            "INSERT OR REPLACE INTO threads VALUES (?,?,?,?,?)",
            [(sha256, block, rgb, name, count) for block, (rgb, name, count) in enumerate(threads, 1)],
        )

    def forget(self, root: str, keys: Iterable[bytes]) -> None:
        """Forget places, and the designs that are then found nowhere."""
        with self.transaction():
            self._mark_pages(0)
            self.base.executemany(
                "DELETE FROM files WHERE root = ? AND key = ?", [(root, key) for key in keys]
            )
            self.base.execute("CREATE TEMP TABLE IF NOT EXISTS gone (sha256 TEXT PRIMARY KEY)")
            self.base.execute("DELETE FROM gone")
            self.base.execute(
                "INSERT INTO gone SELECT sha256 FROM designs d"
                " WHERE NOT EXISTS (SELECT 1 FROM files f WHERE f.sha256 = d.sha256)"
            )
            for table in ("findings", "verdicts", "threads", "designs"):
                self.base.execute(f"DELETE FROM {table} WHERE sha256 IN (SELECT sha256 FROM gone)")

    def _mark_pages(self, fresh: int) -> None:
        self.base.execute("INSERT OR REPLACE INTO marks VALUES ('pages', ?)", (fresh,))

    def pages_fresh(self) -> bool:
        """Say whether the pages of sketches hold what the designs hold."""
        with self.told():
            mark = self.base.execute("SELECT value FROM marks WHERE name = 'pages'").fetchone()
        return mark is not None and bool(mark[0])

    def page_sketches(self) -> None:
        """Gather the sketches of all designs into pages, so that asking what is alike reads a few rows."""
        with self.transaction():
            self.base.execute("DELETE FROM sketch_pages")
            rows = self.base.execute(
                "SELECT sha256, sketch FROM designs WHERE sketch IS NOT NULL ORDER BY sha256"
            ).fetchall()
            for page, begin in enumerate(range(0, len(rows), _PAGE)):
                part = rows[begin : begin + _PAGE]
                contents = b"".join(bytes.fromhex(row[0]) for row in part)
                sketches = b"".join(row[1] for row in part)
                self.base.execute("INSERT INTO sketch_pages VALUES (?, ?, ?)", (page, contents, sketches))
            self._mark_pages(1)

    def sketches(self) -> tuple[bytes, bytes]:
        """Return the contents (32 bytes each) and the sketches of all designs, from pages while fresh."""
        with self.told():
            if self.pages_fresh():
                pages = self.base.execute(
                    "SELECT contents, sketches FROM sketch_pages ORDER BY page"
                ).fetchall()
                return b"".join(row[0] for row in pages), b"".join(row[1] for row in pages)
            rows = self.base.execute(
                "SELECT sha256, sketch FROM designs WHERE sketch IS NOT NULL ORDER BY sha256"
            ).fetchall()
            return b"".join(bytes.fromhex(row[0]) for row in rows), b"".join(row[1] for row in rows)

    def counts(self) -> dict[str, int]:
        """Return how many files and designs there are, and how many of each status."""
        with self.told():
            rows = self.base.execute("SELECT status, count(*) FROM designs GROUP BY status").fetchall()
            counts = {"files": self.base.execute("SELECT count(*) FROM files").fetchone()[0]}
            return counts | {str(status): int(number) for status, number in rows}
