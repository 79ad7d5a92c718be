"""Thresholds in words: a number in its unit, whose it is, and at which stages it holds."""

from __future__ import annotations

import calendar
from collections.abc import Iterable, Sequence
from decimal import Decimal

from stagecast.knowledge.crop import CropEvent, stage_place
from stagecast.knowledge.references import YOURS
from stagecast.knowledge.threshold import MonthDay, Threshold
from stagecast.knowledge.units import JUDGED, SampleUnit, per_unit
from stagecast.pests.thresholds import ShownThreshold, in_sweeps

MOST_TOLD = 3
WHOLE_FROM = 10
"""From this number on, half an insect is more than anybody knows."""


def unit_text(unit: SampleUnit, size: float) -> str:
    """``per 25 sweeps``, ``per row-foot``; nothing for what is judged and not counted."""
    if unit in JUDGED:
        return unit if unit == "percent" else ""
    return f"per {per_unit(unit, size)}"


def measure_text(threshold: Threshold) -> str:
    """``bugs per 25 sweeps``, ``larvae per row-foot``, ``percent leaf loss``."""
    if threshold.unit in JUDGED:
        return threshold.what
    return f"{threshold.what} {unit_text(threshold.unit, threshold.per)}"


def threshold_text(shown: ShownThreshold, *, stages: bool = True, about: bool = False) -> str:
    """``9 bugs per 25 sweeps (Tennessee, R1-R6)``; a conversion and a guess are named.

    With ``about`` a converted number is whole from ten on: it is no better known than that.
    """
    t, where = shown.threshold, _where(shown, stages)
    amount = amount_text(shown, about=about)
    if not _converted(shown):
        return f"{amount} ({where})"
    published = f"{_range(t.value, t.high)} per {'sweep' if t.per == 1 else f'{t.per:g}'}"
    return f"{amount} (converted from {published}; {where})"


def amount_text(shown: ShownThreshold, *, about: bool = False) -> str:
    """The number alone, in sets as one takes them: ``9 bugs per 25 sweeps``."""
    t, usual_set = shown.threshold, shown.usual_set
    if not _converted(shown):
        return _amount(t)
    value = in_sweeps(t, per=usual_set)
    assert value is not None, "only sweeps are converted"
    high = None if t.high is None else _rounded(t.high * usual_set / t.per)
    usual = t.model_copy(update={"value": _rounded(value), "high": high, "per": usual_set})
    return _amount(usual, about=about)


def _converted(shown: ShownThreshold) -> bool:
    """Whether it was published for other sets than one takes."""
    t, usual_set = shown.threshold, shown.usual_set
    return t.per != usual_set and in_sweeps(t, per=usual_set) is not None


def standing_text(shown: Sequence[ShownThreshold]) -> str:
    """The thresholds to go by in a line, ``, or`` between them; nothing where there is none."""
    told = [threshold_text(s) for s in shown[:MOST_TOLD]]
    more = [f"{len(shown) - MOST_TOLD} more"] if len(shown) > MOST_TOLD else []
    return ", or ".join(told + more)


def condition_text(threshold: Threshold) -> str:
    """For which fields it holds: ``planted before 1 June``, ``seed or food beans``."""
    t, told = threshold, []
    if t.planted_from is not None:
        told.append(f"planted from {_month_day(t.planted_from)} on")
    if t.planted_before is not None:
        told.append(f"planted before {_month_day(t.planted_before)}")
    if t.use:
        told.append(f"{' or '.join(t.use)} beans")
    if t.row_width_least_in is not None:
        told.append(f"rows of {t.row_width_least_in:g} inches or more")
    if t.row_width_most_in is not None:
        told.append(f"rows of {t.row_width_most_in:g} inches or less")
    return ", ".join(filter(None, (*told, t.condition, price_text(t))))


