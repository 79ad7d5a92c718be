"""What the scouting log holds: visits, sets, counts and treatments, and what they may hold."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from stagecast.base.textfiles import steering_character
from stagecast.knowledge.units import SampleUnit

LOG_FILE = "scouting.sqlite"
LONGEST_TEXT = 100_000
"""Characters of one text; a table's reader takes no longer cell than some more."""

MOST_COUNTED = 1_000_000.0
"""Of one pest in one set: more is a slip of the finger."""
SMALLEST_SET, LARGEST_SET = 0.01, 100_000.0
"""Sweeps, feet, metres or plants of one set."""
LONGEST_REENTRY_HOURS = 8_760.0
"""A year; no label asks for more."""
LONGEST_PREHARVEST_DAYS = 3_650.0

NARROWEST_ROW_IN, WIDEST_ROW_IN = 3.0, 60.0
SHORTEST_ROW_FT, LONGEST_ROW_FT = 0.5, 1_000.0
"""Of row counted at one place."""
SMALLEST_HOOP_IN, LARGEST_HOOP_IN = 6.0, 120.0
MOST_PLANTS, MOST_PLACES = 10_000, 200

LEFT_TOO_SOON = "the visit ends before it begins"
ACCEPTED_COUNT = f"0 to {MOST_COUNTED:,.0f}"
ACCEPTED_SIZE = f"{SMALLEST_SET:g} to {LARGEST_SET:,.0f}"

_SHARE_DECIMALS = 12
_ID_DIGITS = 10


@dataclass(frozen=True, slots=True)
class LoggedCount:
    """How many of one pest, or of one of its life stages, a set held.

    Attributes
    ----------
    life_stage: as the scout calls it, such as ``adults`` or ``large larvae``; "" for all together.
    number: not negative; 0 where it was looked for and not found.
    """

    pest: str
    life_stage: str
    number: float


@dataclass(frozen=True, slots=True)
class LoggedSet:
    """One set: so many sweeps, row-feet or plants at one place of the field.

    Attributes
    ----------
    number: from 1, in the order in which they were taken.
    size: how many of ``of``, such as 25 sweeps.
    unit: unit of the size, as thresholds name it.
    counts: A pest that is not among them was not looked for.
    """

    number: int
    size: float
    unit: SampleUnit
    counts: tuple[LoggedCount, ...]


@dataclass(frozen=True, slots=True)
class StandPlace:
    """Plants at one place of a stand count.

    Attributes
    ----------
    gap_ft: feet of the counted row that lie in long gaps; None where nobody measured.
    """

    plants: int
    gap_ft: float | None = None


@dataclass(frozen=True, slots=True)
class LoggedStand:
    """Plants counted at several places, each in so much row, or each in a hoop.

    Attributes
    ----------
    row_width_in, row_ft: width between rows, inches, and feet of row counted at each place; None
        for a hoop.
    hoop_in: inside diameter of the hoop, inches; None for rows.
    """

    places: tuple[StandPlace, ...]
    row_width_in: float | None = None
    row_ft: float | None = None
    hoop_in: float | None = None


@dataclass(frozen=True, slots=True)
class LoggedVisit:
    """One visit to one field.

    Attributes
    ----------
    stage: as Fehr and Caviness name it.
    share: share of plants in the stage or beyond, 0 to 1.
    defoliation_percent: leaf loss of the whole canopy.
    corrects: id of the visit that this one stands for; the old one is kept.
    arrived, left: at and from the field, local time, to the minute.
    """

    visit_id: str
    field_id: str
    date: dt.date
    who: str = ""
    stage: str | None = None
    share: float | None = None
    stand_notes: str = ""
    defoliation_percent: float | None = None
    method: str = ""
    notes: str = ""
    sets: tuple[LoggedSet, ...] = ()
    corrects: str | None = None
    stand: LoggedStand | None = None
    arrived: dt.time | None = None
    left: dt.time | None = None

    @property
    def minutes(self) -> int | None:
        """Minutes at the field, where both times are known."""
        if self.arrived is None or self.left is None:
            return None
        return minutes_between(self.arrived, self.left)

    @property
    def looked(self) -> bool:
        """Whether it saw a stage, counted anything, or saw leaf loss."""
        counted = self.sets or self.stand is not None or self.defoliation_percent is not None
        return bool(self.stage or counted)

    @property
    def takes_back(self) -> bool:
        """Whether it takes another visit back and puts nothing in its place."""
        return self.corrects is not None and not (self.looked or self.stand_notes or self.notes)


