"""Words that the week's screen and files share."""

from __future__ import annotations

import datetime as dt
import unicodedata

from stagecast.knowledge import Knowledge
from stagecast.knowledge.models import Sampling
from stagecast.scouting.load import LoadedSeason
from stagecast.scouting.plan import FieldPlan
from stagecast.scouting.week_types import ScoutDay, WeekStop
from stagecast.season.travel import KM_PER_MILE
from stagecast.season.workday import driving_rules

_ASIDE = ("also possible", "soon")
"""What a visit is not for, and is told after what it is for."""


def file_text(text: str) -> str:
    """Text as any file may hold it: line breaks and tabs stay, other control characters go.

    Neither XML 1.0 nor iCalendar has a way to write them. Halves of a character pair, which no
    file in UTF-8 can hold, go too, and so do the two code points that XML leaves out.
    """
    return "".join(char for char in text if char in "\n\t" or not _unwritable(char))


def _unwritable(char: str) -> bool:
    return unicodedata.category(char) in ("Cc", "Cs") or char in "\ufffe\uffff"


def file_name_of(plan: FieldPlan) -> str:
    """Field id and name on one line, for files."""
    field = plan.forecast.field
    return " ".join(file_text(f"{field.field_id} {field.field_name}").split())


def day_name(day: ScoutDay) -> str:
    """``Tue 2026-07-07`` and the scout, where one has a name."""
    return " ".join(file_text(f"{day.date:%a} {day.date.isoformat()} {day.scout}").split())


def how_text(stop: WeekStop, knowledge: Knowledge) -> str:
    """``15-inch sweep net, 4 sets of 25 sweeps``; ``walk through`` where nothing is counted."""
    sampling = knowledge.sampling.get(stop.sampling)
    if sampling is None:
        return "walk through"
    return f"{sampling.title}, {stop.sets} {sets_of(sampling, stop.sets)}"


def sets_of(sampling: Sampling, sets: int) -> str:
    """What is taken: ``sets of 25 sweeps``, or ``set of 25 sweeps`` of one."""
    noun, space, rest = sampling.unit.partition(" ")
    return (noun.removesuffix("s") if sets == 1 else noun) + space + rest


def look_heads(stop: WeekStop) -> list[str]:
    """What to look for, each in a word or two: the pests, and what else a look is for."""
    heads = [text.partition(":")[0].partition(";")[0] for text in stop.look_for]
    return [head for head in dict.fromkeys(heads) if head not in _ASIDE]


def clock_text(moment: dt.datetime) -> str:
    """``7:05``."""
    return f"{moment.hour}:{moment.minute:02}"


def hours_text(minutes: float) -> str:
    """``5 h 10 min``, ``2 h``, ``40 min``."""
    hours, left = divmod(round(minutes), 60)
    told = [f"{hours} h"] * (hours > 0) + [f"{left} min"] * (left > 0 or hours == 0)
    return " ".join(told)


def dollars_text(dollars: float) -> str:
    """``$12`` from ten dollars on, ``$3.40`` below."""
    return f"${dollars:,.2f}" if abs(dollars) < 10 else f"${dollars:,.0f}"


def estimate_text(loaded: LoadedSeason) -> str:
    """How distances and times were estimated, in the units a person chose."""
    settings = loaded.season.settings
    rules = driving_rules(settings, loaded.knowledge)
    speed = f"{rules.speed_kmh:.0f} km/h"
    if settings.units == "us":
        speed = f"{rules.speed_kmh / KM_PER_MILE:.0f} mph"
    factor = f"{rules.road_factor:g}"
    return f"Distances are estimates: straight line x {factor}, driven at {speed}."
