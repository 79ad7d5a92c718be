"""Models of ``pests/*.toml``: one pest a file, also those of a consultant's own folder."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from stagecast.knowledge.pest_heat import (
    Development,
    Duration,
    Event,
    Generation,
    HeatModel,
    check_day,
)
from stagecast.knowledge.quantities import Number, Provenance, Quantity, Strict
from stagecast.knowledge.stages import CropEvent, stage_place
from stagecast.knowledge.texts import Name, Words

SampleUnit = Literal[
    "sweeps", "row-feet", "row-metres", "plants", "leaflets", "percent", "rating", "minutes",
]  # fmt: skip

LEAST_SET = 1e-3
"""A smaller sample means nothing in any unit here, and a count divided by it may be inf."""


def _can_divide(number: float) -> float:
    if number < LEAST_SET:
        raise ValueError("too small a number")
    return number


SetOf = Annotated[Number, AfterValidator(_can_divide)]
"""Of how many sweeps, plants or feet a sample is."""


class HostStages(Provenance):
    """From which crop stage to which the pest can hurt."""

    first: CropEvent
    last: CropEvent

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if stage_place(self.first) > stage_place(self.last):
            raise ValueError("first host stage must not come after the last")
        return self


class Presence(Provenance):
    """Where the pest spends the winter, and where it is met at all.

    ``regions`` are those in which a scout has to reckon with it; none given means all.
    """

    kind: Literal["overwinters", "arrives"]
    text: str
    regions: tuple[str, ...] = ()


class Arrival(Provenance):
    """The days of the year between which a source saw the pest come to a region; it then stays."""

    region: str
    first_month: int = Field(ge=1, le=12)
    first_day: int = Field(ge=1, le=31)
    last_month: int = Field(ge=1, le=12)
    last_day: int = Field(ge=1, le=31)

    @model_validator(mode="after")
    def _days_exist(self) -> Self:
        check_day(self.first_month, self.first_day)
        check_day(self.last_month, self.last_day)
        return self


class Likeness(Strict):
    """Something it is taken for, and how the two differ."""

    name: Words
    differs: Words


class Activity(Strict):
    """A span in which the pest, or one stage of it, is about.

    ``opens`` and ``closes`` name events of the heat model, or None for the host window's own
    ends. ``before`` and ``after`` stretch the span to shares of the events' needs: 0.9 and 1.1
    make a window of plus or minus ten per cent round a peak. ``lasts`` closes the span that many
    days after it opened, where a source gives days and not heat. ``rank`` orders what to look
    for in one field, 1 first (our own judgement, from the damage described).
    """

    id: Name = Field(pattern=r"^[a-z][a-z0-9-]*$")
    title: Name
    opens: str | None = None
    closes: str | None = None
    before: Quantity | None = None
    after: Quantity | None = None
    lasts: Quantity | None = None
    host: HostStages
    rank: int = Field(ge=1, le=9)
    look_for: Words
    sample: str = Field(description="An id in sampling.toml")

    @field_validator("before", "after", "lasts")
    @classmethod
    def _is_some(cls, quantity: Quantity | None) -> Quantity | None:
        if quantity is not None and quantity.value <= 0:
            raise ValueError("this must be above 0")
        return quantity

    @model_validator(mode="after")
    def _opens_first(self) -> Self:
        shares = [float(share) for share in (self.before, self.after) if share is not None]
        if shares != sorted(shares):
            raise ValueError("the share before must not be larger than the share after")
        return self


class Threshold(Provenance):
    """A published treatment threshold of one region, in the unit of its source.

    ``region`` is a code of ``regions.toml``, or of ``areas.toml`` where the source names no one
    region. ``what`` is counted ``per`` so many ``of``: 9 bugs per 25 sweeps. A last stage of V4
    stands for V4 and the nodes after it. ``stressed`` and other conditions stand in the note.
    """

    region: str
    first: CropEvent
    last: CropEvent
    value: Number = Field(ge=0)
    high: Number | None = None
    what: Name
    per: SetOf = Field(default=1, gt=0)
    of: SampleUnit

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if stage_place(self.first) > stage_place(self.last):
            raise ValueError("the first stage of a threshold must not come after its last")
        if self.high is not None and self.high <= self.value:
            raise ValueError("the high end of a threshold must lie above its value")
        return self

    @property
    def unit(self) -> str:
        """``bugs per 25 sweeps``, ``larvae per row-foot``, ``percent leaf loss``."""
        if self.of in ("percent", "rating"):
            return self.what
        one = {"sweeps": "sweep", "row-feet": "row-foot", "row-metres": "row-metre",
               "plants": "plant", "leaflets": "leaflet", "minutes": "minute"}  # fmt: skip
        return f"{self.what} per {one[self.of] if self.per == 1 else f'{self.per:g} {self.of}'}"


class Pest(Strict):
    """All of one pest file.

    A species that is counted together with others names the file of the complex in
    ``counted_with``; its windows and thresholds are then those of the complex, unless it has its
    own. ``weight`` says for how many of the complex one of it counts. ``aggregation`` is the k of
    the negative binomial per set of sweeps, ``growth`` the rate per day of a density between
    visits; None where none was published.
    """

    id: Name = Field(pattern=r"^[a-z][a-z0-9-]*$")
    name: Name
    short: Name
    also: tuple[Name, ...] = ()
    scientific: tuple[Name, ...]
    counted_with: str | None = None
    weight: Quantity | None = None
    aggregation: Quantity | None = None
    growth: Quantity | None = None
    presence: Presence
    arrivals: tuple[Arrival, ...] = ()
    damage: Words
    host: HostStages
    marks: tuple[Words, ...] = Field(min_length=1)
    look_alikes: tuple[Likeness, ...] = ()
    enemies: tuple[str, ...] = ()
    heat: HeatModel | None = None
    not_timed: str = ""
    events: tuple[Event, ...] = ()
    generation: Generation | None = None
    development: tuple[Development, ...] = ()
    durations: tuple[Duration, ...] = ()
    activities: tuple[Activity, ...] = ()
    thresholds: tuple[Threshold, ...] = ()
    caution: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.heat is None) != bool(self.not_timed):
            raise ValueError("say either how heat is counted or why the pest is not timed by heat")
        if not self.activities and self.counted_with is None:
            raise ValueError("a pest needs an activity, or a complex it is counted with")
        if self.events and self.heat is None:
            raise ValueError("events need a heat model that they belong to")
        for ids in ([a.id for a in self.activities], [event.id for event in self.events]):
            for twice in {i for i in ids if ids.count(i) > 1}:
                raise ValueError(f"the id {twice} stands twice")
        known = {event.id for event in self.events}
        for activity in self.activities:
            for end in (activity.opens, activity.closes):
                if end is not None and end not in known:
                    raise ValueError(f"activity {activity.id} names an unknown event {end}")
        return self

    def event(self, event_id: str) -> Event:
        """Return the event with this id."""
        return next(event for event in self.events if event.id == event_id)
