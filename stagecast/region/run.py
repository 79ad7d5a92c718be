"""A whole region: parts that are not there yet are forecast, on this computer or a cluster.

A part is known by its content: its fields, the bytes of its cells' temperatures, what was asked,
what is known and how it is computed. A part whose file carries that key is never done twice; any
other is written beside its place and renamed. So a run that ends anywhere, and is started again,
does what is missing and nothing else, and ends in the same bytes.
"""

from __future__ import annotations

import io
import json
import logging
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
from stagecast.base.savefile import save_file
from stagecast.base.unfinished import sweep
from stagecast.region.fields import KEPT, RegionFields
from stagecast.region.numbers import IntArray
from stagecast.region.part import RegionAsked, forecast_part
from stagecast.region.weather import RegionWeather

LARGEST_PART = 10_000
"""Fields in a file, unless one cell has more; the same for any number of workers."""

PARTS, MANIFEST = "fields", "region.json"
"""In the folder of results: the folder of all parts, one table; and what says all are there."""
_OURS = (MANIFEST, PARTS, "summary.*", ".stagecast-*")
_PART, _HALF = "part-*.parquet", ".stagecast-*"
_KEY, _WITHOUT = b"stagecast.part", b"stagecast.without_weather"
_CODE = ("base", "knowledge", "phenology", "pests", "region", "weather")
_ALL_DIFFERENT = ("field_id", "latitude", "longitude")  # a list of them would be as long
_LIBRARIES = ("numba", "numpy", "pyarrow")
_MALLOC = {"MALLOC_TRIM_THRESHOLD_": 1 << 28, "MALLOC_MMAP_THRESHOLD_": 1 << 25}
_PATIENCE_S = 10  # for a scheduler to answer
_AHEAD = 2  # parts that wait at each worker
_FAILURES = 10  # workers that may end with the same part, before it is held to be at fault

Told = Callable[[int, int], None]
"""Is told how many fields are done in this run, and how many there are to do."""


@dataclass(frozen=True, slots=True, eq=False)
class FieldsPart:
    """Some cells of a region, their fields as Arrow writes a table, and where their file goes."""

    path: Path
    key: str
    fields: bytes
    cells: tuple[str, ...]
    starts: IntArray


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
    workers: int = 1,
    scheduler: str | None = None,
    told: Told = lambda done, of: None,
) -> RegionRun:
    """Forecast every field and write the parts of a folder.

    Parameters
    ----------
    workers : int
        Processes on this computer; with one, it is this one. Not used with ``scheduler``.
    scheduler : str, optional
        Address of a Dask scheduler; its workers have to see the same files.

    Raises
    ------
    SeasonProblems
        A cell has no weather.
    StoreError
        The folder holds something else, or cannot be written.
    """
    _check_cells(fields, weather)
    _own_folder(folder)
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
    for count in _forecast(missing, weather, asked, workers, scheduler, len(todo)):
        done += count
        told(done, total)
    for path in stale:
        path.unlink()
    without = tuple(cell for name in files for cell in _without(parts / name))
    _write_manifest(folder, files, rows, asked, without)
    return RegionRun(folder, fields.count, len(files), len(files) - len(todo), without)


def key_of(path: Path) -> str | None:
    """The content a part's file was made from; None where there is none that can be read."""
    found = _metadata(path).get(_KEY)
    return None if found is None else found.decode()


def _without(path: Path) -> list[str]:
    found: list[str] = json.loads(_metadata(path).get(_WITHOUT, b"[]"))
    return found


def _metadata(path: Path) -> dict[bytes, bytes]:
    try:
        return dict(pq.read_metadata(path).metadata or {})
    except (OSError, pa.ArrowException):
        return {}


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


def do_part(part: FieldsPart, weather: RegionWeather, asked: RegionAsked) -> int:
    """Forecast a part and write its file; how many fields it has.

    One that is there already was written by a worker that ended before it could say so.
    """
    if key_of(part.path) == part.key:
        return int(part.starts[-1])
    fields = pa.ipc.open_stream(part.fields).read_all()
    found = forecast_part(fields, part.cells, part.starts, weather, asked)
    told = {_KEY: part.key.encode(), _WITHOUT: json.dumps(found.without_weather).encode()}
    table = found.table.replace_schema_metadata(told)
    data = io.BytesIO()
    rows = table.num_rows or 1
    pq.write_table(
        table,
        data,
        compression="zstd",
        compression_level=1,
        row_group_size=rows,
        use_dictionary=[name for name in table.column_names if name not in _ALL_DIFFERENT],
        write_statistics=[name for name in KEPT if name in table.column_names],
    )
    save_file(part.path, data.getvalue(), is_ours=lambda head: head[:4] == b"PAR1")
    return int(table.num_rows)


# --- workers --------------------------------------------------------------------------------------


def _forecast(
    parts: Iterator[FieldsPart],
    weather: RegionWeather,
    asked: RegionAsked,
    workers: int,
    scheduler: str | None,
    count: int,
) -> Iterator[int]:
    if scheduler is None and (workers == 1 or count <= 1):
        for part in parts:
            yield do_part(part, weather, asked)
        return
    with _client(scheduler, min(workers, count)) as client:
        yield from _on_cluster(client, parts, weather, asked)


def _on_cluster(
    client: Any, parts: Iterator[FieldsPart], weather: RegionWeather, asked: RegionAsked
) -> Iterator[int]:
    """A few parts at each worker at a time, so that no more wait in memory."""
    from distributed import as_completed

    sent = as_completed()
    waiting = max(_AHEAD * len(client.scheduler_info()["workers"]), _AHEAD)

    def send() -> bool:
        part = next(parts, None)
        if part is not None:
            # Whole, not shared among workers: the last that has what is shared may be killed.
            sent.add(client.submit(do_part, part, weather, asked, pure=False))
        return part is not None

    left = sum(send() for _ in range(waiting))
    while left:
        future = next(sent)
        yield future.result()
        future.release()
        left += send() - 1


@contextmanager
def _client(scheduler: str | None, workers: int) -> Iterator[Any]:
    import dask
    from distributed import Client, LocalCluster

    if scheduler is not None:
        try:
            with Client(scheduler, timeout=_PATIENCE_S) as client:
                yield client
        except (OSError, TimeoutError) as error:
            message, step = "no scheduler answers there", "start one, or leave the option out"
            raise SeasonProblems.of(
                "--scheduler", message, found=scheduler, next_step=step
            ) from error
        return
    # Given back to the system page by page, memory costs half as much again of processor time.
    kept: dict[str, object] = {
        f"distributed.nanny.pre-spawn-environ.{name}": str(n) for name, n in _MALLOC.items()
    }
    kept["distributed.scheduler.allowed-failures"] = _FAILURES
    with (
        dask.config.set(kept),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            dashboard_address="127.0.0.1:0",
            memory_limit=0,
            silence_logs=logging.ERROR,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


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
        for room in (folder, parts):  # what a run that was killed as it wrote left there
            sweep(room)
            for left in filter(Path.is_file, room.glob(_HALF)):
                left.unlink()
    except OSError as error:
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
