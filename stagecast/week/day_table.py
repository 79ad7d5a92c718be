"""On which days the windows of a field are open, and what its crop then loses, season by season."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.forecast.forecast import FieldForecast
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import CropEvent
from stagecast.knowledge.quantities import Quantity
from stagecast.pests.windows import ScoutingWindow
from stagecast.phenology.soybean import STAGES
from stagecast.visits.season_day import FieldDay

DayArray = NDArray[np.int16]

NOON = 0.5
ROUNDING = 1e-9


class DayTable:
    """Windows and stages of a field at noon of every day, in every possible season.

    Days are those asked for, and before them as many as count without a look.
    """

    def __init__(self, plan: FieldDay, first_day: dt.date, days: int, knowledge: Knowledge) -> None:
        forecast, waiting = plan.forecast, knowledge.waiting
        self.back = int(waiting.arrival.most_days)
        self.days = days
        self.first = forecast.span.index(first_day)
        self._span = forecast.span
        self._noons = np.arange(self.first - self.back, self.first + days, dtype=np.float64) + NOON
        self._weights: FloatArray = forecast.weights / forecast.weights.sum()
        stages = self._stages(forecast)
        self._response = {
            leaf: self._weights * _shares(curve)[stages]
            for leaf, curve in ((False, waiting.response), (True, waiting.leaf.response))
        }
        whole = [window for window in plan.windows if len(window.weights) == len(self._weights)]
        self._rows = {window: row for row, window in enumerate(whole)}
        self._begins = self._days_before([window.open_times for window in whole])
        closes = self._days_before([window.close_times for window in whole])
        self._ends = np.maximum(self._begins, closes)

    def date(self, index: int) -> dt.date:
        """A day asked for, by its place among them."""
        return self._span.first_day + dt.timedelta(days=self.first + index)

    def that_matter(self, windows: Sequence[ScoutingWindow]) -> list[ScoutingWindow]:
        """Those that may be open on one of the days asked for."""
        last, day = len(self._noons) - 1, self.back
        whole = (self._begins.min(axis=1) <= last) & (self._ends.max(axis=1) > day)
        return [
            window
            for window in windows
            if (
                whole[self._rows[window]]
                if window in self._rows
                else window.open_times.min() <= self._noons[last]
                and window.close_times.max() > self._noons[day]
            )
        ]

    def open(
        self, groups: Sequence[Sequence[ScoutingWindow]], *, leaf: Sequence[bool]
    ) -> tuple[FloatArray, FloatArray]:
        """Whether any of the windows of a group is open.

        Parameters
        ----------
        leaf: whether what a group's windows are for takes leaf.

        Returns
        -------
        share : ndarray, shape (groups, back + days)
            Of possible seasons in which one is.
        response : ndarray, shape (groups, days)
            Expected yield response where one is.

        Notes
        -----
        A window that misses some seasons does not say which; it is taken to be open in its share
        of them, whatever their stage.
        """
        share = np.zeros((len(groups), len(self._noons)))
        response = np.zeros((len(groups), self.days))
        begins, ends, owner = self._stretches(groups)
        np.add.at(share, owner, self._shares_open(begins, ends))
        curve = np.array(leaf)[owner]
        for takes_leaf, by_member in self._response.items():
            ours = curve == takes_leaf
            found = self._responses_open(begins[ours], ends[ours], by_member)
            np.add.at(response, owner[ours], found)
        for place, group in enumerate(groups):
            for window in group:
                if window not in self._rows:
                    every = self._response[leaf[place]].sum(axis=1)
                    shut = 1 - self._share_of(window)
                    share[place] = 1 - (1 - share[place]) * shut
                    response[place] = every - (every - response[place]) * shut[self.back :]
        # Sums of weights round: what is never open must be 0, not next to it.
        share = np.where(share > ROUNDING, share, 0.0)
        about = (share[:, self.back :] > 0) & (response > ROUNDING)
        return share, np.where(about, response, 0.0)

    def _stretches(
        self, groups: Sequence[Sequence[ScoutingWindow]]
    ) -> tuple[DayArray, DayArray, NDArray[np.intp]]:
        """First days of windows and days after their last, shape (windows, members); their group.

        Windows of a group are cut so that none is open when another is.
        """
        rows = [[self._rows[w] for w in group if w in self._rows] for group in groups]
        owner = np.repeat(np.arange(len(groups)), [len(ours) for ours in rows])
        flat = [row for ours in rows for row in ours]
        begins, ends = self._begins[flat], self._ends[flat]
        for place, ours in enumerate(rows):
            if len(ours) > 1:
                mine = owner == place
                begins[mine], ends[mine] = _apart(begins[mine], ends[mine])
        return begins, ends, owner

    def _shares_open(self, begins: DayArray, ends: DayArray) -> FloatArray:
        """Share of seasons in which windows are open, shape (windows, back + days)."""
        width = len(self._noons) + 1
        row_starts = width * np.arange(len(begins))[:, None]
        weights = np.broadcast_to(self._weights, begins.shape).ravel()
        opened, closed = (
            np.bincount((days + row_starts).ravel(), weights, minlength=begins.shape[0] * width)
            for days in (begins, ends)
        )
        return np.cumsum((opened - closed).reshape(-1, width), axis=1)[:, :-1]

    def _responses_open(
        self, begins: DayArray, ends: DayArray, by_member: FloatArray
    ) -> FloatArray:
        """Expected response where windows are open, shape (windows, days)."""
        days = np.arange(self.back, len(self._noons), dtype=begins.dtype)[:, None, None]
        now_open = ((begins <= days) & (ends > days)).astype(np.float64)
        return np.asarray(np.einsum("dwm,dm->wd", now_open, by_member))

    def _share_of(self, window: ScoutingWindow) -> FloatArray:
        """Share of seasons in which one window is open, shape (back + days,)."""
        opens, closes = window.open_times[:, None], window.close_times[:, None]
        return np.asarray(window.weights @ ((opens <= self._noons) & (closes > self._noons)))

    def _days_before(self, times: Sequence[FloatArray]) -> DayArray:
        """How many of the days have their noon before each time."""
        after = np.array(times).reshape(-1, len(self._weights)) - self._noons[0]
        return np.asarray(np.ceil(after).clip(0, len(self._noons)), dtype=np.int16)

    def _stages(self, forecast: FieldForecast) -> NDArray[np.intp]:
        """Stages reached at noon of the days asked for, 0 before the first; shape (days, members).

        Stages need not be in order: the last in their list that was reached counts.
        """
        members, count = forecast.times.shape
        reached = np.ceil(forecast.times - self._noons[self.back]).clip(0, self.days)
        places = reached.astype(np.intp) + (self.days + 1) * np.arange(members)[:, None]
        at = np.zeros((members, self.days + 1), dtype=np.intp)
        at.ravel()[places] = np.arange(1, count + 1)  # of several in one place the last one stays
        stages = np.maximum.accumulate(at, axis=1)[:, : self.days].T
        return np.where(self._noons[self.back :, None] < forecast.span.days, stages, 0)

    def open_days(self, share: FloatArray, looked: Sequence[dt.date | None]) -> FloatArray:
        """Expected open days after the last look, up to each day asked for.

        Parameters
        ----------
        share : ndarray, shape (groups, back + days)
        looked : sequence of datetime.date or None
            The last look for each group.

        Returns
        -------
        ndarray, shape (groups, days)
        """
        groups, days = share.shape
        summed = np.zeros((groups, days + 1))
        np.cumsum(share, axis=1, out=summed[:, 1:])
        ends = self.back + 1 + np.arange(self.days)
        after = [0 if day is None else self._after(day) for day in looked]
        begins = np.maximum(ends - self.back, np.minimum(after, days)[:, None])
        begun = np.take_along_axis(summed, np.minimum(begins, ends), axis=1)
        return np.asarray(summed[:, ends] - begun)

    def _after(self, looked: dt.date) -> int:
        """The place among all days of the one after a look."""
        return self._span.index(looked) + 1 - (self.first - self.back)


def _apart(begins: DayArray, ends: DayArray) -> tuple[DayArray, DayArray]:
    """Stretches of days, shape (windows, members), cut so that no day is in two of a member."""
    order = begins.argsort(axis=0)
    begins, ends = (np.take_along_axis(days, order, axis=0) for days in (begins, ends))
    begins[1:] = np.maximum(begins[1:], np.maximum.accumulate(ends, axis=0)[:-1])
    return begins, np.maximum(begins, ends)


def _shares(curve: Mapping[CropEvent, Quantity]) -> FloatArray:
    """Yield response before the first stage and at each one; shape (1 + stages,)."""
    shares = {str(stage): float(share) for stage, share in curve.items()}
    return np.array([0.0, *(shares[stage] for stage in STAGES)])