@dataclass(frozen=True, slots=True)
class Treatment:
    """Something applied to a field, with what its label says of entry and harvest.

    Attributes
    ----------
    product: free text.
    applied_at: local time of the field, without a zone.
    reentry_hours: restricted-entry interval, as the user read it from the label.
    preharvest_days: pre-harvest interval, likewise.
    """

    treatment_id: str
    field_id: str
    product: str
    applied_at: dt.datetime
    reentry_hours: float
    preharvest_days: float | None = None
    notes: str = ""
    corrects: str | None = None


AnyEntry: TypeAlias = LoggedVisit | Treatment
Entry = TypeVar("Entry", LoggedVisit, Treatment)


@dataclass(frozen=True, slots=True)
class ScoutingLog:
    """What stands of a log once corrections have taken the place of what they correct.

    Attributes
    ----------
    visits: by date, those of a day in the order in which they were entered.
    treatments: by time, likewise.
    """

    visits: tuple[LoggedVisit, ...] = ()
    treatments: tuple[Treatment, ...] = ()
    _by_field: dict[str, ScoutingLog] = dataclasses.field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def found(self) -> frozenset[str]:
        """Ids of the pests of which anything was counted."""
        sets = (one for visit in self.visits for one in visit.sets)
        return frozenset(c.pest for one in sets for c in one.counts if c.number > 0)

    def of_field(self, field_id: str) -> ScoutingLog:
        """The part of one field; the log is parted once, and all fields are looked up in it."""
        if not self._by_field:
            visits, treatments = _by_field(self.visits), _by_field(self.treatments)
            for name in visits.keys() | treatments.keys():
                ours = tuple(visits.get(name, ())), tuple(treatments.get(name, ()))
                self._by_field[name] = ScoutingLog(*ours)
        return self._by_field.get(field_id) or ScoutingLog()

    def of_year(self, year: int) -> ScoutingLog:
        """The part of one season; a log may hold several."""
        return ScoutingLog(
            tuple(v for v in self.visits if v.date.year == year),
            tuple(t for t in self.treatments if t.applied_at.year == year),
        )

    def after(self, day: dt.date) -> ScoutingLog:
        """The part after the end of a day."""
        return ScoutingLog(
            tuple(v for v in self.visits if v.date > day),
            tuple(t for t in self.treatments if t.applied_at.date() > day),
        )

    def up_to(self, day: dt.date) -> ScoutingLog:
        """The part up to the end of a day."""
        return ScoutingLog(
            tuple(v for v in self.visits if v.date <= day),
            tuple(t for t in self.treatments if t.applied_at.date() <= day),
        )


def _by_field(entries: Iterable[Entry]) -> dict[str, list[Entry]]:
    """Field id -> its entries, in their order."""
    found: dict[str, list[Entry]] = {}
    for entry in entries:
        found.setdefault(entry.field_id, []).append(entry)
    return found


def standing(visits: Iterable[LoggedVisit], treatments: Iterable[Treatment]) -> ScoutingLog:
    """The log without what was corrected, whatever the order of entry.

    A correction of a correction takes the place of both. A visit that was corrected to one that
    says nothing was taken back: nobody was there.
    """
    every_visit, every_treatment = tuple(visits), tuple(treatments)
    old_visits = {v.corrects for v in every_visit}
    old_treatments = {t.corrects for t in every_treatment}
    return ScoutingLog(
        tuple(
            sorted(
                (v for v in every_visit if v.visit_id not in old_visits and not v.takes_back),
                key=lambda visit: visit.date,
            )
        ),
        tuple(
            sorted(
                (t for t in every_treatment if t.treatment_id not in old_treatments),
                key=lambda treatment: treatment.applied_at,
            )
        ),
    )


def minutes_between(start: dt.time, end: dt.time) -> int:
    """Whole minutes from one time of a day to another."""
    return 60 * (end.hour - start.hour) + end.minute - start.minute


def entry_id(entry: AnyEntry) -> str:
    """The id of a visit or of a treatment."""
    return entry.visit_id if isinstance(entry, LoggedVisit) else entry.treatment_id


