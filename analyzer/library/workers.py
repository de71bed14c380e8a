"""Where designs are looked at: processes of this machine, or a cluster; both give the same records."""

from __future__ import annotations

import concurrent.futures as futures
import multiprocessing
import os
import time
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from typing import Any, Protocol

from analyzer.goods.constants import constants
from analyzer.library.measuring import look_at
from analyzer.library.types import Asked, Record

_LOOK_S = 0.02  #: between looks at what a cluster has done
_END_S = 5.0  #: that a worker may take to end
_WAITING = 4  #: designs handed out for each worker, so that none waits and memory stays bounded
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


class Workers(Protocol):
    """Something that looks at designs."""

    @property
    def room(self) -> int:
        """How many designs may be under way at once."""

    def give(self, ticket: int, name: str, content: bytes, asked: Asked) -> None:
        """Hand out one design."""

    def take(self, *, wait: bool) -> list[tuple[int, Record]]:
        """Return what is finished; ``wait`` until something is."""

    def close(self) -> None:
        """Let go of everything that is under way."""


def _begin(memory_bytes: int) -> None:
    """Prepare a worker: bounded memory where the system can do that, deaf to the terminal's Ctrl-C."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(ImportError, ValueError, OSError):
        import resource

        _, most = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, most))


def safely(name: str, content: bytes, asked: Asked) -> Record:
    """Look at one design; whatever goes wrong becomes its reason."""
    import hashlib

    try:
        return look_at(name, content, asked)
    except MemoryError:
        reason = "it takes more memory than a worker may have"
    except Exception as error:
        reason = f"something went wrong inside prehoop ({type(error).__name__}: {error}); please report it"
    return Record(hashlib.sha256(content).hexdigest(), len(content), "unreadable", reason, None)


def processes(jobs: int) -> futures.ProcessPoolExecutor:
    """Return so many processes of this machine (spawned: alike on every system), of bounded memory."""
    for name in _THREADS:
        os.environ.setdefault(name, "1")
    memory = int(constants("library")["worker_memory_mb"].value * 1e6)
    return futures.ProcessPoolExecutor(
        jobs, mp_context=multiprocessing.get_context("spawn"), initializer=_begin, initargs=(memory,)
    )


def end(pool: futures.ProcessPoolExecutor) -> None:
    """End the processes of a pool, whatever they do."""
    running = list((getattr(pool, "_processes", None) or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    for process in running:
        process.terminate()
    for process in running:
        process.join(_END_S)


class LocalWorkers:
    """Processes of this machine, kept from design to design."""

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs
        self._given: dict[futures.Future[Record], tuple[int, str, bytes, Asked]] = {}
        self._pool = processes(jobs)

    @property
    def room(self) -> int:
        """How many designs may be under way at once."""
        return _WAITING * self.jobs

    def give(self, ticket: int, name: str, content: bytes, asked: Asked) -> None:
        """Hand out one design."""
        task = (ticket, name, content, asked)
        try:
            self._given[self._pool.submit(safely, name, content, asked)] = task
        except BrokenProcessPool:
            self._restart()
            self._given[self._pool.submit(safely, name, content, asked)] = task

    def take(self, *, wait: bool) -> list[tuple[int, Record]]:
        """Return what is finished; ``wait`` until something is.

        A design that ends its worker is tried once more, alone.
        """
        if not self._given:
            return []
        timeout = None if wait else 0.0
        done, _ = futures.wait(self._given, timeout, return_when=futures.FIRST_COMPLETED)
        finished: list[tuple[int, Record]] = []
        broken = False
        for one in done:
            try:
                record = one.result()
            except BrokenProcessPool:
                broken = True
                continue
            ticket, *_ = self._given.pop(one)
            finished.append((ticket, record))
        if broken:
            finished += self._one_by_one()
        return finished

    def _one_by_one(self) -> list[tuple[int, Record]]:
        """Look at all that was under way when a worker ended, one at a time, to find the one that ends it."""
        waiting = list(self._given.values())
        self._restart()
        finished = []
        for ticket, name, content, asked in waiting:
            try:
                record = self._pool.submit(safely, name, content, asked).result()
            except BrokenProcessPool:
                self._restart()
                record = _ended(content)
            finished.append((ticket, record))
        return finished

    def _restart(self) -> None:
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._given.clear()
        self._pool = processes(self.jobs)

    def close(self) -> None:
        """End the workers; what is under way is dropped."""
        self._given.clear()
        end(self._pool)


def _ended(content: bytes) -> Record:
    import hashlib

    sha256 = hashlib.sha256(content).hexdigest()
    return Record(sha256, len(content), "unreadable", "looking at it ended the process that did", None)


class ClusterWorkers:
    """Workers of a dask cluster; bytes travel, so that they need no common disk."""

    def __init__(self, address: str) -> None:
        """Connect to the scheduler at ``address``.

        Raises:
            BadJob: the extra is not installed, or nobody answers there.

        """
        from analyzer.errors import BadJob

        try:
            import distributed
        except ImportError:
            raise BadJob("a cluster needs the extra: pip install 'prehoop[cluster]'") from None
        try:
            connect: Any = distributed.Client
            self._client: Any = connect(address, timeout=10, set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            raise BadJob(f"no scheduler answers at {address}: {error}") from None
        self._given: dict[Any, int] = {}

    @property
    def room(self) -> int:
        """How many designs may be under way at once."""
        threads = sum(self._client.nthreads().values())
        return _WAITING * max(1, int(threads))

    def give(self, ticket: int, name: str, content: bytes, asked: Asked) -> None:
        """Hand out one design; lost workers are made good three times."""
        future = self._client.submit(safely, name, content, asked, pure=False, retries=3)
        self._given[future] = ticket

    def take(self, *, wait: bool) -> list[tuple[int, Record]]:
        """Return what is finished; ``wait`` until something is."""
        while wait and self._given and not any(future.done() for future in self._given):
            time.sleep(_LOOK_S)
        done = [future for future in self._given if future.done()]
        return [(self._given.pop(future), future.result()) for future in done]

    def close(self) -> None:
        """Leave the cluster; what is under way is dropped."""
        for future in self._given:
            future.cancel()
        self._given.clear()
        self._client.close()


def cores() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
