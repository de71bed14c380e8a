"""What the page keeps while it runs: uploads and answers, in a folder of its own that goes when it ends.

A file is known by a token that nobody can guess; its own name is only ever shown, never used as a path.
"""

from __future__ import annotations

import hashlib
import secrets
import shutil
import tempfile
import threading
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path

_FILES = 200  #: uploads kept; the oldest goes when one more comes
_UPLOADED_BYTES = 1_000_000_000  #: of uploads kept
_ANSWERS = 400  #: answers kept
_BYTES = 600_000_000  #: of answers kept


@dataclass(frozen=True, slots=True)
class Upload:
    """One uploaded design."""

    token: str
    name: str  #: as the browser said it, to be shown
    path: Path
    sha256: str
    size: int


class Store:
    """Uploads and answers of one running page. Safe to use from several threads."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="prehoop-page-"))
        self._lock = threading.Lock()
        self._uploads: OrderedDict[str, Upload] = OrderedDict()
        self._answers: OrderedDict[str, tuple[Path, int]] = OrderedDict()

    def add(self, name: str, content: bytes) -> Upload:
        """Keep an uploaded file; the same content under the same name is kept once."""
        sha256 = hashlib.sha256(content).hexdigest()
        with self._lock:
            for one in self._uploads.values():
                if one.sha256 == sha256 and one.name == name:
                    return one
            token = secrets.token_urlsafe(16)
            path = self.folder / f"{len(self._uploads):04d}-{secrets.token_hex(8)}.upload"
            path.write_bytes(content)
            self._uploads[token] = Upload(token, name, path, sha256, len(content))
            while len(self._uploads) > _FILES or self._uploaded() > _UPLOADED_BYTES:
                _, old = self._uploads.popitem(last=False)
                old.path.unlink(missing_ok=True)
            return self._uploads[token]

    def _uploaded(self) -> int:
        return sum(one.size for one in self._uploads.values())

    def upload(self, token: str) -> Upload | None:
        """Return an upload, None where there is none of that token."""
        with self._lock:
            return self._uploads.get(token)

    def uploads(self) -> tuple[Upload, ...]:
        """Return all uploads, newest first."""
        with self._lock:
            return tuple(reversed(self._uploads.values()))

    def remove(self, token: str) -> None:
        """Forget an upload and its file."""
        with self._lock:
            old = self._uploads.pop(token, None)
        if old is not None:
            old.path.unlink(missing_ok=True)

    def answer(self, key: str) -> bytes | None:
        """Return an answer that was kept."""
        with self._lock:
            held = self._answers.get(key)
            if held is None:
                return None
            self._answers.move_to_end(key)
        return held[0].read_bytes()

    def keep(self, key: str, content: bytes) -> None:
        """Keep an answer; the ones not asked for longest go."""
        path = self.folder / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.answer"
        path.write_bytes(content)
        with self._lock:
            self._answers[key] = (path, len(content))
            self._answers.move_to_end(key)
            while len(self._answers) > _ANSWERS or sum(size for _, size in self._answers.values()) > _BYTES:
                _, (old, _) = self._answers.popitem(last=False)
                if old != path:
                    old.unlink(missing_ok=True)

    def close(self) -> None:
        """Remove the folder with everything in it."""
        shutil.rmtree(self.folder, ignore_errors=True)