def price_text(threshold: Threshold) -> str:
    """Whether a figure is the one of the season's prices; nothing where prices move none."""
    table, prices = threshold.by_price, threshold.prices
    if table is None:
        return ""
    if prices is None:
        return "its figure for all prices: bean_price and control_cost in season.toml give yours"
    yours = f"${prices.bean:g}/bu and ${prices.control:g}/ac"
    if table.covers(prices):
        return f"at your {yours}"
    bean = f"${table.price_low:g}-{table.price_high:g}"
    control = f"${table.cost_low:g}-{table.cost_high:g}"
    reach = f"{bean}/bu and {control}/ac"
    return f"its figure for all prices: your {yours} lie outside its table of {reach}"


def noted(threshold: Threshold) -> str:
    """What it holds for, and what else its source says."""
    return "; ".join(filter(None, (condition_text(threshold), threshold.note)))


def noted_after(threshold: Threshold) -> str:
    """The same, to follow where a threshold is from."""
    note = noted(threshold)
    return f"; {note}" if note else ""


def span_text(first: str, last: str) -> str:
    """Stages a threshold holds for: ``R1-R6``, ``V1``, ``V1-V4+`` where V4 is for later nodes."""
    end = f"{last}+" if last == "V4" else last
    return end if first == last else f"{first}-{end}"


def spans_text(shown: Iterable[ShownThreshold]) -> str:
    """``V1-V4+, R1-R5``: all spans of several thresholds, each once."""
    spans = (span_text(one.threshold.first, one.threshold.last) for one in shown)
    return ", ".join(dict.fromkeys(spans))


def stages_text(stages: Iterable[CropEvent]) -> str:
    """``R1-R5``, or ``VC, V2``: stages in runs."""
    runs: list[list[CropEvent]] = []
    for stage in stages:
        if runs and stage_place(stage) == stage_place(runs[-1][-1]) + 1:
            runs[-1].append(stage)
        else:
            runs.append([stage])
    return ", ".join(span_text(run[0], run[-1]) for run in runs)


def _where(shown: ShownThreshold, stages: bool) -> str:
    t = shown.threshold
    whose = {
        "yours": YOURS,
        "here": shown.region,
        "neighbor": f"neighbor {shown.region}{f' in the {shown.group}' if shown.group else ''}",
        "group": f"{shown.region} in the {shown.group}",
        "wider area": f"{shown.region}, no single state",
        "elsewhere": f"elsewhere, {shown.region}{f' in the {shown.group}' if shown.group else ''}",
    }[shown.kind]
    at = f", {span_text(t.first, t.last)}" if stages else ""
    return f"{whose}{at}{', unverified' if t.unverified else ''}"


def _month_day(day: MonthDay) -> str:
    return f"{day.day} {calendar.month_name[day.month]}"


def _amount(threshold: Threshold, *, about: bool = False) -> str:
    """``9 bugs per 25 sweeps``, ``1 bug per row-foot``."""
    amount, measure = _range(threshold.value, threshold.high), measure_text(threshold)
    if amount == "1" and "larvae" in measure:
        measure = measure.replace("larvae", "larva", 1)
    elif amount == "1" and threshold.what.isalpha():
        measure = measure.replace(threshold.what, threshold.what.removesuffix("s"), 1)
    if about:
        high = None if threshold.high is None else _whole(threshold.high)
        amount = f"about {_range(_whole(threshold.value), high)}"
    return f"{amount} {measure}"


def _range(value: float, high: float | None) -> str:
    return _said(value) if high is None else f"{_said(value)}-{_said(high)}"


def _said(value: float) -> str:
    """The number as it was given, without an exponent: ``9``, ``0.33``, ``10000000``."""
    told = f"{value:g}"
    return f"{Decimal(told):f}" if "e" in told else told


def _whole(value: float) -> float:
    return value if value < WHOLE_FROM else float(f"{value:.0f}")


def _rounded(value: float) -> float:
    """A converted count: one decimal, or two digits below one; more would be pretence."""
    return round(value, 1) if value >= 1 else float(f"{value:.2g}")
