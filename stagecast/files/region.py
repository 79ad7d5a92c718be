"""The summary of a region as CSV."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from stagecast.files.season import to_csv
from stagecast.region.summary import WHOLE, RegionSummary, StageShares

COLUMNS = ("group", "stage", "date", "share_early", "share", "share_late", "area", "area_unit")
_DIGITS = 4


def summary_csv(summary: RegionSummary) -> str:
    """A row for each group, stage and week in which something changes; ``all`` is the region."""
    rows = (row for one in summary.shares for row in _rows(one, summary))
    return to_csv(rows, COLUMNS)


def _rows(one: StageShares, summary: RegionSummary) -> Iterator[dict[str, Any]]:
    """From the week before the first field comes to the one by which the last has."""
    come = np.flatnonzero(one.early > 0.0)
    if not come.size:
        return
    done = np.flatnonzero(one.late >= one.late[-1])
    for week in range(max(int(come[0]) - 1, 0), max(int(done[0]), int(come[0])) + 1):
        yield {
            "group": one.group if one.group != WHOLE else "all",
            "stage": one.stage,
            "date": summary.dates[week].isoformat(),
            "share_early": round(float(one.early[week]), _DIGITS),
            "share": round(float(one.middle[week]), _DIGITS),
            "share_late": round(float(one.late[week]), _DIGITS),
            "area": round(one.area, 1),
            "area_unit": "ha" if summary.in_hectares else "fields",
        }
