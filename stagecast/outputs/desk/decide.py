"""Fields that wait for a decision: above a threshold by their counts, and not treated since."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from stagecast.outputs.desk.links import link
from stagecast.outputs.frame import name_of
from stagecast.scouting.week_types import Above


@dataclass(frozen=True, slots=True)
class Decision:
    """A field to decide on, and what was counted there."""

    field_id: str
    name: str
    found: tuple[str, ...]

    @property
    def href(self) -> str:
        """The page of the field."""
        return link("field", field=self.field_id)

    @property
    def treat(self) -> str:
        """The form of a treatment."""
        return link("treatment", field=self.field_id)


def decisions(above: Iterable[Above], *, only: str = "") -> list[Decision]:
    """The fields above a threshold, each once; of one field alone where it is named."""
    found: dict[str, list[Above]] = {}
    for one in above:
        found.setdefault(one.plan.field_id, []).append(one)
    return [
        Decision(field_id, name_of(pests[0].plan), tuple(f"{p.name} {p.found}" for p in pests))
        for field_id, pests in found.items()
        if only in ("", field_id)
    ]
