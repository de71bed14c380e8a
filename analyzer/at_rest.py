"""Long work undisturbed: by the collector of cycles, and by threads that would wait for each other."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from threadpoolctl import ThreadpoolController


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


@contextmanager
def threads_at_rest() -> Iterator[None]:
    """Let linear algebra work in one thread.

    The matrices are small, and there are thousands of them: on a busy machine with two processors, threads
    that share them take ten times as long.
    """
    with _controller().limit(limits=1, user_api="blas"):
        yield


@cache
def _controller() -> ThreadpoolController:
    return ThreadpoolController()