def day_of_entry(entry: AnyEntry) -> dt.date:
    """The day of a visit or of a treatment."""
    return entry.date if isinstance(entry, LoggedVisit) else entry.applied_at.date()


def kind_of_entry(entry: AnyEntry) -> str:
    """``visit`` or ``treatment``."""
    return "visit" if isinstance(entry, LoggedVisit) else "treatment"


def settled_visit(visit: LoggedVisit) -> LoggedVisit:
    """The visit as it is stored: texts stripped, sets by number, and an id where it has none.

    Raises
    ------
    ValueError
        A text that no file can hold, a number that cannot be counted, a set or a count twice:
        faults of the caller, which readers tell a person at their place.
    """
    settled = LoggedVisit(
        visit_id=text_of(visit.visit_id),
        field_id=text_of(visit.field_id),
        date=visit.date,
        who=text_of(visit.who),
        stand_notes=text_of(visit.stand_notes),
        method=text_of(visit.method),
        notes=text_of(visit.notes),
        stage=None if visit.stage is None else text_of(visit.stage) or None,
        share=None if visit.share is None else round(_within(visit.share, 1), _SHARE_DECIMALS),
        defoliation_percent=None
        if visit.defoliation_percent is None
        else _within(visit.defoliation_percent, 100),
        corrects=text_of(visit.corrects or "") or None,
        sets=tuple(sorted(map(_settled_set, visit.sets), key=lambda one: one.number)),
        stand=None if visit.stand is None else settled_stand(visit.stand),
        arrived=_to_the_minute(visit.arrived),
        left=_to_the_minute(visit.left),
    )
    if settled.minutes is not None and settled.minutes < 0:
        raise ValueError(LEFT_TOO_SOON)
    if len({one.number for one in settled.sets}) < len(settled.sets):
        raise ValueError("a set of this number stands twice in the visit")
    if settled.share is not None and not settled.stage:
        raise ValueError("a share needs its stage")
    if not settled.field_id:
        raise ValueError("a visit needs its field")
    if settled.visit_id:
        return settled
    return dataclasses.replace(settled, visit_id=f"v{_digest(settled)}")


def settled_treatment(treatment: Treatment) -> Treatment:
    """The treatment as it is stored, to the second; ValueError as :func:`settled_visit`."""
    if treatment.applied_at.tzinfo is not None:
        raise ValueError("the time of a treatment is local, without a zone")
    days = treatment.preharvest_days
    settled = dataclasses.replace(
        treatment,
        treatment_id=text_of(treatment.treatment_id),
        field_id=text_of(treatment.field_id),
        product=text_of(treatment.product),
        notes=text_of(treatment.notes),
        applied_at=treatment.applied_at.replace(microsecond=0),
        reentry_hours=_within(treatment.reentry_hours, LONGEST_REENTRY_HOURS),
        preharvest_days=None if days is None else _within(days, LONGEST_PREHARVEST_DAYS),
        corrects=text_of(treatment.corrects or "") or None,
    )
    if not settled.field_id or not settled.product:
        raise ValueError("a treatment needs its field and its product")
    if settled.treatment_id:
        return settled
    return dataclasses.replace(settled, treatment_id=f"t{_digest(settled)}")


def same(one: AnyEntry, other: AnyEntry) -> bool:
    """Whether two settled entries say the same; the order of counts in a set does not matter."""
    return one == other or _content(one) == _content(other)


def count_rows(sets: Iterable[LoggedSet]) -> Iterator[tuple[LoggedSet, LoggedCount | None]]:
    """A row for each count beside its set, in order; a set that counted nothing has one, without.

    A table, a screen, a file and the store all tell counts in these rows.
    """
    for one in sets:
        yield from ((one, count) for count in one.counts or (None,))


def number_as_typed(value: float | None) -> str:
    """The shortest text that reads back as this number; blank for none."""
    return "" if value is None else repr(float(value)).removesuffix(".0")


def life_stage_of(text: str) -> str:
    """A life stage as it is stored: small letters, single blanks."""
    return " ".join(text_of(text).lower().split())


def text_of(text: str) -> str:
    """A text as it is stored: without blanks around it; ValueError where no file can hold it."""
    reason = why_no_text(text) if text else None
    if reason is not None:
        raise ValueError(reason)
    return text.strip()


