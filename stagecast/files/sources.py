"""The document of every value of ``knowledge/``, and of the sources behind them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stagecast.files.season import keys_of
from stagecast.knowledge import Knowledge
from stagecast.words.sources import SourceRow, cited, tag_counts

COLUMNS = ("place", "kind", "value", "unit", "source", "tag", "note")


def sources_document(rows: Sequence[SourceRow], knowledge: Knowledge) -> dict[str, Any]:
    """Every value, the sources they name, and how many values have each tag."""
    return {
        "values": [keys_of(row, *COLUMNS) for row in rows],
        "sources": [
            {"id": name, **keys_of(source, "title", "publisher", "year")}
            for name, source in knowledge.sources.items()
            if name in cited(rows)
        ],
        "counts": tag_counts(rows),
    }
