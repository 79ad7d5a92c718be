"""A published treatment threshold: what is counted, per how much, when, and for which fields."""

from __future__ import annotations

import calendar
from decimal import ROUND_HALF_UP, Decimal
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import AfterValidator, BeforeValidator, Field, PrivateAttr, model_validator

from stagecast.knowledge.crop import CropEvent, stage_place
from stagecast.knowledge.quantities import Number, Provenance, Strict
from stagecast.knowledge.texts import Name
from stagecast.knowledge.units import SampleUnit

COMMON_YEAR = 2025
"""A year without a 29 February."""


def check_day(month: int, day: int) -> None:
    """Refuse a day that does not come in every year.

    Raises
    ------
    ValueError
    """
    if day > calendar.monthrange(COMMON_YEAR, month)[1]:
        raise ValueError(f"day {day} of month {month} does not come in every year")


LEAST_SET = 1e-3
"""A smaller sample means nothing in any unit here, and a count divided by it may be inf."""


def _can_divide(number: float) -> float:
    if number < LEAST_SET:
        raise ValueError("too small a number")
    return number


SetOf = Annotated[Number, AfterValidator(_can_divide)]
"""Of how many sweeps, plants or feet a sample is."""


def _some(number: object) -> object:
    if isinstance(number, int | float) and number == 0:
        raise ValueError(
            "a threshold of 0 cannot be told from a field without any: give the smallest mean at "
            "which you would consider treating"
        )
    return number


Level = Annotated[Number, BeforeValidator(_some), Field(gt=0)]
"""The mean, or the percentage, at which one considers treating."""


class CountsAs(Strict):
    """For how many of what a threshold counts one of a pest stands."""

    pest: str
    counts_as: Number = Field(gt=0)


Use = Literal["grain", "seed", "food"]
"""What beans are grown for."""


class MonthDay(Strict):
    """A day of every year."""

    month: int = Field(ge=1, le=12)
    day: int = Field(ge=1, le=31)

    @model_validator(mode="after")
    def _exists(self) -> Self:
        check_day(self.month, self.day)
        return self


class SeasonPrices(NamedTuple):
    """What a season reckons with: beans in $/bu, control in $/acre."""

    bean: float
    control: float


class ByPrice(Strict):
    """A threshold as a table of bean price and cost of control gives it, inside that table.

    The value is ``factor`` x cost / price, rounded to so many ``digits``; prices are $/bu, costs
    $/acre.
    """

    factor: Number = Field(gt=0)
    price_low: Number = Field(gt=0)
    price_high: Number
    cost_low: Number = Field(gt=0)
    cost_high: Number
    digits: int = Field(ge=0, le=3)

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.price_low > self.price_high or self.cost_low > self.cost_high:
            raise ValueError("the low end of a table must not lie above the high one")
        return self

    def covers(self, prices: SeasonPrices) -> bool:
        """Whether prices lie inside the table."""
        fits = self.price_low <= prices.bean <= self.price_high
        return fits and self.cost_low <= prices.control <= self.cost_high

    def at(self, prices: SeasonPrices) -> float:
        """The value at prices inside the table; halves are rounded up, as people round."""
        factor, bean, control = map(str, (self.factor, prices.bean, prices.control))
        exact = Decimal(factor) * Decimal(control) / Decimal(bean)
        return float(exact.quantize(Decimal(1).scaleb(-self.digits), ROUND_HALF_UP))


class Threshold(Provenance):
    """A published treatment threshold of one region, in the unit of its source.

    ``region`` is a code of ``regions.toml``, or of ``areas.toml`` where the source names no one
    region. ``what`` is counted ``per`` so many of ``unit`` (``of`` in files): 9 bugs per 25
    sweeps. ``share_of`` is what a percentage is of. A last stage of V4 stands for V4 and the
    nodes after it.

    Where a figure holds for some fields only, ``planted_from`` and ``planted_before`` (the day
    itself not included), ``use`` and the row widths say for which. ``condition`` is anything else
    that the figure holds for, in words.

    What counts is told by ``life_stage`` (larvae and nymphs leave adults out, and adults them),
    ``large_only``, ``weights`` for pests that count more than once, and ``named_species_only``:
    only species that the complex names in ``scientific``.

    Where the source gives it ``by_price``, ``value`` stands for what the table does not cover.
    """

    region: str
    first: CropEvent
    last: CropEvent
    value: Level
    high: Number | None = None
    what: Name
    per: SetOf = Field(default=1, gt=0)
    unit: SampleUnit = Field(alias="of")
    life_stage: Literal["all", "larvae", "nymphs", "adults"] = "all"
    large_only: bool = False
    weights: tuple[CountsAs, ...] = ()
    named_species_only: bool = False
    share_of: Literal["leaf area", "leaves", "plants", "pods"] = "leaf area"
    planted_from: MonthDay | None = None
    planted_before: MonthDay | None = None
    use: tuple[Use, ...] = ()
    row_width_least_in: Number | None = Field(default=None, gt=0)
    row_width_most_in: Number | None = Field(default=None, gt=0)
    condition: str = ""
    by_price: ByPrice | None = None

    _prices: SeasonPrices | None = PrivateAttr(default=None)

    @property
    def prices(self) -> SeasonPrices | None:
        """The season's prices, where the source has a table for them; None: it has none."""
        return self._prices

    def priced(self, prices: SeasonPrices) -> Self:
        """The same at the season's prices; itself where the source has no table of them."""
        if self.by_price is None:
            return self
        covered = self.by_price.covers(prices)
        value = {"value": self.by_price.at(prices)} if covered else None
        told = self.model_copy(update=value)
        told._prices = prices
        return told

    @property
    def leaf_loss(self) -> bool:
        """Whether it is for the leaf loss of the whole canopy, which no set is taken of."""
        return self.unit == "percent" and self.share_of == "leaf area"

    @property
    def for_some_fields(self) -> bool:
        """Whether it holds for fields of some planting date, use or row width only."""
        rows = self.row_width_least_in is not None or self.row_width_most_in is not None
        return rows or bool(self.use or self.planted_from or self.planted_before)

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if stage_place(self.first) > stage_place(self.last):
            raise ValueError("the first stage of a threshold must not come after its last")
        least, most = self.row_width_least_in, self.row_width_most_in
        if least is not None and most is not None and least > most:
            raise ValueError("the least row width must not be larger than the most")
        if self.high is not None and self.high <= self.value:
            raise ValueError("the high end of a threshold must lie above its value")
        return self
