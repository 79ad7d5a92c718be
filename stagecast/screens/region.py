"""What a terminal shows of a region: how a run goes, and when half of the area comes to a stage."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TextIO

import numpy as np
from rich.console import Console

from stagecast.base.terminal import paragraph, table
from stagecast.region.summary import RegionSummary, StageShares
from stagecast.screens.region_text import progress_text
from stagecast.screens.screen import day_text

SHOWN = ("VE", "R1", "R3", "R5", "R6", "R7", "R8")
_EVERY_S = 30.0  # without a terminal a line is left as rarely as this
_WIDTH = 79
HALF, TENTH = 0.5, 0.1
_LITTLE = 1e-9


@dataclass
class ProgressLine:
    """Tells how far a run is: one line written over on a terminal, else one now and then."""

    clock: Callable[[], float]
    stream: TextIO = field(default_factory=lambda: sys.stderr)
    _began: float | None = None
    _begun: int = 0
    _told: float = 0.0

    def __call__(self, done: int, fields: int) -> None:
        """So many of the fields are done."""
        now = self.clock()
        if not fields or not done:
            return
        if self._began is None:
            # What the first part took also went into starting; the rate counts from here.
            self._began, self._begun, self._told = now, done, now
            return
        written_over = self.stream.isatty()
        if not written_over and now - self._told < _EVERY_S:
            return
        self._told = now
        text = progress_text(done, fields, seconds=now - self._began, begun=self._begun)
        if written_over:
            end = "\n" if done == fields else ""
            print(f"\r{text:<{_WIDTH}}", end=end, file=self.stream, flush=True)
        else:
            print(text, file=self.stream, flush=True)


def show_summary(console: Console, summary: RegionSummary) -> None:
    """Stage by stage: when a tenth, half and nine tenths of the area are there, and a line."""
    shown = [one for one in summary.whole() if one.stage in SHOWN]
    weeks = _weeks(shown)
    made = table("stage", "a tenth", "half", "nine tenths", "share of the area, week by week")
    for one in shown:
        days = (summary.reached(one.middle, share) for share in (TENTH, HALF, 1.0 - TENTH))
        made.add_row(one.stage, *map(day_text, days), _line(one, weeks))
    console.print(made)
    first, last = day_text(summary.dates[weeks.start]), day_text(summary.dates[weeks.stop - 1])
    paragraph(
        console,
        f"A mark a week, from {first} to {last}: tenths of the area, # for all of it.",
    )


def _weeks(shown: Sequence[StageShares]) -> range:
    """The weeks from the first with a tenth of the area at any stage to the last that changes."""
    come = np.array([one.middle for one in shown])
    moving = np.flatnonzero(((come >= TENTH) & (come < come[:, -1:] - _LITTLE)).any(axis=0))
    if not moving.size:
        return range(come.shape[1] - 1, come.shape[1])
    return range(int(moving[0]), min(int(moving[-1]) + 2, come.shape[1]))


def _line(one: StageShares, weeks: range) -> str:
    tenths = [int(share * 10.0 + _LITTLE) for share in one.middle[weeks.start : weeks.stop]]
    return "".join("#" if t == 10 else str(t) if t else "." for t in tenths)
