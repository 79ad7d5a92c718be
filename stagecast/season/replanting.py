"""The plants that stand: what was seen before a field was replanted no longer counts for it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from stagecast.base.errors import Problem
from stagecast.season.folder import SeasonFolder
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.tables.fields import FIELDS_FILE


def season_as_it_stood(season: SeasonFolder, day: dt.date) -> SeasonFolder:
    """The season with the plants that stood in each field on a day, and what was seen of them.

    Visits to plants that a field has no more are left out, whoever reads them: nothing is learnt
    from their stages, and no count of theirs is held against a threshold. Treatments stay, since
    they keep people out of a field whatever grows there.
    """
    if all(field.first_planted is None for field in season.fields):
        return season
    fields = {one.field_id: one.as_it_stood(day) for one in season.fields}

    def stands(field_id: str, date: dt.date) -> bool:
        return field_id not in fields or fields[field_id].of_these_plants(date)

    log = season.log
    return replace(
        season,
        fields=tuple(fields.values()),
        visits=tuple(visit for visit in season.visits if stands(visit.field_id, visit.date)),
        log=ScoutingLog(
            tuple(visit for visit in log.visits if stands(visit.field_id, visit.date)),
            log.treatments,
        ),
    )


def planned_and_past(season: SeasonFolder, day: dt.date) -> list[Problem]:
    """Fields whose expected day has gone by, and no planting date was written."""
    step = "write the day into planting_date, or a later one into planned"
    return [
        Problem(
            FIELDS_FILE,
            "this day has gone by, and planting_date is still blank; the forecast goes by it",
            field.line,
            "planned",
            found=field.planting_date.isoformat(),
            next_step=step,
            field_id=field.field_id,
            doubtful=True,
        )
        for field in season.fields
        if field.planned and field.planting_date < day
    ]
