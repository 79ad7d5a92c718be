"""Plans worked out behind the pages: one at a time, in a thread of its own, given up when stale."""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import Generic, TypeVar

from stagecast.base.steps import heard

T = TypeVar("T")

MAKE_WAY_S = 1.0
"""How long a plan stands still at most, in seconds, while somebody waits for an answer."""


def _settle() -> None:
    """Let the garbage collector go through what a plan holds now, and not while pages are made.

    Of 400 fields that takes a third of a second, which would fall into every third answer.
    """
    gc.unfreeze()
    gc.collect()
    gc.freeze()


class GivenUp(BaseException):
    """Raised in a plan's thread where another one is asked for; nothing on its way catches it."""


class Job(Generic[T]):
    """One plan on its way.

    Attributes
    ----------
    key: what it follows from; two jobs of the same key are the same.
    done, of: fields so far and in all; ``of`` is 0 until it is known.
    given_up: whether it was left for a newer one; then it has neither result nor error.
    """

    def __init__(self, key: Hashable, make: Callable[[Job[T]], T]) -> None:
        self.key = key
        self.done = self.of = 0
        self.given_up = False
        self.result: T | None = None
        self.error: Exception | None = None
        self._make = make
        self._ended = threading.Event()

    @property
    def over(self) -> bool:
        """Whether it has ended, well or not."""
        return self._ended.is_set()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until it has ended; false when the time was over before."""
        return self._ended.wait(timeout_s)

    def run(self, between: Callable[[], None]) -> None:
        """Work it out in this thread."""

        def step() -> None:
            if self.given_up:
                raise GivenUp
            between()

        try:
            with heard(step):
                step()
                self.result = self._make(self)
        except GivenUp:
            self.given_up = True
        except Exception as error:
            self.error = error
        finally:
            self._ended.set()


class Planner(Generic[T]):
    """At most one job runs; those that ask for an answer meanwhile go first."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._turn = threading.Lock()
        self._jobs: list[Job[T]] = []
        self._threads: set[threading.Thread] = set()
        self._free = threading.Condition()
        self._waiting = 0
        self._here = threading.local()

    def job(self, key: Hashable) -> Job[T] | None:
        """The job of a key, while it waits or runs."""
        with self._lock:
            return next((one for one in self._jobs if one.key == key and not one.given_up), None)

    def start(self, key: Hashable, make: Callable[[Job[T]], T], *, alone: bool) -> Job[T]:
        """Begin a job, unless it has begun; ``alone`` gives up all others, which are stale now."""
        with self._lock:
            for one in self._jobs:
                if one.key == key and not one.given_up:
                    return one
                one.given_up = one.given_up or alone
            job = Job(key, make)
            self._jobs.append(job)
            thread = threading.Thread(target=self._run, args=(job,), daemon=True, name="planner")
            self._threads = {one for one in self._threads if one.is_alive()} | {thread}
            thread.start()
        return job

    def close(self) -> None:
        """Give up every job and wait until its thread has ended.

        A thread that is still in a search when Python ends takes the whole program down with it.
        """
        with self._lock:
            for job in self._jobs:
                job.given_up = True
            running = tuple(self._threads)
        for thread in running:
            thread.join()

    @contextmanager
    def aside(self) -> Iterator[None]:
        """While inside, a plan stands still at its next step; not for long."""
        self._count(1)
        try:
            yield
        finally:
            self._count(-1)

    def wait(self, job: Job[T], timeout_s: float | None) -> None:
        """Wait for a job; whoever does lets it go on."""
        inside = getattr(self._here, "inside", 0)
        self._count(-inside)
        job.wait(timeout_s)
        self._count(inside)

    def _count(self, more: int) -> None:
        self._here.inside = getattr(self._here, "inside", 0) + more
        with self._free:
            self._waiting += more
            self._free.notify_all()

    def _run(self, job: Job[T]) -> None:
        with self._turn:
            job.run(self._make_way)
            if not job.given_up:  # else the next one waits, and settles in its turn
                self._make_way()
                _settle()
        with self._lock:
            self._jobs.remove(job)

    def _make_way(self) -> None:
        if self._waiting:
            with self._free:
                self._free.wait_for(lambda: not self._waiting, MAKE_WAY_S)
