"""A consultant's own pests and thresholds, laid over those that ship with stagecast.

Own pests are files ``pests/NAME.toml`` of the season folder, in the shape of those in
``knowledge/pests``; a file may bring its own ``[sources.ID]``. Own thresholds are the
``[[thresholds]]`` of season.toml.
"""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from stagecast.base.errors import Problem, fold_repeats, in_file_order
from stagecast.knowledge import Knowledge
from stagecast.knowledge.loader import tuples
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.references import YOURS, Reference, written_references
from stagecast.knowledge.rules import Source
from stagecast.knowledge.threshold import SeasonPrices, Threshold
from stagecast.season.settings.own_words import threshold_with_keys, with_keys
from stagecast.season.settings.pest_names import PestNames, names_of, singular
from stagecast.season.settings.sections import accepted_text, complaints
from stagecast.season.settings.settings import OwnThreshold, SettingsFile
from stagecast.season.settings.telling import with_alerts
from stagecast.season.settings.toml import KeyPath, TomlFile, as_typed, kind_of, read_toml
from stagecast.season.settings.work import SETTINGS_FILE, MoneySettings

PESTS_FOLDER = "pests"
MOST_FILES = 100
MOST_NAMED = 40
_ENDING = ".toml"

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class OwnKnowledge:
    """What ships with stagecast, with a folder's own laid over it.

    Attributes
    ----------
    knowledge: own pests replace shipped ones of the same id, others come after them; own thresholds
        stand before the published ones of their pest, with the region ``yours``.
    problems: in file order, doubts among them; where there are errors the knowledge is not whole.
    unread: names of the pests whose own file is wrong, so that what names one of them is not wrong
        as well; None where a file is such that its names cannot be told.
    """

    knowledge: Knowledge
    problems: tuple[Problem, ...]
    unread: frozenset[str] | None = frozenset()

    @property
    def whole(self) -> bool:
        """Whether nothing was wrong."""
        return all(problem.doubtful for problem in self.problems)


def read_own_knowledge(folder: Path, *, settings: SettingsFile, shipped: Knowledge) -> OwnKnowledge:
    """Read a folder's own pests and thresholds; never raises for bad content.

    Parameters
    ----------
    shipped: what ships with stagecast.
    """
    found = _Merged(shipped)
    paths, problems = _pest_files(folder / PESTS_FOLDER)
    for path in paths:
        found.read(path)
    problems += found.problems()
    names = PestNames.of(found.pests)
    pests = {
        pest.id: with_keys(pest, names) if pest.id in found.ids else pest
        for pest in found.pests.values()
    }
    whole = shipped.model_copy(update={"pests": pests, "sources": found.sources})
    own = settings.settings.thresholds if settings.settings is not None else ()
    problems += _unknown_pests(settings.toml, found)
    unread = None if found.illegible else frozenset(found.broken)
    whole = _with_thresholds(whole, own, names)
    if settings.settings is not None:
        whole = _at_prices(whole, settings.settings.money)
        whole = with_alerts(whole, settings.settings.alerts)
    return OwnKnowledge(whole, tuple(problems), unread)


def _pest_files(folder: Path) -> tuple[list[Path], list[Problem]]:
    """The files of own pests by name; hidden files are left alone."""
    label = PESTS_FOLDER
    try:
        if not folder.is_dir():
            if not folder.exists() and not folder.is_symlink():
                return [], []
            message = "this is not a folder"
            step = f"own pests are files {label}/NAME.toml; give it another name otherwise"
            return [], [Problem(label, message, next_step=step)]
        names = sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))
    except OSError as error:
        return [], [Problem(label, f"cannot be read ({error.strerror})")]
    files = [name for name in names if name.lower().endswith(_ENDING)]
    if len(files) > MOST_FILES:
        message = f"{len(files)} files are too many pests"
        return [], [Problem(label, message, accepted=f"{MOST_FILES} at most")]
    step = f"let its name end in {_ENDING} if it is a pest of yours"
    problems = [
        Problem(f"{label}/{name}", "this is not read", next_step=step, doubtful=True)
        for name in names
        if f"{_ENDING}." in name.lower() and name not in files
    ]
    return [folder / name for name in files], problems


