"""Writing result files: whole or not at all, and never over something that is there without being told to."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from analyzer.errors import BadJob


def refuse_existing(paths: tuple[Path, ...]) -> None:
    """Refuse to go on when one of ``paths`` is there already.

    Raises:
        BadJob: it is; the message names the first one and what to do.

    """
    for path in paths:
        if path.exists():
            raise BadJob(f"{path} is there already: name another place, or allow writing over it (--force)")


def write_whole(path: Path, content: bytes, *, force: bool = False) -> None:
    """Write ``content`` to ``path`` so that a reader sees the old file or the whole new one.

    Raises:
        BadJob: the file is there already and ``force`` is false.
        OSError: the place cannot be written to.

    """
    if not force:
        refuse_existing((path,))
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}-", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())  # a full disk may only show here
        mask = os.umask(0)
        os.umask(mask)
        Path(name).chmod(0o666 & ~mask)
        os.replace(name, path)  # noqa: PTH105 - the same call, said plainly
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
