"""A part of a region and its file: what is sent to whoever does it, and what is known of it."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from stagecast.base.savefile import save_file
from stagecast.region.fields import KEPT
from stagecast.region.numbers import IntArray
from stagecast.region.part import RegionAsked, forecast_part
from stagecast.region.weather import RegionWeather

_KEY, _WITHOUT = b"stagecast.part", b"stagecast.without_weather"
_ALL_DIFFERENT = ("field_id", "latitude", "longitude")  # a list of them would be as long


@dataclass(frozen=True, slots=True, eq=False)
class FieldsPart:
    """Some cells of a region, their fields as Arrow writes a table, and where their file goes."""

    path: Path
    key: str
    fields: bytes
    cells: tuple[str, ...]
    starts: IntArray


def key_of(path: Path) -> str | None:
    """The content a part's file was made from; None where there is none that can be read."""
    found = _metadata(path).get(_KEY)
    return None if found is None else found.decode()


def without_weather(path: Path) -> list[str]:
    """Cells of a part of which no past season is whole."""
    found: list[str] = json.loads(_metadata(path).get(_WITHOUT, b"[]"))
    return found


def _metadata(path: Path) -> dict[bytes, bytes]:
    try:
        return dict(pq.read_metadata(path).metadata or {})
    except (OSError, pa.ArrowException):
        return {}


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
