"""Writers that go on until they are killed, and tell each thing once it is acknowledged.

This file is also a program that has everything imported and forks a writer when it is told to, so
that a kill costs milliseconds. What writers tell stands in a file, a line each.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from random import Random

import numpy as np
from commands import process_environment

from stagecast.base.savefile import save_file
from stagecast.season.log.entries import LoggedCount, LoggedSet, LoggedVisit
from stagecast.season.log.store import LogStore
from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.store import WeatherStore

NOON = dt.datetime(2026, 7, 6, 12)
ONE_DAY = dt.timedelta(days=1)

Tell = Callable[[object], None]


def logs(path: Path, who: str, tell: Tell) -> None:
    """Log visits of four sets one after another, every third of them corrected at once."""
    store = LogStore(path)
    for number in range(1_000_000):
        counts = (LoggedCount("stink-bugs", "adults", float(number)),)
        sets = tuple(LoggedSet(n, 25.0, "sweeps", counts) for n in (1, 2, 3, 4))
        notes = f"{who} {number}"
        visit = LoggedVisit("", "F1", NOON.date(), who, "R3", notes=notes, sets=sets)
        (new,) = store.add([visit], entered_at=NOON).new
        tell(new)
        if number % 3 == 0:
            better = LoggedVisit(
                "", "F1", NOON.date(), who, "R4", notes=notes, corrects=new, sets=sets
            )
            tell(*store.add([better], entered_at=NOON).new)


def stores(path: Path, who: str, tell: Tell) -> None:
    """Store the days of a station again and again, all of them with the number of the time."""
    store = WeatherStore(path)
    first = dt.date(2026, 1, 1)
    for number in range(1, 1_000_000):
        warm = np.full(200, number / 100.0)
        kind = np.full(200, DayKind.OBSERVED, dtype=np.int8)
        record = StationRecord(Station(who, 35.0, -90.0), first, warm - 5.0, warm, kind)
        store.save([record], fetched_on=first + 300 * ONE_DAY, source="invented")
        tell(number)


def saves(path: Path, who: str, tell: Tell) -> None:
    """Save a file again and again, each line of it with the number of the time."""
    for number in range(1, 1_000_000):
        save_file(path, f"{who} {number}\n".encode() * 5_000, is_ours=lambda _: True)
        tell(number)


WRITERS = {"logs": logs, "stores": stores, "saves": saves}


class Writers:
    """The program that forks writers, and what they told."""

    def __init__(self, folder: Path, program: subprocess.Popen[str]) -> None:
        self.folder, self.program = folder, program
        self.rounds = 0

    def killed(self, kind: str, path: Path, who: Sequence[str], *, draw: Random) -> list[str]:
        """Let some write at once and kill them a moment after some of their rows; what they told.

        Rows are waited for, however long they take.
        """
        begun = []
        for one in who:
            self.rounds += 1
            ear = self.folder / f"told {self.rounds}"
            ear.touch()
            begun.append((int(self._ask(f"{kind}\t{path}\t{one}\t{ear}")), ear))
        for _, ear in begun:
            rows = draw.choice((0, 1, 1, 2, 5))
            while ear.read_bytes().count(b"\n") < rows:
                time.sleep(0.0005)
        time.sleep(draw.uniform(0.0, draw.choice((0.001, 0.02))))
        for pid, _ in begun:
            assert self._ask(f"kill\t{pid}") == f"{signal.SIGKILL:d}", "it ended by itself"
        return [line for _, ear in begun for line in ear.read_text("ascii").splitlines()]

    def _ask(self, line: str) -> str:
        assert self.program.stdin is not None
        assert self.program.stdout is not None
        self.program.stdin.write(f"{line}\n")
        self.program.stdin.flush()
        return self.program.stdout.readline().strip()


@contextlib.contextmanager
def writers(folder: Path) -> Iterator[Writers]:
    """The program, with a folder for what is told."""
    program = subprocess.Popen(
        [sys.executable, __file__], env=process_environment(), text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    with program:
        yield Writers(folder, program)


def teller(ear: str) -> Tell:
    """Write what is told where it is read, a line at a time and at once."""
    told = os.open(ear, os.O_WRONLY | os.O_APPEND)
    return lambda what: os.write(told, f"{what}\n".encode())


def main() -> None:
    """Fork and kill as the lines of the input say."""
    for line in sys.stdin:
        kind, *more = line.rstrip("\n").split("\t")
        if kind == "kill":
            pid = int(more[0])
            os.kill(pid, signal.SIGKILL)
            _, status = os.waitpid(pid, 0)
            print(os.waitstatus_to_exitcode(status) * -1, flush=True)
            continue
        path, who, ear = more
        pid = os.fork()
        if pid == 0:
            WRITERS[kind](Path(path), who, teller(ear))
        print(pid, flush=True)


if __name__ == "__main__":
    main()
