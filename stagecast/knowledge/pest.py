"""Models of ``pests/*.toml``: one pest a file."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from stagecast.knowledge.quantities import Number, Provenance, Quantity, Strict

STAGE_ORDER = (
    "planting", "VE", "VC", "V1", "V2", "V3", "V4",
    "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8",
)  # fmt: skip
"""The crop events a window may be tied to, in the order in which they come."""

CropEvent = Literal[
    "planting", "VE", "VC", "V1", "V2", "V3", "V4",
    "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8",
]  # fmt: skip


class HostStages(Provenance):
    """From which crop stage to which the pest can hurt."""

    first: CropEvent
    last: CropEvent

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if STAGE_ORDER.index(self.first) > STAGE_ORDER.index(self.last):
            raise ValueError("first host stage must not come after the last")
        return self


class Biofix(Provenance):
    """The day from which heat is counted."""

    kind: Literal["calendar day", "crop stage"]
    month: int | None = Field(default=None, ge=1, le=12)
    day: int | None = Field(default=None, ge=1, le=31)
    stage: CropEvent | None = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.kind == "calendar day" and (self.month is None or self.day is None):
            raise ValueError("a calendar-day biofix needs month and day")
        if self.kind == "crop stage" and self.stage is None:
            raise ValueError("a crop-stage biofix needs a stage")
        return self


class HeatModel(Provenance):
    """How heat is summed: always the source's own thresholds, method and cutoff."""

    lower_c: Number
    upper_c: Number | None = None
    method: Literal[
        "simple average", "clamped average", "single triangle", "double triangle",
        "single sine", "double sine",
    ]  # fmt: skip
    cutoff: Literal["none", "horizontal", "intermediate", "vertical"]
    method_tag: Literal["READ", "CITED", "MEMORY", "OWN"]
    method_note: str = ""
    biofix: Biofix

    @model_validator(mode="after")
    def _cutoff_needs_upper(self) -> Self:
        if (self.cutoff == "none") != (self.upper_c is None):
            raise ValueError("an upper threshold and a cutoff belong together")
        if self.upper_c is not None and self.upper_c <= self.lower_c:
            raise ValueError("the upper threshold must lie above the lower")
        return self


class Event(Provenance):
    """Something a heat sum is reached for."""

    id: str
    title: str
    need_c: Number = Field(gt=0)


class Activity(Strict):
    """A span in which the pest, or one stage of it, is about.

    ``opens`` and ``closes`` name events of the heat model, or None for the host window's own
    ends. ``before`` and ``after`` stretch the span to shares of the events' needs: 0.9 and 1.1
    make a window of plus or minus ten per cent round a peak. ``lasts`` closes the span that many
    days after it opened, where a source gives days and not heat. ``rank`` orders what to look
    for in one field, 1 first (our own judgement, from the damage described).
    """

    id: str
    title: str
    opens: str | None = None
    closes: str | None = None
    before: Quantity | None = None
    after: Quantity | None = None
    lasts: Quantity | None = None
    host: HostStages
    rank: int = Field(ge=1, le=9)
    look_for: str
    sample: str = Field(description="An id in sampling.toml")


class Threshold(Provenance):
    """A published treatment threshold of one region."""

    region: str
    first: CropEvent
    last: CropEvent
    value: Number
    high: Number | None = None
    unit: str


class Pest(Strict):
    """All of one pest file."""

    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    name: str
    short: str
    scientific: tuple[str, ...]
    damage: str
    heat: HeatModel | None = None
    not_timed: str = ""
    events: tuple[Event, ...] = ()
    activities: tuple[Activity, ...] = Field(min_length=1)
    thresholds: tuple[Threshold, ...] = ()
    caution: str = ""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if (self.heat is None) != bool(self.not_timed):
            raise ValueError("say either how heat is counted or why the pest is not timed by heat")
        known = {event.id for event in self.events}
        for activity in self.activities:
            for end in (activity.opens, activity.closes):
                if end is not None and end not in known:
                    raise ValueError(f"activity {activity.id} names an unknown event {end}")
        return self

    def event(self, event_id: str) -> Event:
        """Return the event with this id."""
        return next(event for event in self.events if event.id == event_id)
