"""Hold every row of the handbook's pest tables against the product, and print what is missing.

``python tests/helpers/handbook_rows.py [FOLDER] [--all]`` reads ``pests.csv`` and
``pests_states.csv`` of a folder, by default the one beside this checkout; ``--all`` also prints
where each row was found. It exits with 1 where a row is neither there nor left out for a reason
given below.

A row with a number is there when a threshold of its region, pest, value and unit is, or a replaced
figure or a remark of the region that names the number. Any other row with a state needs something
said of the pest in that state: an end, a return, an arrival, a stop, a replaced figure or a remark.
"""

from __future__ import annotations

import csv
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.threshold import SeasonPrices, Threshold
from stagecast.season.settings.pest_names import PestNames

HANDBOOK = Path(__file__).parents[3] / "shared" / "handbook"
TABLES = ("pests_states.csv", "pests.csv")

GROUPED = {
    "all insect pests": (),
    "caterpillar complex": ("corn-earworm", "leaf-feeders"),
    "defoliator complex": ("leaf-feeders",),
    "foliage-feeding caterpillars": ("leaf-feeders", "soybean-looper", "velvetbean-caterpillar"),
    "pod feeders (any)": ("corn-earworm", "bean-leaf-beetle", "grasshoppers", "leaf-feeders"),
    "pod feeders (grasshopper or bean leaf beetle)": ("bean-leaf-beetle", "grasshoppers"),
    "stink bug complex": ("stink-bugs", "green-stink-bug", "brown-stink-bug"),
    "stink bug complex (native)": ("stink-bugs", "green-stink-bug", "brown-stink-bug"),
}
"""Names of the tables that are no one pest here, and the files that may carry their rows."""

PLACES = {"Midwest": ("US",), "mid-South": ("MS", "AR"), "SE": ("US",)}
"""Names of the tables that are no code, and what stands for them."""

LEFT_OUT: dict[tuple[str, str, str, str], str] = {
    ("stink bug complex", "Brazil", "R3", "2 / 1"): "no region of this product",
    ("defoliator complex", "Brazil", "V1", "30 / 15"): "no region of this product",
    ("corn earworm", "NC", "R1-14d", "15"): "a rule of leaf loss, with the leaf feeders",
    ("soybean aphid", "Midwest", "R1", "273"): "from memory; 250 holds",
    ("soybean aphid", "Midwest", "R1", "452"): "an injury level, no threshold; 250 holds",
    **{
        ("potato leafhopper", "US", stage, value): "injury levels, not thresholds"
        for stage, value in (
            ("V1", "1.4-3.6"),
            ("V2", "3.0-7.8"),
            ("V3", "4.7-12.2"),
            ("V4", "6.5-16.7"),
        )
    },
    **{
        ("green cloverworm", "IA", "", value): "injury levels in theory, no treatment rule"
        for value in ("5.9", "18.3", "33.5", "28.7", "40.5")
    },
}
"""Pest, region, first stage and threshold (else the first 40 letters of the event): why not."""

_NUMBER = re.compile(r"^[<>]?\s*(\d+(?:\.\d+)?)(?:\s*-\s*(\d+(?:\.\d+)?))?$")
_PRICES = re.compile(r"\$(\d+(?:\.\d+)?)/bu, \$(\d+(?:\.\d+)?)/ac control")
_UNITS = (
    (r"defoliation|leaf damage|percent|yellowing|discoloured", "percent"),
    (r"per (?:(?P<many>\w+)[ -])?sweeps?", "sweeps"),
    (r"per (?:(?P<many>\w+) )?(?:row[- ]f(?:oo|ee)t|f(?:oo|ee)t of row)|30 cm", "row-feet"),
    (r"row-m|per m\b", "row-metres"),
    (r"square yard|nymphs in edge", "square-yards"),
    (r"per leaflet", "leaflets"),
    (r"per (?P<many>\d+) min", "minutes"),
    (r"rating", "rating"),
    (r"per (?:v1 )?(?:plant|seedling)", "plants"),
)
_WORDS = {"three": 3.0, "row": 1.0, "foot": 1.0}


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table, as it is written."""

    table: str
    line: int
    cells: dict[str, str]

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What names the row in the list of those left out."""
        c = self.cells
        return c["pest"], c["region"], c["host_stage_from"], c["threshold"] or c[EVENT][:40]

    def __str__(self) -> str:
        c = self.cells
        value = f"{c['threshold']} {c['threshold_unit']}".strip() or c[EVENT]
        stages = f"{c['host_stage_from']}-{c['host_stage_to']}"
        return f"{self.table}:{self.line} {c['pest']}, {c['region']}, {stages}: {value[:100]}"


EVENT = "life_stage_or_event"


def rows_of(folder: Path) -> list[Row]:
    """All rows of the tables that name a region."""
    found = []
    for table in TABLES:
        with (folder / table).open(encoding="utf-8", newline="") as stream:
            for line, cells in enumerate(csv.DictReader(stream), start=2):
                found.append(Row(table, line, cells))
    return found