def why_no_text(text: str) -> str | None:
    """Reason why a text cannot be stored, if there is one."""
    if len(text) > LONGEST_TEXT:
        return f"a text of {len(text):,} characters; up to {LONGEST_TEXT:,} are kept"
    if text.isprintable():
        return None
    if "\0" in text or any("\ud800" <= char <= "\udfff" for char in text):
        return "this is not text"
    steering = steering_character(text)
    if steering is not None:
        return f"an invisible character (U+{ord(steering):04X}) stands in this text"
    return None


def _to_the_minute(time: dt.time | None) -> dt.time | None:
    return None if time is None else time.replace(second=0, microsecond=0)


def _settled_set(one: LoggedSet) -> LoggedSet:
    if one.number < 1 or not SMALLEST_SET <= one.size <= LARGEST_SET:
        raise ValueError(f"a set needs a number from 1 and a size of {ACCEPTED_SIZE}")
    counts = tuple(
        LoggedCount(text_of(c.pest), life_stage_of(c.life_stage), _within(c.number, MOST_COUNTED))
        for c in one.counts
    )
    if len({(c.pest, c.life_stage) for c in counts}) < len(counts):
        raise ValueError("a count of this pest and life stage stands twice in the set")
    return LoggedSet(one.number, float(one.size), one.unit, counts)


def settled_stand(stand: LoggedStand) -> LoggedStand:
    """The stand count as it is stored; ValueError with a reason a person can act on."""
    width, row_ft, hoop_in = stand.row_width_in, stand.row_ft, stand.hoop_in
    if hoop_in is None:
        if width is None or row_ft is None:
            raise ValueError("plants in rows need the row width and the feet of row")
        width = _between(width, NARROWEST_ROW_IN, WIDEST_ROW_IN, "a row width", "inches")
        row_ft = _between(row_ft, SHORTEST_ROW_FT, LONGEST_ROW_FT, "row at a place", "feet")
    else:
        if width is not None or row_ft is not None:
            raise ValueError("a stand is counted in rows or in a hoop, not in both")
        hoop_in = _between(hoop_in, SMALLEST_HOOP_IN, LARGEST_HOOP_IN, "a hoop", "inches")
    if not 1 <= len(stand.places) <= MOST_PLACES:
        raise ValueError(f"a stand count has 1 to {MOST_PLACES} places")
    places = []
    for place in stand.places:
        if place.plants != int(place.plants) or not 0 <= place.plants <= MOST_PLANTS:
            raise ValueError(f"plants at a place are a whole number, 0 to {MOST_PLANTS:,}")
        gap = place.gap_ft
        if gap is not None and row_ft is None:
            raise ValueError("gaps are measured along rows; a hoop has none")
        if gap is not None and row_ft is not None:
            gap = _between(gap, 0.0, row_ft, "gaps at a place", "feet")
        places.append(StandPlace(int(place.plants), gap))
    return LoggedStand(tuple(places), width, row_ft, hoop_in)


def _between(number: float, least: float, most: float, what: str, unit: str) -> float:
    if not least <= number <= most:
        raise ValueError(f"{what} of {number:g} {unit} is out of range: {least:g} to {most:g}")
    return float(number) + 0.0


def _within(number: float, most: float) -> float:
    value = float(number) + 0.0  # no minus before a zero
    if not 0 <= value <= most:
        raise ValueError(f"{number!r} is not a number from 0 to {most:g}")
    return value


def _content(entry: AnyEntry) -> dict[str, object]:
    """What an entry says, without its id.

    Ids are made from it: a log table that was imported years ago must give the same ids today, so
    the unit of a set is written here as the table has it.
    """
    said = dataclasses.asdict(entry)
    said.pop("visit_id", None)
    said.pop("treatment_id", None)
    for newer in ("stand", "arrived", "left"):  # an entry without it is said as it was then
        if said.get(newer) is None:
            said.pop(newer, None)
    for one in said.get("sets", ()):
        one["of"] = one.pop("unit")
        one["counts"] = sorted(one["counts"], key=lambda c: (c["pest"], c["life_stage"]))
    return said


def _digest(entry: AnyEntry) -> str:
    text = json.dumps(_content(entry), sort_keys=True, default=_as_text)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:_ID_DIGITS]


def _as_text(value: object) -> str:
    assert isinstance(value, (dt.date, dt.time))  # and a datetime is a date
    return value.isoformat()
