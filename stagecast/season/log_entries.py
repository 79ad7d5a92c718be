"""What a scout writes down, as plain values: visits with sets and counts, and treatments."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from stagecast.knowledge.pest import SampleUnit


@dataclass(frozen=True, slots=True)
class LoggedCount:
    """How many of one pest, or of one of its life stages, a set held.

    Attributes
    ----------
    pest : str
        Id of the pest.
    life_stage : str
        As the scout calls it, such as ``adults`` or ``large larvae``; "" for all together.
    number : float
        Not negative; 0 where it was looked for and not found.
    """

    pest: str
    life_stage: str
    number: float


@dataclass(frozen=True, slots=True)
class LoggedSet:
    """One set: so many sweeps, row-feet or plants at one place of the field.

    Attributes
    ----------
    number : int
        From 1, in the order in which they were taken.
    size : float
        How many of ``of``, such as 25 sweeps.
    of : str
        Unit of the size, as thresholds name it.
    counts : tuple of LoggedCount
        A pest that is not among them was not looked for.
    """

    number: int
    size: float
    of: SampleUnit
    counts: tuple[LoggedCount, ...]


@dataclass(frozen=True, slots=True)
class LoggedVisit:
    """One visit to one field.

    Attributes
    ----------
    visit_id : str
    field_id : str
    date : datetime.date
    who : str
    stage : str or None
        As Fehr and Caviness name it.
    share : float or None
        Share of plants in the stage or beyond, 0 to 1.
    stand_notes : str
    defoliation_percent : float or None
        Leaf loss of the whole canopy.
    method : str
    notes : str
    sets : tuple of LoggedSet
    corrects : str or None
        Id of the visit that this one stands for; the old one is kept.
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

    @property
    def takes_back(self) -> bool:
        """Whether it takes another visit back and puts nothing in its place."""
        seen = self.stage or self.sets or self.defoliation_percent is not None
        return self.corrects is not None and not (seen or self.stand_notes or self.notes)


@dataclass(frozen=True, slots=True)
class Treatment:
    """Something applied to a field, with what its label says of entry and harvest.

    Attributes
    ----------
    treatment_id : str
    field_id : str
    product : str
        Free text.
    applied_at : datetime.datetime
        Local time of the field, without a zone.
    reentry_hours : float
        Restricted-entry interval, as the user read it from the label.
    preharvest_days : float or None
        Pre-harvest interval, likewise.
    notes : str
    corrects : str or None
    """

    treatment_id: str
    field_id: str
    product: str
    applied_at: dt.datetime
    reentry_hours: float
    preharvest_days: float | None = None
    notes: str = ""
    corrects: str | None = None


@dataclass(frozen=True, slots=True)
class ScoutingLog:
    """What stands of a log once corrections have taken the place of what they correct.

    Attributes
    ----------
    visits : tuple of LoggedVisit
        By date, those of a day in the order in which they were entered.
    treatments : tuple of Treatment
        By time, likewise.
    """

    visits: tuple[LoggedVisit, ...] = ()
    treatments: tuple[Treatment, ...] = ()

    def of_field(self, field_id: str) -> ScoutingLog:
        """The part of one field."""
        return ScoutingLog(
            tuple(v for v in self.visits if v.field_id == field_id),
            tuple(t for t in self.treatments if t.field_id == field_id),
        )

    def up_to(self, day: dt.date) -> ScoutingLog:
        """The part up to the end of a day."""
        return ScoutingLog(
            tuple(v for v in self.visits if v.date <= day),
            tuple(t for t in self.treatments if t.applied_at.date() <= day),
        )


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
