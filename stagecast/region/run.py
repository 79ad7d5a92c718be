"""A whole region: parts that are not there yet are forecast, on this computer or a cluster.

A part is known by its content: its fields, the bytes of its cells' temperatures, what was asked,
what is known and how it is computed. A part whose file carries that key is never done twice; any
other is written beside its place and renamed. So a run that ends anywhere, and is started again,
does what is missing and nothing else, and ends in the same bytes.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fnmatch import fnmatch
from hashlib import blake2b
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

import stagecast
from stagecast.base.errors import Problem, SeasonProblems, StoreError, fold_repeats
from stagecast.base.lock import held
from stagecast.base.savefile import save_file
from stagecast.base.unfinished import sweep
from stagecast.region.fields import RegionFields
from stagecast.region.part import RegionAsked
from stagecast.region.part_file import FieldsPart, key_of, without_weather
from stagecast.region.weather import RegionWeather
from stagecast.region.workers import ALONE, Cluster, Crew, Processes

LARGEST_PART = 10_000
"""Fields in a file, unless one cell has more; the same for any number of workers."""

PARTS, MANIFEST = "fields", "region.json"
"""In the folder of results: the folder of all parts, one table; and what says all are there."""
_OURS = (MANIFEST, PARTS, "summary.*", ".stagecast-*")
_PART, _HALF = "part-*.parquet", ".stagecast-*"
_RUN = ".stagecast-run"
"""An empty file that a run holds: two that ask for other things would mix their parts."""
_CODE = ("base", "knowledge", "phenology", "pests", "region", "weather")
_LIBRARIES = ("numba", "numpy", "pyarrow")

Told = Callable[[int, int], None]
"""Is told how many fields are done in this run, and how many there are to do."""


@dataclass(frozen=True, slots=True)
class RegionRun:
    """What a run came to.

    ``without_weather`` are cells of which no past season is whole: nothing is forecast there.
    """

    folder: Path
    fields: int
    parts: int
    done_before: int
    without_weather: tuple[str, ...]


def run_region(
    fields: RegionFields,
    weather: RegionWeather,
    folder: Path,
    *,
    asked: RegionAsked,
    crew: Crew = ALONE,
    told: Told = lambda done, of: None,
) -> RegionRun:
    """Forecast every field and write the parts of a folder.

    Parameters
    ----------
    crew : Crew
        Who does the parts: this process, or those of :func:`crew_for`.

    Raises
    ------
    SeasonProblems
        A cell has no weather.
    StoreError
        The folder holds something else, another run is at it, or it cannot be written.
    """
    _check_cells(fields, weather)
    _own_folder(folder)
    with held(folder / _RUN, busy="another run is writing into this folder"):
        _sweep(folder)
        return _run(fields, weather, folder, asked, crew, told)


def _run(
    fields: RegionFields,
    weather: RegionWeather,
    folder: Path,
    asked: RegionAsked,
    crew: Crew,
    told: Told,
) -> RegionRun:
    parts = folder / PARTS
    files = [f"part-{n:05d}.parquet" for n, _ in enumerate(fields.parts(LARGEST_PART))]
    todo = [
        part.path for part in _parts(fields, weather, parts, asked) if key_of(part.path) != part.key
    ]
    stale = set(parts.glob(_PART)) - {parts / name for name in files}
    if todo or stale:
        (folder / MANIFEST).unlink(missing_ok=True)
    waiting = {path.name for path in todo}
    missing = (p for p in _parts(fields, weather, parts, asked) if p.path.name in waiting)
    rows = [int(b - a) for a, b in _rows(fields)]
    total = sum(count for name, count in zip(files, rows, strict=True) if name in waiting)
    done = 0
    told(done, total)
    for count in crew.work(missing, weather, asked):
        done += count
        told(done, total)
    for path in stale:
        path.unlink()
    without = tuple(cell for name in files for cell in without_weather(parts / name))
    _write_manifest(folder, files, rows, asked, without)
    return RegionRun(folder, fields.count, len(files), len(files) - len(todo), without)


# --- parts ----------------------------------------------------------------------------------------


def _rows(fields: RegionFields) -> Iterator[tuple[int, int]]:
    for first, last in fields.parts(LARGEST_PART):
        yield int(fields.starts[first]), int(fields.starts[last])


def _parts(
    fields: RegionFields, weather: RegionWeather, folder: Path, asked: RegionAsked
) -> Iterator[FieldsPart]:
    common = _common(asked)
    for number, (first, last) in enumerate(fields.parts(LARGEST_PART)):
        cells = fields.cells[first:last]
        begin, end = int(fields.starts[first]), int(fields.starts[last])
        table = _as_bytes(fields.table.slice(begin, end - begin))
        starts = fields.starts[first : last + 1] - begin
        digest = blake2b(common, digest_size=16)
        digest.update("\0".join(cells).encode())
        digest.update(starts.tobytes())
        digest.update(table)
        digest.update(weather.content(cells))
        yield FieldsPart(
            folder / f"part-{number:05d}.parquet", digest.hexdigest(), table, cells, starts
        )


def _as_bytes(table: Any) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as stream:
        stream.write_table(table)
    return bytes(sink.getvalue())


def _common(asked: RegionAsked) -> bytes:
    """A digest of what holds for all parts: what is asked, what is known, how it is computed."""
    digest = blake2b(digest_size=16)
    digest.update(repr((asked.as_of, asked.draws, asked.sighted)).encode())
    digest.update(repr([version(name) for name in _LIBRARIES]).encode())
    if asked.own is not None:
        digest.update(asked.own.model_dump_json().encode())
    root = Path(stagecast.__file__).parent
    for room in _CODE:
        for path in sorted((root / room).rglob("*")):
            if path.suffix in (".py", ".toml"):
                digest.update(path.read_bytes())
    return digest.digest()


# --- workers --------------------------------------------------------------------------------------


@contextmanager
def crew_for(fields: Path, *, workers: int, scheduler: str | None = None) -> Iterator[Crew]:
    """Who does the parts of a table of fields.

    Parameters
    ----------
    workers : int
        Processes on this computer, no more than there are parts; they start now, and are ready when
        the tables have been read. With one, it is this one. Not used with ``scheduler``.
    scheduler : str, optional
        Address of a Dask scheduler; its workers have to see the same files.
    """
    if scheduler is not None:
        yield Cluster(scheduler)
        return
    try:
        parts = -(-pq.read_metadata(fields).num_rows // LARGEST_PART)
    except (OSError, pa.ArrowException):
        parts = 0  # whoever reads it says what is wrong
    if min(workers, parts) <= 1:
        yield ALONE
        return
    with Processes(min(workers, parts)) as crew:
        yield crew


def cores() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


# --- the folder -----------------------------------------------------------------------------------


def _check_cells(fields: RegionFields, weather: RegionWeather) -> None:
    known = weather.cells()
    problems = [
        Problem("cell", "there is no weather of this cell", found=cell)
        for cell in fields.cells
        if cell not in known
    ]
    if problems:
        raise SeasonProblems(fold_repeats(problems))


def _own_folder(folder: Path) -> None:
    """Make the folder, or take one up that a run has begun."""
    step = "choose a folder that does not exist yet, or one of an earlier run"
    parts = folder / PARTS
    try:
        parts.mkdir(parents=True, exist_ok=True)
        for place, names in ((folder, _OURS), (parts, (_PART, _HALF))):
            for path in place.iterdir():
                if not any(fnmatch(path.name, name) for name in names):
                    reason = f"something else is there already ({path.name})"
                    raise StoreError(str(place), reason, next_step=step)
    except OSError as error:
        raise StoreError(str(folder), error.strerror or str(error), next_step=step) from error


def _sweep(folder: Path) -> None:
    """Take away what a run that was killed as it wrote left there."""
    try:
        for room in (folder, folder / PARTS):
            sweep(room)
            for left in filter(Path.is_file, room.glob(_HALF)):
                if left.name != _RUN:
                    left.unlink()
    except OSError as error:
        step = "check that the folder may be written to"
        raise StoreError(str(folder), error.strerror or str(error), next_step=step) from error


def _write_manifest(
    folder: Path,
    files: Sequence[str],
    rows: Sequence[int],
    asked: RegionAsked,
    without: Sequence[str],
) -> None:
    """Say that all parts are there, and which; it stands only while they are."""
    document = {
        "kind": "stagecast region",
        "as_of": asked.as_of.isoformat(),
        "season": asked.as_of.year,
        "fields": sum(rows),
        "parts": [{"file": f"{PARTS}/{f}", "fields": n} for f, n in zip(files, rows, strict=True)],
        "without_weather": list(without),
    }
    text = json.dumps(document, indent=1) + "\n"
    save_file(folder / MANIFEST, text.encode(), is_ours=lambda head: head[:1] == b"{")
