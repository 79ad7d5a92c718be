"""A number that says where it comes from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, field_validator

from stagecast.knowledge.texts import checked_text

Tag = Literal["READ", "CITED", "MEMORY", "FITTED", "COMPUTED", "PRACTICE", "OWN"]
"""How far a value can be trusted.

READ: seen in the source's own text. CITED: seen in a text that names the source.
MEMORY: recalled, unverified. FITTED: fitted to observations. COMPUTED: worked out from others.
PRACTICE: common practice, no source. OWN: our own choice, open to change.
"""

UNVERIFIED: frozenset[str] = frozenset({"MEMORY"})
"""Tags that must be shown to a person as unverified."""


class Strict(BaseModel):
    """Base of all knowledge models: frozen, an unknown key is an error, texts can be seen."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, defer_build=True)

    @field_validator("*")
    @classmethod
    def _can_be_seen(cls, value: object) -> object:
        for text in value if isinstance(value, tuple) else (value,):
            if isinstance(text, str):
                checked_text(text)
        return value


class Provenance(Strict):
    """Where a value is from.

    Attributes
    ----------
    source: an id in ``sources.toml``.
    tag: how the value was come by.
    note: what a reader must know to use the value rightly.
    """

    source: str
    tag: Tag
    note: str = ""

    @property
    def unverified(self) -> bool:
        """Whether the value must be shown as unverified."""
        return self.tag in UNVERIFIED


class Statement(Provenance):
    """Something said in words, such as a rule."""

    text: str


BEYOND_REASON = 1e9
"""Larger numbers mean nothing in any unit here, and some cannot be squared."""


def _within_reason(number: float) -> float:
    if abs(number) > BEYOND_REASON:
        raise ValueError("too large a number")
    return number


Number = Annotated[float, Field(allow_inf_nan=False), AfterValidator(_within_reason)]


class Quantity(Provenance):
    """One number with its unit."""

    value: Number
    unit: str

    def __float__(self) -> float:
        return self.value


class Count(Provenance):
    """One whole number with its unit."""

    value: int
    unit: str

    def __int__(self) -> int:
        return self.value


class Series(Provenance):
    """Several numbers of one unit that belong together, such as a table row."""

    values: tuple[Number, ...]
    unit: str