@dataclass(slots=True)
class _Merged:
    """Pests and sources as file after file is laid over those that ship."""

    shipped: Knowledge
    pests: dict[str, Pest] = field(init=False)
    sources: dict[str, Source] = field(init=False)
    ids: dict[str, str] = field(default_factory=dict)
    files: list[tuple[TomlFile, list[Problem]]] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)
    illegible: bool = False

    def __post_init__(self) -> None:
        self.pests = dict(self.shipped.pests)
        yours = Source(title="Your own, in season.toml", publisher="you", kind="own")
        self.sources = {**self.shipped.sources, YOURS: yours}

    def read(self, path: Path) -> None:
        """Lay one file over the rest, and keep what is wrong with it by itself."""
        label = f"{PESTS_FOLDER}/{path.name}"
        toml = read_toml(path, label=label, missing_step="put it back, or try again")
        if toml.problem is not None:
            self.broken.add(path.stem)
            self.illegible = True
            self.files.append((toml, [toml.problem]))
            return
        data = _without_sources(toml)
        problems = self._take_sources(toml)
        pest, faults = _checked(Pest, data, toml)
        if pest is None:
            self.broken |= {path.stem, *_names(data)}
        else:
            faults = self._take(pest, toml)
        self.files.append((toml, problems + faults))

    def _take(self, pest: Pest, toml: TomlFile) -> list[Problem]:
        if pest.id in self.ids:
            other = self.ids[pest.id]
            message = f"{other} is a pest of this id already"
            step = "give it another id, or keep one of the two files"
            return [toml.fault(("id",), message, found=pest.id, next_step=step)]
        self.ids[pest.id] = toml.label
        replaced = self.shipped.pests.get(pest.id)
        problems = self._heat(pest, toml) + list(self._same_names(pest, toml))
        self.pests[pest.id] = pest
        if replaced is None:
            return problems
        message = f"this takes the place of {replaced.name} as it ships with stagecast"
        step = "give it another id to have both"
        taken = toml.fault(("id",), message, found=pest.id, next_step=step, doubtful=True)
        return [taken, *problems]

    def _heat(self, pest: Pest, toml: TomlFile) -> list[Problem]:
        """Doubt a lower threshold that hardly a day reaches."""
        most = float(self.shipped.timing.warmest_lower)
        if pest.heat is None or pest.heat.lower_c <= most:
            return []
        lower = pest.heat.lower_c
        message = "hardly a day is warm enough for this pest to develop, so it would never come"
        step = f"if this is degrees F, write {(lower - 32) / 1.8:.1f}"
        found, accepted = f"{lower:g}", f"degC, usually 0 to {most:g}"
        return [
            toml.fault(
                ("heat", "lower_c"), message, found=found, accepted=accepted, next_step=step,
                doubtful=True,
            )
        ]  # fmt: skip

    def _same_names(self, pest: Pest, toml: TomlFile) -> Iterator[Problem]:
        """Refuse names of another pest, whose counts and thresholds it would silently take."""
        others = {one.id: one for one in self.pests.values() if one.id != pest.id}
        taken = {singular(name): other for other in others.values() for name in names_of(other)}
        for key in ("id", "name", "short", "also"):
            named = getattr(pest, key)
            for name in named if key == "also" else (named,):
                other = taken.get(singular(name))
                if other is None or _shared(name, self.shipped.pests.get(pest.id)):
                    continue
                message = f"this is what {other.name} ({other.id}) is called"
                step = f"give it another name, or the id {other.id} to put it in its place"
                yield toml.fault((key,), message, found=name, next_step=step)

    def _take_sources(self, toml: TomlFile) -> list[Problem]:
        """Take over the file's own references."""
        table = toml.data.get("sources", {})
        if not isinstance(table, dict):
            message, found = f"this cannot be {kind_of(table)}", as_typed(table)
            accepted = "sections [sources.ID], each with title, publisher and kind"
            return [toml.fault(("sources",), message, found=found, accepted=accepted)]
        problems: list[Problem] = []
        for name, data in table.items():
            key = ("sources", name)
            source, faults = _checked(Source, data, toml, below=key)
            problems += faults
            if source is None:
                # What rests on it is not told as well.
                source = Source(title=name, publisher="", kind="own")
            if self.sources.setdefault(name, source) != source:
                message = "there is another source of this id already"
                problems.append(toml.fault(key, message, next_step="give it another id"))
        return problems

    def problems(self) -> list[Problem]:
        """What is wrong with each file, and what it points at and is not there, in file order."""
        whole = self.shipped.model_copy(update={"pests": self.pests, "sources": self.sources})
        found: list[Problem] = []
        for toml, faults in self.files:
            told = [
                _unresolved(reference, toml)
                for reference in written_references(_without_sources(toml), whole)
                if not reference.resolves
                and not (reference.what == "pest" and reference.id in self.broken)
            ]
            found += in_file_order([*faults, *fold_repeats(told)])
        return found


