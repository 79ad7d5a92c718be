"""A consultant's own pests and thresholds, laid over those that ship with stagecast.

Own pests are files ``pests/NAME.toml`` of the season folder, in the shape of those in
``knowledge/pests``; a file may bring its own ``[sources.ID]``. Own thresholds are the
``[[thresholds]]`` of season.toml.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from stagecast.errors import Problem
from stagecast.knowledge import Knowledge
from stagecast.knowledge.loader import tuples
from stagecast.knowledge.models import Source
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.references import YOURS, Reference, references
from stagecast.season.complaints import complaints, dotted, in_file_order
from stagecast.season.model_text import accepted_text
from stagecast.season.settings import SETTINGS_FILE, OwnThreshold, SettingsFile
from stagecast.season.tomlfile import KeyPath, TomlFile, read_toml
from stagecast.season.tomlvalues import as_typed, kind_of

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
    knowledge : Knowledge
        Own pests replace shipped ones of the same id, others come after them; own thresholds
        stand before the published ones of their pest, with the region ``yours``.
    problems : tuple of Problem
        In file order, doubts among them; where there are errors the knowledge is not whole.
    """

    knowledge: Knowledge
    problems: tuple[Problem, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing was wrong."""
        return all(problem.doubtful for problem in self.problems)


def read_own_knowledge(
    folder: Path, *, settings: SettingsFile, knowledge: Knowledge
) -> OwnKnowledge:
    """Read a folder's own pests and thresholds; never raises for bad content.

    Parameters
    ----------
    folder : Path
        The season folder.
    settings : SettingsFile
        Its season.toml, for the thresholds.
    knowledge : Knowledge
        What ships with stagecast.
    """
    found = _Merged(knowledge)
    paths, problems = _pest_files(folder / PESTS_FOLDER)
    for path in paths:
        problems += found.read(path)
    problems += found.unresolved()
    whole = knowledge.model_copy(update={"pests": found.pests, "sources": found.sources})
    own = settings.settings.thresholds if settings.settings is not None else ()
    problems += _unknown_pests(own, settings.toml, found)
    return OwnKnowledge(_with_thresholds(whole, own), tuple(problems))


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
    files: dict[str, tuple[str, TomlFile]] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.pests = dict(self.shipped.pests)
        yours = Source(title="Your own, in season.toml", publisher="you", kind="own")
        self.sources = {**self.shipped.sources, YOURS: yours}

    def read(self, path: Path) -> tuple[Problem, ...]:
        """Lay one file over the rest; all its problems, in file order."""
        label = f"{PESTS_FOLDER}/{path.name}"
        toml = read_toml(path, label=label, missing_step="put it back, or try again")
        if toml.problem is not None:
            self.broken.add(path.stem)
            return (toml.problem,)
        data = {key: value for key, value in toml.data.items() if key != "sources"}
        problems = self._take_sources(toml, label)
        pest, faults = _checked(Pest, data, toml, label)
        if pest is None:
            self.broken |= {path.stem, str(data.get("id"))}
            return in_file_order(problems + faults)
        return in_file_order([*problems, *self._take(pest, toml, label)])

    def _take(self, pest: Pest, toml: TomlFile, label: str) -> list[Problem]:
        line = toml.line_of(("id",))
        if pest.id in self.files:
            other, _ = self.files[pest.id]
            message = f"{other} is a pest of this id already"
            step = "give it another id, or keep one of the two files"
            return [Problem(label, message, line, "id", pest.id, next_step=step)]
        self.files[pest.id] = (label, toml)
        replaced = self.shipped.pests.get(pest.id)
        self.pests[pest.id] = pest
        if replaced is None:
            return []
        message = f"this takes the place of {replaced.name} as it ships with stagecast"
        step = "give it another id to have both"
        return [Problem(label, message, line, "id", pest.id, next_step=step, doubtful=True)]

    def _take_sources(self, toml: TomlFile, label: str) -> list[Problem]:
        """Take over the file's own references."""
        table = toml.data.get("sources", {})
        if not isinstance(table, dict):
            message, line = f"this cannot be {kind_of(table)}", toml.line_of(("sources",))
            accepted = "sections [sources.ID], each with title, publisher and kind"
            return [Problem(label, message, line, "sources", as_typed(table), accepted)]
        problems: list[Problem] = []
        for name, data in table.items():
            key = ("sources", name)
            source, faults = _checked(Source, data, toml, label, below=key)
            problems += faults
            if source is None:
                # What rests on it is not told as well.
                source = Source(title=name, publisher="", kind="own")
            if self.sources.setdefault(name, source) != source:
                message = "there is another source of this id already"
                place = toml.line_of(key)
                step = "give it another id"
                problems.append(Problem(label, message, place, dotted(key), next_step=step))
        return problems

    def unresolved(self) -> list[Problem]:
        """What the own files point at and is not there."""
        whole = self.shipped.model_copy(update={"pests": self.pests, "sources": self.sources})
        return [
            problem
            for pest_id, (label, toml) in self.files.items()
            for problem in in_file_order(
                [
                    _unresolved(reference, toml, label)
                    for reference in references(self.pests[pest_id], whole)
                    if not reference.resolves
                    and not (reference.what == "pest" and reference.id in self.broken)
                ]
            )
        ]


def _checked(
    model: type[Model], data: Any, toml: TomlFile, label: str, *, below: KeyPath = ()
) -> tuple[Model | None, list[Problem]]:
    """Hold a section against its model."""
    try:
        return model.model_validate(tuples(data)), []
    except ValidationError as error:
        accepted = accepted_text(model)
        return None, complaints(error, toml, label=label, accepted=accepted, below=below)
    except RecursionError:
        return None, [Problem(label, "sections are nested too deeply")]


def _unresolved(reference: Reference, toml: TomlFile, label: str) -> Problem:
    key = tuple(part for part in reference.key if not part.isdigit())
    step = _meant(reference.id, {known.casefold(): known for known in reference.known})
    if step is None and reference.what == "source":
        step = "describe it in a section [sources.ID] of this file"
    return Problem(
        label,
        f"there is no such {reference.what}",
        toml.line_of(reference.key),
        dotted(key),
        reference.id,
        _named(reference.known),
        step,
    )


def _unknown_pests(
    own: tuple[OwnThreshold, ...], toml: TomlFile, found: _Merged
) -> list[Problem]:
    names = {
        name.casefold(): pest.id
        for pest in found.pests.values()
        for name in (pest.id, pest.name, pest.short, *pest.also, *pest.scientific)
    }
    return [
        Problem(
            SETTINGS_FILE,
            "there is no such pest",
            toml.line_of(("thresholds", str(i), "pest")),
            "thresholds.pest",
            threshold.pest,
            _named(found.pests),
            _meant(threshold.pest, names),
        )
        for i, threshold in enumerate(own)
        if threshold.pest not in found.pests and threshold.pest not in found.broken
    ]


def _named(known: Collection[str]) -> str | None:
    """The ids there are, where a person can read them all."""
    return ", ".join(sorted(known)) if len(known) <= MOST_NAMED else None


def _meant(typed: str, names: Mapping[str, str]) -> str | None:
    """Ask for the id that was probably meant; ``names`` maps what may be written to ids."""
    close = difflib.get_close_matches(typed.casefold(), names, n=1, cutoff=0.6)
    return f"did you mean {names[close[0]]}?" if close else None


def _with_thresholds(knowledge: Knowledge, own: tuple[OwnThreshold, ...]) -> Knowledge:
    """Own thresholds before the published ones of each pest."""
    pests = dict(knowledge.pests)
    for pest_id, pest in knowledge.pests.items():
        yours = tuple(one.as_threshold() for one in own if one.pest == pest_id)
        if yours:
            pests[pest_id] = pest.model_copy(update={"thresholds": (*yours, *pest.thresholds)})
    return knowledge.model_copy(update={"pests": pests})
