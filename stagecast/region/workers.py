"""Who does the parts of a region: this process, others of this computer, or a Dask cluster.

Any worker may be killed as it runs. A part goes out whole, so that another can do it, and what was
written is not written again.
"""

from __future__ import annotations

import pickle
import signal
import traceback
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from multiprocessing import get_context, parent_process, resource_tracker
from multiprocessing.connection import Connection, wait
from types import TracebackType
from typing import Any, Protocol

from stagecast.base.errors import SeasonProblems
from stagecast.region.part import RegionAsked
from stagecast.region.part_file import FieldsPart, do_part
from stagecast.region.ready import make_ready
from stagecast.region.weather import RegionWeather

_PATIENCE_S = 10  # for a scheduler to answer
_AHEAD = 2  # parts that wait at each worker of a cluster
_FAILURES = 10  # workers that may end with the same part, before it is held to be at fault


class Crew(Protocol):
    """Whoever does parts; they come in any order."""

    def work(
        self, parts: Iterator[FieldsPart], weather: RegionWeather, asked: RegionAsked
    ) -> Iterator[int]:
        """Do every part; after each, how many fields it had."""


class OneProcess:
    """No other process than this one."""

    def work(
        self, parts: Iterator[FieldsPart], weather: RegionWeather, asked: RegionAsked
    ) -> Iterator[int]:
        """Do one part after the other."""
        for part in parts:
            yield do_part(part, weather, asked)


ALONE = OneProcess()


# --- processes of this computer -------------------------------------------------------------------


class Processes(AbstractContextManager["Processes"]):
    """Processes that start at once, and make the loop ready while there is nothing else to do.

    They are new ones, not forks: a fork of a process with threads may hang.
    """

    def __init__(self, count: int) -> None:
        self._idle = [_Process() for _ in range(count)]
        self._busy: dict[Any, _Process] = {}

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        where: TracebackType | None,
    ) -> None:  # fmt: skip
        for one in (*self._idle, *self._busy.values()):
            one.end()

    def work(
        self, parts: Iterator[FieldsPart], weather: RegionWeather, asked: RegionAsked
    ) -> Iterator[int]:
        """A part at each at a time, the next one at hand; each as soon as it is done."""
        job = pickle.dumps((weather, asked))
        coming = next(parts, None)
        while coming is not None or self._busy:
            while coming is not None and self._idle:
                self._send(self._idle.pop(), job, coming, 0)
                coming = next(parts, None)
            for line in wait(list(self._busy)):
                one = self._busy.pop(line)
                answer = one.answer()
                if answer is None:
                    one.end()
                    self._send(_Process(), job, one.part, one.failures + 1)
                    continue
                self._idle.append(one)
                if isinstance(answer, Exception):
                    raise answer
                yield answer

    def _send(self, one: _Process, job: bytes, part: FieldsPart | None, failures: int) -> None:
        assert part is not None
        if failures > _FAILURES:
            one.end()
            message = f"every process that took {part.path.name} was ended"
            step = "see whether memory runs short, and try fewer workers"
            raise SeasonProblems.of("--workers", message, next_step=step)
        one.send(job, part, failures)
        self._busy[one.line] = one


class _Process:
    """A process with a line to it, and the part that it is at."""

    def __init__(self) -> None:
        context = get_context("spawn")
        self.line, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs,), daemon=True)
        with _undisturbed():
            self.process.start()
        theirs.close()
        self.part: FieldsPart | None = None
        self.failures = 0

    def send(self, job: bytes, part: FieldsPart, failures: int) -> None:
        """Give it a part; one that has ended meanwhile is found out when it is asked."""
        self.part, self.failures = part, failures
        with suppress(OSError):
            self.line.send((job, part))

    def answer(self) -> int | Exception | None:
        """What came of the part; None from a process that has ended."""
        try:
            found: int | Exception = self.line.recv()
        except (EOFError, OSError):
            return None
        return found

    def end(self) -> None:
        """End it, whatever it is at."""
        self.line.close()
        self.process.kill()  # also one that is stopped
        self.process.join()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """What starts in here never hears of Ctrl-C; this process does as it leaves."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # else it would start in here, and let Ctrl-C in
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(line: Connection) -> None:
    """Do parts until nobody is there to send any."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who sends the parts ends us
    make_ready()
    while True:
        try:
            job, part = line.recv()
            if not _is_wanted():
                return
            line.send(_done(part, job))
        except (EOFError, OSError):
            return


def _is_wanted() -> bool:
    """Whether who sent a part lives: else another run may be at the same files by now."""
    sender = parent_process()
    return sender is not None and sender.is_alive()


def _done(part: FieldsPart, job: bytes) -> int | Exception:
    try:
        return do_part(part, *_opened(job))
    except Exception as error:
        where = traceback.format_exc()
        error.add_note(where)
        return error if _can_be_sent(error) else RuntimeError(where)


def _can_be_sent(error: Exception) -> bool:
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return False
    return True


@lru_cache(maxsize=1)
def _opened(job: bytes) -> tuple[RegionWeather, RegionAsked]:
    """What holds for all parts of a run, unpacked once."""
    weather, asked = pickle.loads(job)
    return weather, asked


# --- a cluster ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cluster:
    """The workers of a Dask scheduler at an address; they have to see the same files."""

    address: str

    def work(
        self, parts: Iterator[FieldsPart], weather: RegionWeather, asked: RegionAsked
    ) -> Iterator[int]:
        """A few parts at each worker at a time, so that no more wait in memory.

        Raises
        ------
        SeasonProblems
            When no scheduler answers.
        """
        from distributed import Client

        try:
            client = Client(self.address, timeout=_PATIENCE_S)
        except (OSError, TimeoutError) as error:
            message, step = "no scheduler answers there", "start one, or leave the option out"
            raise SeasonProblems.of(
                "--scheduler", message, found=self.address, next_step=step
            ) from error
        with client:
            yield from _on_cluster(client, parts, weather, asked)


def _on_cluster(
    client: Any, parts: Iterator[FieldsPart], weather: RegionWeather, asked: RegionAsked
) -> Iterator[int]:
    from distributed import as_completed

    sent = as_completed()
    waiting = max(_AHEAD * len(client.scheduler_info()["workers"]), _AHEAD)

    def send() -> bool:
        part = next(parts, None)
        if part is not None:
            # Whole, not shared among workers: the last that has what is shared may be killed.
            sent.add(client.submit(do_part, part, weather, asked, pure=False))
        return part is not None

    left = sum(send() for _ in range(waiting))
    while left:
        future = next(sent)
        yield future.result()
        future.release()
        left += send() - 1