def _shared(name: str, replaced: Pest | None) -> bool:
    """Whether the pest that is replaced bears the name already, and shares it."""
    return replaced is not None and singular(name) in map(singular, names_of(replaced))


def _without_sources(toml: TomlFile) -> dict[str, Any]:
    return {key: value for key, value in toml.data.items() if key != "sources"}


def _names(data: Mapping[str, Any]) -> set[str]:
    """Everything a pest may be called by its file, as far as that can be read."""
    one = [data.get(key) for key in ("id", "name", "short")]
    several = [data.get(key) for key in ("also", "scientific")]
    found = one + [name for names in several if isinstance(names, list) for name in names]
    return {name for name in found if isinstance(name, str)}


def _checked(
    model: type[Model], data: Any, toml: TomlFile, *, below: KeyPath = ()
) -> tuple[Model | None, list[Problem]]:
    """Hold a section against its model."""
    try:
        return model.model_validate(tuples(data)), []
    except ValidationError as error:
        accepted = accepted_text(model)
        return None, complaints(error, toml, accepted=accepted, below=below)
    except RecursionError:
        return None, [Problem(toml.label, "sections are nested too deeply")]


def _unresolved(reference: Reference, toml: TomlFile) -> Problem:
    key = tuple(int(part) if part.isdigit() else part for part in reference.key)
    step = _meant(reference.id, {known.casefold(): known for known in reference.known})
    if step is None and reference.what == "source":
        step = "describe it in a section [sources.ID] of this file"
    if reference.what == "region" and reference.id == YOURS:
        step = f"put your own thresholds in {SETTINGS_FILE}, under [[thresholds]]"
    message, accepted = f"there is no such {reference.what}", _named(reference.known)
    return toml.fault(key, message, found=reference.id, accepted=accepted, next_step=step)


def _unknown_pests(toml: TomlFile, found: _Merged) -> tuple[Problem, ...]:
    """Thresholds of pests that are not there, also where other settings are wrong."""
    names = {
        name.casefold(): pest.id
        for pest in found.pests.values()
        for name in (pest.id, pest.name, pest.short, *pest.also, *pest.scientific)
    }
    written = toml.data.get("thresholds")
    asked = [
        (i, threshold["pest"])
        for i, threshold in enumerate(written if isinstance(written, list) else [])
        if isinstance(threshold, dict) and isinstance(threshold.get("pest"), str)
    ]
    return fold_repeats(
        toml.fault(
            ("thresholds", i, "pest"),
            "there is no such pest",
            found=pest,
            accepted=_named(found.pests),
            next_step=_meant(pest, names),
        )
        for i, pest in asked
        if pest not in found.pests and pest not in found.broken
    )


def _named(known: Collection[str]) -> str | None:
    """The ids there are, where a person can read them all."""
    return ", ".join(sorted(known)) if len(known) <= MOST_NAMED else None


def _meant(typed: str, names: Mapping[str, str]) -> str | None:
    """Ask for the id that was probably meant; ``names`` maps what may be written to ids."""
    close = difflib.get_close_matches(typed.casefold(), names, n=1, cutoff=0.6)
    return f"did you mean {names[close[0]]}?" if close else None


def _with_thresholds(
    knowledge: Knowledge, own: tuple[OwnThreshold, ...], names: PestNames
) -> Knowledge:
    """Own thresholds before the published ones of each pest."""
    pests = dict(knowledge.pests)
    yours: dict[str, list[Threshold]] = defaultdict(list)
    for one in own:
        yours[one.pest].append(threshold_with_keys(one.as_threshold(), names))
    for pest_id in yours.keys() & pests.keys():
        pest = pests[pest_id]
        both = (*yours[pest_id], *pest.thresholds)
        pests[pest_id] = pest.model_copy(update={"thresholds": both})
    return knowledge.model_copy(update={"pests": pests})


def _at_prices(knowledge: Knowledge, money: MoneySettings) -> Knowledge:
    """Thresholds that a source gives by price and cost, at the season's where it has both."""
    if money.bean_price is None or money.control_cost is None:
        return knowledge
    prices = SeasonPrices(money.bean_price, money.control_cost)
    pests = dict(knowledge.pests)
    for pest in knowledge.pests.values():
        told = tuple(one.priced(prices) for one in pest.thresholds)
        if any(one.by_price for one in told):
            pests[pest.id] = pest.model_copy(update={"thresholds": told})
    return knowledge.model_copy(update={"pests": pests})
