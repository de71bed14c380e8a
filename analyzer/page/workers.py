"""Processes that compute for the page, with progress and a way to stop them."""

from __future__ import annotations

import multiprocessing
import secrets
import threading
import time
from collections import OrderedDict, deque
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Literal

from analyzer.page.store import Store
from analyzer.page.tasks import Made, Wanted, make

_MEMORY_BYTES = 3_000_000_000
_SECONDS = 300.0  #: a task may take
_REMEMBERED = 500  #: finished tasks that may still be asked about
_CHECKS_A_WORKER = 150  #: then it is replaced, so that its memory starts anew


class Busy(Exception):
    """More is waiting than will be done soon."""


@dataclass(slots=True)
class Task:
    """One thing under way; changed only by the hall that holds it."""

    token: str
    wanted: Wanted
    state: Literal["waiting", "working", "done", "stopped"] = "waiting"
    what: str = "waiting for its turn"
    share: float = 0.0
    trouble: str | None = None
    began: float = field(default_factory=time.monotonic)
    finished: threading.Event = field(default_factory=threading.Event)


def _serve(pipe: Connection) -> None:
    """Work on tasks until the pipe closes; runs in a process of its own."""
    import os
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[name] = "1"
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, resource.getrlimit(resource.RLIMIT_AS)[1]))
    while True:
        try:
            wanted: Wanted = pipe.recv()
        except (EOFError, OSError):
            return

        def tell(what: str, share: float) -> None:
            pipe.send((what, share))

        try:
            made = make(wanted, tell)
        except Exception as error:
            made = Made(
                trouble=f"something went wrong inside prehoop ({type(error).__name__}); please report it"
            )
        pipe.send(made)


class Hall:
    """A few workers and the tasks that wait for them."""

    def __init__(self, store: Store, workers: int = 2, waiting: int = 40) -> None:
        self._store, self._most = store, waiting
        self._lock = threading.Condition()
        self._queue: deque[Task] = deque()
        self._tasks: OrderedDict[str, Task] = OrderedDict()
        self._closing = False
        self._spawn = multiprocessing.get_context("spawn")
        self._threads = [threading.Thread(target=self._run, daemon=True) for _ in range(workers)]
        for thread in self._threads:
            thread.start()

    def ask(self, wanted: Wanted) -> Task:
        """Return the task that makes what is wanted: one under way already, one finished, or a new one.

        Raises:
            Busy: too much is waiting.

        """
        with self._lock:
            for task in reversed(self._tasks.values()):
                if task.wanted == wanted and task.state in ("waiting", "working"):
                    return task
            task = Task(secrets.token_urlsafe(12), wanted)
            if self._store.answer(wanted.key) is not None:
                task.state, task.share = "done", 1.0
                task.finished.set()
            elif len(self._queue) >= self._most:
                raise Busy
            else:
                self._queue.append(task)
                self._lock.notify()
            self._tasks[task.token] = task
            while len(self._tasks) > _REMEMBERED:
                self._tasks.popitem(last=False)
            return task

    def task(self, token: str) -> Task | None:
        """Return a task, None where none has that token."""
        with self._lock:
            return self._tasks.get(token)

    def stop(self, token: str) -> None:
        """Stop a task that waits or is under way."""
        with self._lock:
            task = self._tasks.get(token)
            if task is None or task.state not in ("waiting", "working"):
                return
            if task.state == "waiting":
                with suppress(ValueError):
                    self._queue.remove(task)
            task.state = "stopped"
            task.finished.set()

    def close(self) -> None:
        """Let go of everything and end the workers."""
        with self._lock:
            self._closing = True
            for task in self._tasks.values():
                if task.state in ("waiting", "working"):
                    task.state = "stopped"
                    task.finished.set()
            self._queue.clear()
            self._lock.notify_all()
        for thread in self._threads:
            thread.join(5.0)

    def _run(self) -> None:
        """Hand tasks to one worker process, one after another."""
        process, pipe, done = self._begin()
        try:
            while True:
                with self._lock:
                    while not self._queue and not self._closing:
                        self._lock.wait()
                    if self._closing:
                        return
                    task = self._queue.popleft()
                    task.state, task.what = "working", "beginning"
                sound = self._work(task, pipe)
                done += 1
                if not sound or done >= _CHECKS_A_WORKER:
                    _end(process, pipe)
                    process, pipe, done = self._begin()
        finally:
            _end(process, pipe)

    def _begin(self) -> tuple[multiprocessing.process.BaseProcess, Connection, int]:
        ours, theirs = self._spawn.Pipe()
        process = self._spawn.Process(target=_serve, args=(theirs,), daemon=True)
        process.start()
        theirs.close()
        return process, ours, 0

    def _work(self, task: Task, pipe: Connection) -> bool:
        """See one task through; say whether the worker is still sound."""
        try:
            pipe.send(task.wanted)
            while True:
                if pipe.poll(0.1):
                    said = pipe.recv()
                    if isinstance(said, Made):
                        self._finish(task, said)
                        return True
                    task.what, task.share = said
                if task.state == "stopped":
                    return False
                if time.monotonic() - task.began > _SECONDS:
                    self._finish(task, Made(trouble="it took too long and was stopped"))
                    return False
        except (EOFError, OSError, BrokenPipeError):
            self._finish(task, Made(trouble="the process that looked at it ended; the file may be damaged"))
            return False

    def _finish(self, task: Task, made: Made) -> None:
        if made.trouble is None:
            self._store.keep(task.wanted.key, made.content)
        with self._lock:
            if task.state == "working":
                task.state, task.share, task.trouble = "done", 1.0, made.trouble
        task.finished.set()


def _end(process: multiprocessing.process.BaseProcess, pipe: Connection) -> None:
    with suppress(OSError):
        pipe.close()
    process.terminate()
    process.join(2.0)