def where(row: Row, knowledge: Knowledge, names: PestNames) -> str | None:
    """Where the product holds a row; None where it does not."""
    c = row.cells
    number = _NUMBER.match(c["threshold"])
    if row.table == "pests.csv" and number is None:
        # Heat and presence of the older table are held by the tests of the library.
        return "held by the tests of the library"
    regions = [code for name in c["region"].split("/") for code in _codes(name, knowledge)]
    if not regions:
        return None
    if c["pest"] == "all insect pests":
        found = [_of_all(region, knowledge) for region in regions]
    else:
        pests = _pests(c["pest"], knowledge, names)
        find = _spoken if number is None else _numbered
        found = [find(row, pests, region) for region in regions]
    return None if None in found else "; ".join(filter(None, found))


def _codes(name: str, knowledge: Knowledge) -> tuple[str, ...]:
    bare = re.sub(r"\s*\(.*", "", name.strip())
    if bare in PLACES:
        return PLACES[bare]
    return (bare,) if bare in knowledge.regions or bare in knowledge.areas else ()


def _pests(name: str, knowledge: Knowledge, names: PestNames) -> list[Pest]:
    if name in GROUPED:
        ids = [one for one in GROUPED[name] if one in knowledge.pests]
    else:
        ids = list(names.find(name))
    return [knowledge.pests[one] for one in ids]


def _of_all(region: str, knowledge: Knowledge) -> str | None:
    """A stop of the region, or anything said there that is no threshold."""
    if any(stop.region == region for stop in knowledge.stops):
        return f"stops.toml, {region}"
    return next(filter(None, (_said(p, region) for p in knowledge.pests.values())), None)


def _spoken(row: Row, pests: list[Pest], region: str) -> str | None:
    return next(filter(None, (_said(pest, region) for pest in pests)), None)


def _said(pest: Pest, region: str) -> str | None:
    for kind in ("ends", "returns", "arrivals", "replaced"):
        if any(one.region == region for one in getattr(pest, kind)):
            return f"{pest.id}, {kind}, {region}"
    if any(region in one.regions for one in pest.remarks):
        return f"{pest.id}, remarks, {region}"
    return None


def _numbered(row: Row, pests: list[Pest], region: str) -> str | None:
    found = _NUMBER.match(row.cells["threshold"])
    assert found is not None
    low = float(found[1])
    high = None if found[2] is None else float(found[2])
    unit, per = _unit(row.cells["threshold_unit"])
    prices = _PRICES.search(row.cells["sampling_unit"])
    for pest in pests:
        for one in pest.thresholds:
            told = one
            if prices and one.by_price is not None:
                told = one.priced(SeasonPrices(float(prices[1]), float(prices[2])))
            same = told.region == region and _same(told, low, high, unit, per)
            if same:
                return f"{pest.id}, thresholds, {region}"
        texts = [one.said for one in pest.replaced if one.region == region]
        texts += [one.text for one in pest.remarks if region in one.regions]
        numbers = [set(re.findall(r"\d+(?:\.\d+)?", text.replace(",", ""))) for text in texts]
        wanted = {found[1].rstrip(), *filter(None, [found[2]])}
        if any(wanted <= each for each in numbers):
            return f"{pest.id}, in words, {region}"
    return None


def _unit(text: str) -> tuple[str, float]:
    """The unit and of how many of it, as a table writes them."""
    found = [(m.start(), unit, m) for p, unit in _UNITS if (m := re.search(p, text.lower()))]
    if not found:
        return "", 1.0
    _, unit, match = min(found, key=lambda one: one[0])
    many = match.groupdict().get("many")
    if many is None:
        return unit, 1.0
    return unit, _WORDS[many] if many in _WORDS else float(many)


def _same(one: Threshold, low: float, high: float | None, unit: str, per: float) -> bool:
    values = (one.value, one.high) == (low, high)
    return values and one.unit == unit and (unit == "percent" or one.per == per)


def missing(folder: Path, *, tell: bool = False) -> Iterator[str]:
    """Rows that are neither in the product nor left out for a reason."""
    knowledge = load()
    names = PestNames.of(knowledge.pests)
    for row in rows_of(folder):
        found = where(row, knowledge, names)
        if found is None and row.key not in LEFT_OUT:
            yield str(row)
        elif tell:
            print(f"{row}  ->  {found or 'left out: ' + LEFT_OUT[row.key]}")


def main(arguments: list[str]) -> int:
    """Print what is missing; 1 where anything is."""
    folders = [Path(one) for one in arguments if not one.startswith("--")]
    folder = folders[0] if folders else HANDBOOK
    lost = list(missing(folder, tell="--all" in arguments))
    for one in lost:
        print(f"missing: {one}")
    print(
        f"{len(rows_of(folder))} rows, {len(lost)} missing, {len(LEFT_OUT)} left out with a reason"
    )
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
