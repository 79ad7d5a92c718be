"""Economic injury levels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.counts.assessment import PestAssessment
from stagecast.counts.judge import chance_of
from stagecast.knowledge import Knowledge
from stagecast.season.settings.pest_names import find_pest

FULL_PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class Prices:
    """What a user says of money and loss, per acre and bushel in dollars and bushels.

    ``cost`` is of the treatment with its application; ``loss`` in bushels per acre for each pest
    per sample unit, or ``loss_percent`` of ``crop_yield``, which is the one expected without the
    pest; ``control_percent`` of the injury is prevented. ``pest`` is a name, None where the visit
    counted one alone; ``per`` the size of the sample unit of the loss, None for the usual set of
    sweeps and for one of any other unit.
    """

    price: float
    cost: float
    loss: float | None = None
    loss_percent: float | None = None
    crop_yield: float | None = None
    control_percent: float = FULL_PERCENT
    pest: str | None = None
    per: float | None = None


@dataclass(frozen=True, slots=True)
class InjuryLevel:
    """An economic injury level, and what a visit says of it.

    ``gain`` is what a treatment has to save and ``loss`` what each pest per sample unit costs, in
    bushels per acre; ``level`` and the visit's ``mean`` are pests per sample unit, of which there
    are ``per`` in the unit of the count; ``p_above`` is how sure the sets make one that it is
    above.
    """

    counted: PestAssessment
    per: float
    gain: float
    loss: float
    level: float
    mean: float
    p_above: float | None


def injury_level_of(
    prices: Prices, pests: Sequence[PestAssessment], *, knowledge: Knowledge
) -> InjuryLevel:
    """Work out the level and hold the counts of one visit against it.

    ``level = cost / (price * loss * control)``. It is where the loss equals the cost, not a
    threshold: that lies below it by what the pest grows until a treatment acts.

    Raises
    ------
    SeasonProblems
        With everything that is missing or out of bounds, by its option.
    """
    problems = [*_out_of_bounds(prices), *_loss_problems(prices)]
    found, of_pest = _counted(prices, pests, knowledge)
    if problems or found is None:
        raise SeasonProblems([*problems, *of_pest])
    per = prices.per
    if per is None:
        per = float(int(knowledge.sweeps.usual_set)) if found.unit == "sweeps" else 1.0
    try:
        return _level(prices, found, per, knowledge)
    except (ArithmeticError, ValueError):
        message = "these numbers are too large or too small together to work out a level"
        step = "check --price, --cost, --yield, the loss, --control-percent and --per"
        raise SeasonProblems([Problem("--price", message, next_step=step)]) from None


def _level(prices: Prices, found: PestAssessment, per: float, knowledge: Knowledge) -> InjuryLevel:
    """The level of prices within their bounds; ValueError or ArithmeticError beyond all sense."""
    gain = gain_threshold(prices.cost, prices.price, control=prices.control_percent / FULL_PERCENT)
    loss = prices.loss
    if loss is None:
        share = (prices.loss_percent or 0.0) / FULL_PERCENT
        loss = loss_per_pest(share, prices.crop_yield or 0.0)
    level = injury_level(gain, loss)
    if not math.isfinite(level) or (level == 0 and prices.cost > 0):
        raise OverflowError("not a level")
    chance = None
    if found.sampled is not None and level > 0:
        rule = knowledge.decisions.counting
        chance = chance_of(found.sampled, size=per, threshold=level, rule=rule)
    return InjuryLevel(found, per, gain, loss, level, found.mean_per(per), chance)


def _out_of_bounds(prices: Prices) -> list[Problem]:
    """Every number of money, loss or size that cannot be."""
    positive = {
        "--price": prices.price,
        "--yield": prices.crop_yield,
        "--loss-per-pest": prices.loss,
        "--loss-percent": prices.loss_percent,
        "--control-percent": prices.control_percent,
        "--per": prices.per,
    }
    found = [
        Problem(option, "not above 0", found=f"{value:g}", accepted="a number above 0")
        for option, value in positive.items()
        if value is not None and not 0 < value < math.inf
    ]
    if not 0 <= prices.cost < math.inf:
        found.append(Problem("--cost", "below 0", found=f"{prices.cost:g}", accepted="0 or more"))
    percents = {
        "--loss-percent": prices.loss_percent, "--control-percent": prices.control_percent,
    }  # fmt: skip
    found += [
        Problem(option, "more than all of it", found=f"{value:g}", accepted="up to 100")
        for option, value in percents.items()
        if value is not None and value > FULL_PERCENT
    ]
    return found


def _loss_problems(prices: Prices) -> list[Problem]:
    """Loss is given once, in bushels or in percent of a yield."""
    both = prices.loss is not None and prices.loss_percent is not None
    if both or (prices.loss is None and prices.loss_percent is None):
        message = "the loss is given twice" if both else "an injury level needs a loss per pest"
        step = "give --loss-per-pest in bushels per acre, or --loss-percent of a yield with --yield"
        return [Problem("--loss-per-pest", message, next_step=step)]
    if prices.loss_percent is not None and prices.crop_yield is None:
        step = "give --yield in bushels per acre"
        return [Problem("--loss-percent", "a percentage of what yield is missing", next_step=step)]
    return []


def _counted(
    prices: Prices, pests: Sequence[PestAssessment], knowledge: Knowledge
) -> tuple[PestAssessment | None, list[Problem]]:
    """The pest meant, or why none is."""
    ids = list(dict.fromkeys(one.pest for one in pests))
    shown = ", ".join(ids) or None
    if prices.pest is None:
        if len(ids) == 1:
            return pests[0], []
        message = "say which pest the loss is for" if ids else "the visit counted no pest"
        return None, [Problem("--pest", message, accepted=shown)]
    wanted = find_pest(prices.pest, knowledge.pests).id
    found = next((one for one in pests if one.pest == wanted), None)
    if found is None:
        return None, [
            Problem("--pest", "the visit did not count it", found=prices.pest, accepted=shown)
        ]
    return found, []


def gain_threshold(
    cost: float, price: float, *, control: float = 1.0, highest_price: float = math.inf
) -> float:
    """Yield per area that a treatment has to save to pay for itself: ``C / (V K)``.

    ``cost`` (C) is money per area, ``price`` (V) money per unit of yield, ``control`` (K) the share
    of the injury that is prevented. ValueError outside their bounds.
    """
    _check(0.0 <= cost < math.inf, "a cost is not negative")
    _check(0.0 < price < math.inf and highest_price > 0.0, "a price is positive")
    _check(0.0 < control <= 1.0, "a treatment prevents a share of the injury, up to all of it")
    return cost / (min(price, highest_price) * control)


def loss_per_pest(lost_share: float, crop_yield: float, *, density: float = 1.0) -> float:
    """Yield per area that one pest per sample unit costs: ``share * yield / density``.

    ``lost_share``, 0 to 1, is lost at ``density`` pests per sample unit, in proportion. ValueError
    outside the bounds.
    """
    _check(0.0 <= lost_share <= 1.0, "a share of the yield lies between 0 and 1")
    _check(0.0 < crop_yield < math.inf and 0.0 < density < math.inf, "yield, density: positive")
    return lost_share * crop_yield / density


def injury_level(gain: float, loss: float) -> float:
    """Economic injury level in pests per sample unit: ``C / (V b K)``.

    The density whose loss equals the ``gain`` of `gain_threshold`; ``loss`` (b) is yield per area
    for each pest per sample unit. ValueError outside the bounds.
    """
    _check(0.0 <= gain < math.inf, "a gain threshold is not negative")
    _check(0.0 < loss < math.inf, "without loss there is no injury level")
    return gain / loss


def _check(fine: bool, otherwise: str) -> None:
    if not fine:
        raise ValueError(otherwise)
