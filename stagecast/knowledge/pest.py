"""What is known of a pest: its heat, its damage, what to look for, and thresholds."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from stagecast.knowledge.crop import CropEvent, stage_place
from stagecast.knowledge.quantities import Number, Provenance, Quantity, Strict
from stagecast.knowledge.texts import Name, Words
from stagecast.knowledge.threshold import Threshold, check_day

# --- where and when it is met ---------------------------------------------------------------------


class Presence(Provenance):
    """Where the pest spends the winter, and where it is met at all.

    ``regions`` are those in which a scout has to reckon with it; none given means all.
    """

    kind: Literal["overwinters", "arrives"]
    text: str
    regions: tuple[str, ...] = ()

    def met_in(self, regions: Collection[str]) -> bool:
        """Whether one has to reckon with it in any of some regions."""
        return not self.regions or any(region in self.regions for region in regions)


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


class HostStages(Provenance):
    """From which crop stage to which the pest can hurt."""

    first: CropEvent
    last: CropEvent

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if stage_place(self.first) > stage_place(self.last):
            raise ValueError("first host stage must not come after the last")
        return self


class Ends(Provenance):
    """The last stage at which a source of a region still reckons with the pest."""

    region: str
    last: CropEvent


class Return(Provenance):
    """Within how many days a source goes back to a field for the pest: the first and the last.

    ``when`` it was ``found`` at all; it is ``near`` its threshold or above; the weather is ``dry``;
    or the field was ``treated`` for it. Without a ``region`` it holds everywhere.
    """

    region: str | None = None

    when: Literal["found", "near", "dry", "treated"]
    days: tuple[int, int]

    @field_validator("days", mode="before")
    @classmethod
    def _as_pair(cls, days: object) -> object:
        return tuple(days) if isinstance(days, list) else days

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not 1 <= self.days[0] <= self.days[1]:
            raise ValueError("give the first and the last of some days, from 1 on")
        return self


class Replaced(Provenance):
    """A figure that a newer one of its region took the place of, or that is doubtful.

    Kept to be shown; nothing is ever held against it, so its number stands in words alone.
    """

    region: str
    said: Words


class Remark(Provenance):
    """What a source says of the pest in some regions that is no threshold, end or return."""

    regions: tuple[str, ...] = Field(min_length=1)
    about: Literal["season", "fields", "scouting", "worth"]
    text: Words


class Likeness(Strict):
    """Something it is taken for, and how the two differ."""

    name: Words
    differs: Words


# --- heat -----------------------------------------------------------------------------------------


class Biofix(Provenance):
    """Something from which heat is counted.

    A model may name several; the first for which there is a day is taken. ``trap catch`` waits
    for the catches in the season folder, ``seen`` for first eggs or first adults noted there.
    """

    kind: Literal["calendar day", "crop stage", "trap catch", "seen"]
    month: int | None = Field(default=None, ge=1, le=12)
    day: int | None = Field(default=None, ge=1, le=31)
    stage: CropEvent | None = None
    catch: Literal["first", "sustained", "peak"] | None = None
    what: Literal["eggs", "adults"] | None = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        wanted = {
            "calendar day": ("month", "day"), "crop stage": ("stage",), "trap catch": ("catch",),
            "seen": ("what",),
        }[self.kind]  # fmt: skip
        for name in ("month", "day", "stage", "catch", "what"):
            if (getattr(self, name) is not None) != (name in wanted):
                raise ValueError(f"a {self.kind} biofix has {' and '.join(wanted)}, nothing else")
        if self.month is not None and self.day is not None:
            check_day(self.month, self.day)
        return self


class HeatModel(Provenance):
    """How heat is summed: always the source's own thresholds, method and cutoff."""

    lower_c: Number
    upper_c: Number | None = None
    method: Literal[
        "simple average", "clamped average", "capped average", "single triangle",
        "double triangle", "single sine", "double sine",
    ]  # fmt: skip
    cutoff: Literal["none", "horizontal", "intermediate", "vertical"]
    method_tag: Literal["READ", "CITED", "MEMORY", "OWN"]
    method_note: str = ""
    spread: Quantity | None = Field(
        default=None, description="Share of a need by which individuals differ, one sd"
    )
    biofix: tuple[Biofix, ...] = Field(min_length=1)

    @field_validator("spread")
    @classmethod
    def _spread_is_a_share(cls, spread: Quantity | None) -> Quantity | None:
        if spread is not None and not 0 <= spread.value <= 1:
            raise ValueError("the spread is a share of a need, from 0 to 1")
        return spread

    @model_validator(mode="after")
    def _cutoff_needs_upper(self) -> Self:
        # As the arithmetic of degree-days has it, which stands above this room.
        moved = self.method in ("clamped average", "capped average")
        if moved and self.cutoff not in ("none", "horizontal"):
            raise ValueError(
                f"the {self.method} has no {self.cutoff} cutoff: use horizontal, or none"
            )
        if (self.cutoff == "none") != (self.upper_c is None):
            raise ValueError("an upper threshold and a cutoff belong together")
        if self.upper_c is not None and self.upper_c <= self.lower_c:
            raise ValueError("the upper threshold must lie above the lower")
        return self


class Event(Provenance):
    """Something a heat sum is reached for."""

    id: Name = Field(pattern=r"^[a-z][a-z0-9-]*$")
    title: Name
    need_c: Number = Field(gt=0)


class Generation(Provenance):
    """Heat from one generation's event to the same event of the next, and how many there are."""

    need_c: Number = Field(gt=0)
    most: int = Field(ge=1, le=9)


class Development(Provenance):
    """A published figure of development that times nothing by itself; kept for the record.

    ``stage`` names what develops; ``lower_c``, ``upper_c`` and ``need_c`` as far as they were
    read; ``place`` is where the insects came from or what they ate.
    """

    stage: str
    lower_c: Number | None = None
    upper_c: Number | None = None
    need_c: Number | None = None
    place: str = ""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.lower_c is None and self.upper_c is None and self.need_c is None:
            raise ValueError("a figure of development needs a threshold or degree-days")
        return self


class Duration(Provenance):
    """Days that a stage takes, at one temperature where the source gives it."""

    stage: str
    days: Number = Field(gt=0)
    high: Number | None = None
    at_c: Number | None = None


# --- what to look for, and when to treat ----------------------------------------------------------


class Activity(Strict):
    """A span in which the pest, or one stage of it, is about.

    ``opens`` and ``closes`` name events of the heat model, or None for the host window's own
    ends. ``before`` and ``after`` stretch the span to shares of the events' needs: 0.9 and 1.1
    make a window of plus or minus ten per cent round a peak. ``lasts`` closes the span that many
    days after it opened, by heat or with its first host stage, where days are known and not heat.
    ``rank`` orders what to look for in one field, 1 first (our own judgement, from the damage
    described).
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


# --- the file -------------------------------------------------------------------------------------


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
    ends: tuple[Ends, ...] = ()
    returns: tuple[Return, ...] = ()
    replaced: tuple[Replaced, ...] = ()
    remarks: tuple[Remark, ...] = ()
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

    @property
    def known_growth(self) -> Quantity | None:
        """The published growth; None also where it is from memory, which decides nothing."""
        return None if self.growth is None or self.growth.unverified else self.growth

    def event(self, event_id: str) -> Event:
        """Return the event with this id."""
        return next(event for event in self.events if event.id == event_id)
