"""How many sets a visit takes, and how many minutes in the field."""

from __future__ import annotations

import math
import re

from stagecast.knowledge import Knowledge
from stagecast.scouting.counts_say import assess_day
from stagecast.scouting.load import LoadedSeason
from stagecast.scouting.plan import FieldPlan
from stagecast.season.fields import ACRES_PER_HECTARE

HECTARES_PER_KM2 = 100
MINUTES_PER_HOUR = 60
_SWEEPS = re.compile(r"sets of (\d+) sweeps")


def sets_to_take(plan: FieldPlan, sampling_id: str, loaded: LoadedSeason) -> int:
    """How many sets, places or plants the next visit takes.

    Parameters
    ----------
    plan : FieldPlan
    sampling_id : str
        Of ``sampling.toml``; "" where no window is open.
    loaded : LoadedSeason

    Returns
    -------
    int
        The method's own number; 0 for no method. For sets of sweeps, where the counts of the last
        visit left a pest open, as many more as would likely settle it, up to the number that is
        planned for one visit. Counts before a treatment say nothing of the next visit.
    """
    method = loaded.knowledge.sampling.get(sampling_id)
    if method is None:
        return 0
    usual, size = int(method.sets), sweeps_in_set(sampling_id, loaded.knowledge)
    if size is None:
        return usual
    more = math.ceil(_more_sweeps(plan, loaded) / size)
    return max(usual, min(usual + more, int(loaded.knowledge.workday.field.most_sets)))


def field_minutes(area_acres: float, sampling_id: str, sets: int, knowledge: Knowledge) -> int:
    """Whole minutes in a field, rounded up.

    Parameters
    ----------
    area_acres : float
        Above 0.
    sampling_id : str
        Of ``sampling.toml``; "" where no window is open.
    sets : int
        Sets, places or plants.
    knowledge : Knowledge

    Notes
    -----
    ``fixed + sets x minutes of one + walk``. A set of sweeps takes ``per_set`` for the usual set,
    in proportion for others; anything else takes ``per_place``. The walk in and back is two sides
    of a square of the field's area at ``walk_speed``, ``most_walk`` at most.
    """
    rule = knowledge.workday.field
    size = sweeps_in_set(sampling_id, knowledge)
    each = float(int(rule.per_place))
    if size is not None:
        each = int(rule.per_set) * size / int(knowledge.sweeps.usual_set)
    km = 2 * math.sqrt(area_acres / ACRES_PER_HECTARE / HECTARES_PER_KM2)
    walk = min(MINUTES_PER_HOUR * km / float(rule.walk_speed), int(rule.most_walk))
    # Rounding in the last place must not add a minute.
    return math.ceil(int(rule.fixed) + sets * each + walk - 1e-9)


def sweeps_in_set(sampling_id: str, knowledge: Knowledge) -> int | None:
    """Sweeps in a set of a method, as its unit says; None for methods without sets of sweeps."""
    method = knowledge.sampling.get(sampling_id)
    found = None if method is None else _SWEEPS.fullmatch(method.unit)
    return None if found is None else int(found.group(1))


def _more_sweeps(plan: FieldPlan, loaded: LoadedSeason) -> float:
    """Sweeps beyond the usual sets that would likely settle what the last visit left open."""
    last, log = plan.visit.last_visit, plan.log.up_to(loaded.as_of)
    if last is None or (log.treatments and log.treatments[-1].applied_at.date() >= last):
        return 0.0
    found = assess_day(plan.forecast, last, log, loaded)
    pests = () if found is None else found.pests
    return max(
        (
            (one.more_sets or 0) * one.set_size
            for one in pests
            if one.of == "sweeps" and one.answer == "not enough sets"
        ),
        default=0.0,
    )
