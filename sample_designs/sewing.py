"""One sample design under construction: colour blocks, objects, ties and trims, and its file."""

from __future__ import annotations

from pathlib import Path as FilePath

import numpy as np
import pyembroidery
from stitching import Path

TIE_MM = 0.8  # length of a locking stitch
JOIN_MM = 1.5  # objects nearer than this are joined without a trim
# One fixed date, so that the files are the same bytes whenever they are made.
SETTINGS = {"jef": {"date": "20260601080000"}, "pes": {"version": 6.0}}


class Sewing:
    """Collects penetrations (mm, y up) and machine commands in sewing order."""

    def __init__(self, title: str) -> None:
        self.title = title
        self._threads: list[tuple[str, str]] = []
        self._rows: list[tuple[float, float, int]] = []
        self._here: Path | None = None

    def thread(self, rgb: str, name: str) -> None:
        """Take the next thread."""
        self._close()
        if self._threads:
            self._rows.append((*self._rows[-1][:2], pyembroidery.COLOR_CHANGE))
        self._threads.append((rgb, name))

    def sew(self, path: Path) -> None:
        """Sew one object: tied in, sewn, and tied off and trimmed when the next one begins elsewhere."""
        path = np.round(np.asarray(path, dtype=float), 1)
        path = path[np.concatenate(([True], np.hypot(*np.diff(path, axis=0).T) > 0.01))]
        if self._here is not None and np.hypot(*(path[0] - self._here[-1])) > JOIN_MM:
            self._close()
            self._rows.append((*self._rows[-1][:2], pyembroidery.TRIM))
        if self._here is None:
            self._needle(self._tie(path[0], path[1]))
        self._needle(path)
        self._here = path

    def _close(self) -> None:
        if self._here is not None:
            self._needle(self._tie(self._here[-1], self._here[-2])[1:])
            self._here = None

    def _needle(self, path: Path) -> None:
        for x, y in path.tolist():
            if not self._rows or self._rows[-1] != (x, y, pyembroidery.STITCH):
                self._rows.append((x, y, pyembroidery.STITCH))

    @staticmethod
    def _tie(at: Path, towards: Path) -> Path:
        along = (towards - at) / np.hypot(*(towards - at)) * TIE_MM
        return np.round(np.stack([at, at + along, at, at + along, at]), 1)

    def save(self, path: FilePath) -> None:
        """Write the design, centred on its own middle; the suffix of ``path`` names the format."""
        self._close()
        down = np.array([row[:2] for row in self._rows if row[2] == pyembroidery.STITCH])
        middle = np.round((down.min(axis=0) + down.max(axis=0)) / 2, 1)
        pattern = pyembroidery.EmbPattern()
        pattern.metadata("name", self.title)
        for rgb, name in self._threads:
            pattern.add_thread({"hex": rgb, "description": name, "catalog": ""})
        for x, y, command in self._rows:
            pattern.add_stitch_absolute(command, round((x - middle[0]) * 10), round((middle[1] - y) * 10))
        pattern.end()
        pyembroidery.write(pattern, str(path), SETTINGS.get(path.suffix[1:], {}))
