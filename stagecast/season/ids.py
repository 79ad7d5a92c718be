"""The names of fields: each different, and nothing in them that an eye cannot see."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field

from stagecast.knowledge.texts import unseen_character
from stagecast.season.cells import RowCells


@dataclass(slots=True)
class FieldIds:
    """The ids met so far in fields.csv.

    Attributes
    ----------
    longest : int
        Longest id accepted, in characters.
    lines : dict
        Every id, also one that was refused -> the first line it stands on.
    """

    longest: int
    lines: dict[str, int] = field(default_factory=dict)
    _alike: dict[str, int] = field(default_factory=dict)

    def check(self, row: RowCells) -> None:
        """Check the field_id and remember its line; a good one is named in the row's problems."""
        accepted = (
            f"a short name of your own, up to {self.longest} characters, different in every row"
        )
        field_id = row.required("field_id", accepted=accepted)
        if field_id is None:
            return
        unseen = unseen_character(field_id)
        if unseen is not None:
            what = f"a line break or invisible character (U+{ord(unseen):04X})"
            row.fault("field_id", f"{what} stands in this name", accepted=accepted)
        elif len(field_id) > self.longest:
            row.fault("field_id", f"this name has {len(field_id)} characters", accepted=accepted)
        elif field_id in self.lines:
            first = self.lines[field_id]
            message = f"the same field_id stands on line {first} and line {row.line}"
            row.fault("field_id", message, accepted=accepted)
        else:
            row.field_id = field_id
            self._doubt_alike(row, field_id)
        self.lines.setdefault(field_id, row.line)

    def _doubt_alike(self, row: RowCells, field_id: str) -> None:
        """Doubt an id that reads like another one."""
        read = "".join(unicodedata.normalize("NFKC", field_id).casefold().split())
        first = self._alike.setdefault(read, row.line)
        if first != row.line:
            message = f"reads like the field_id on line {first}: the same field twice?"
            row.fault("field_id", message, doubtful=True)
