"""Long work that makes many small things and no cycles of them, undisturbed by the collector of cycles."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """Let the collector of cycles rest: on a design of a million stitches it takes a seventh of the time.

    It looks again and again at regions that are all kept. What counts references goes on freeing the rest.
    """
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
