"""Where temperatures come from: a module here for every ``source`` that season.toml may name.

The module ``station_csv`` is the source "station csv", and so on; a module whose name begins with
an underscore is none. Each says in its ``SOURCE`` what it is.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Protocol

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.knowledge.rules import WeatherLimits
from stagecast.weather.doubt import held_problem
from stagecast.weather.member_files import members_laid_beside
from stagecast.weather.records import FieldSite, StationRecord, WeatherRequest
from stagecast.weather.store import STORE_NAME, WeatherStore

DEFAULT = "station csv"


@dataclass(frozen=True, slots=True)
class Readings:
    """Every temperature that a season folder has, unscreened.

    Attributes
    ----------
    records: sorted by station id, in degC.
    problems: in file order, doubtful ones included. A record may stand beside problems of its own
        file.
    us_order_files: files in which a date was read as month/day/year.
    """

    records: tuple[StationRecord, ...] = ()
    problems: tuple[Problem, ...] = ()
    us_order_files: tuple[str, ...] = ()


class WeatherService(Protocol):
    """A service on a network.

    Attributes
    ----------
    service: its name, stored with every day.
    attribution: whom the last fetch has to name, with licences.
    notes: station or cell -> what the last fetch had to assume there, a sentence each.
    """

    service: str
    attribution: tuple[str, ...]
    notes: Mapping[str, tuple[str, ...]]

    def cells(self, sites: Sequence[FieldSite]) -> dict[str, tuple[FieldSite, ...]]:
        """Station or cell that will speak for sites -> these sites, by name."""
        ...

    def fetch(self, request: WeatherRequest) -> list[StationRecord]:
        """One record per station or cell of the request, in a stable order.

        Raises
        ------
        WeatherOutage
            A service that fails never gives a partial answer; a day without a value is MISSING.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherSource:
    """What a source is.

    Attributes
    ----------
    read: season folder -> its temperatures; never raises for what files say.
    nothing: what is told where fields need temperatures and there are none.
    connect: the service that `stagecast weather` fetches from into the store; None for files that a
        person keeps, which are read as they are.
    """

    read: Callable[[Path], Readings]
    nothing: Problem
    connect: Callable[[WeatherLimits], WeatherService] | None = None


def network_source(connect: Callable[[WeatherLimits], WeatherService]) -> WeatherSource:
    """A source on a network: fetched into the season folder's store, and read from there."""
    nothing = Problem(
        STORE_NAME,
        "no temperatures are stored yet",
        next_step="fetch them with `stagecast weather DIR --through DATE`",
    )
    return WeatherSource(read=_stored, nothing=nothing, connect=connect)


def _stored(folder: Path) -> Readings:
    store = WeatherStore(folder / STORE_NAME)
    held = tuple(held_problem(one.doubt) for one in store.held())
    records, wrong = members_laid_beside(folder, store.load())
    return Readings(records, (*held, *wrong))


def source_names() -> tuple[str, ...]:
    """Names that season.toml may give, the default first."""
    return (DEFAULT, *sorted(_modules().keys() - {DEFAULT}))


def source_named(name: str) -> WeatherSource:
    """The source of a name that is one of :func:`source_names`.

    Raises
    ------
    SeasonProblems
        Its module is broken, or says of no source what it is.
    """
    module = _modules()[name]
    where = f"weather/sources/{module}.py"
    try:
        source = getattr(import_module(f"{__name__}.{module}"), "SOURCE", None)
    except Exception as error:  # whatever a module does while it is read
        message = f"this weather source is broken ({type(error).__name__}: {error})"
        step = "mend it, or give another source under [weather] in season.toml"
        raise SeasonProblems([Problem(where, message, next_step=step)]) from error
    if not isinstance(source, WeatherSource):
        message, step = "this weather source has no SOURCE", "let SOURCE be a WeatherSource"
        raise SeasonProblems([Problem(where, message, next_step=step)])
    return source


def _modules() -> dict[str, str]:
    """Name of a source -> its module."""
    names = (module.name for module in pkgutil.iter_modules(__path__))
    return {name.replace("_", " "): name for name in names if not name.startswith("_")}
