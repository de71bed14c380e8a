"""Keeping one's own things: several files together or none, never over something that changed meanwhile."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analyzer.errors import BadJob, PrehoopError
from analyzer.files import write_whole
from analyzer.goods import resolve
from analyzer.goods.own_files import TomlFile, toml_file
from analyzer.job import Job
from analyzer.page.own_text import free_name, mark_of, text_of

_ONE_AT_A_TIME = threading.Lock()
UNREADABLE = "unreadable"  #: stands for what a file holds that cannot be understood


class Moved(Exception):
    """A file was changed since the form was shown."""


@dataclass(frozen=True, slots=True)
class Files:
    """The settings file as it is, with the machine's and the stock's file that it names."""

    settings: Path
    text: str
    machine: Path | None
    machine_text: str
    stock: Path | None
    stock_text: str

    @property
    def seen(self) -> str:
        """What tells whether one of them changed."""
        return mark_of(self.text, self.machine_text, self.stock_text)

    def section(self, name: str) -> Mapping[str, Any]:
        """Return a table of the settings, empty where there is none.

        Raises:
            BadJob: something else stands there.

        """
        file = toml_file(self.settings, self.text.encode())
        held = file.table.get(name, {})
        if not isinstance(held, Mapping):
            raise file.wrong(f"{name} must be a table: change it as text", name)
        return held

    def part(self, what: str) -> TomlFile:
        """Return the machine's or the stock's file, which is empty where there is none."""
        path, text = (self.machine, self.machine_text) if what == "machine" else (self.stock, self.stock_text)
        return toml_file(path or self.settings.parent / free_name(self.settings.parent, what), text.encode())


def files_of(settings: Path) -> Files:
    """Return the files as they are.

    Raises:
        BadJob: one of them cannot be read.

    """
    try:
        text = text_of(settings)
        job = Files(settings, text, None, "", None, "").section("job")
        machine, stock = (
            settings.parent / str(job[key]) if key in job else None for key in ("machine", "stock")
        )
        return Files(settings, text, machine, text_of(machine), stock, text_of(stock))
    except OSError as error:
        raise BadJob(f"the settings cannot be read: {(error.strerror or 'unreadable').lower()}") from None


def keep(before: Files, seen: str, changes: dict[Path, str], base: Callable[[], Job]) -> None:
    """Write files and read everything again; put back what was there when it is refused.

    Raises:
        Moved: a file is no longer what it was when the form was shown.
        PrehoopError: something in them is wrong, or they cannot be written; nothing has changed.

    """
    folder = before.settings.parent
    try:
        contents = {path: text.encode("utf-8") for path, text in changes.items()}
    except UnicodeEncodeError:
        raise BadJob("a mark in it cannot be written as UTF-8") from None
    with _ONE_AT_A_TIME:
        if seen != _seen_now(before.settings):
            raise Moved
        old = {path: path.read_bytes() if path.is_file() else None for path in changes}
        done: list[Path] = []
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for path, content in contents.items():
                done.append(path)
                write_whole(path, content, force=True)
            job = base()
            if job.goods is not None:
                resolve(job, job.goods, (0.0, 0.0))
        except OSError as error:
            _put_back(old, done)
            raise BadJob(f"the settings cannot be written: {(error.strerror or 'no room').lower()}") from None
        except PrehoopError:
            _put_back(old, done)
            raise


def _seen_now(settings: Path) -> str:
    try:
        return files_of(settings).seen
    except PrehoopError:
        return UNREADABLE


def _put_back(old: dict[Path, bytes | None], done: list[Path]) -> None:
    for path in reversed(done):
        content = old[path]
        if content is None:
            path.unlink(missing_ok=True)
        else:
            write_whole(path, content, force=True)


def without_folder(text: str, folder: Path) -> str:
    """Return a message without the folder that the settings lie in."""
    return text.replace(str(folder) + os.sep, "")
