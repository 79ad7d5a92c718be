"""What is packed comes back as it was: records, arrays, and what is one and the same."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import pytest

from stagecast.base.packed import packed, unpacked


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """As records of a season are: frozen, with an array and something that grows."""

    times: np.ndarray
    day: dt.date
    known: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Span:
    """A record whose constructor works something out."""

    first: int
    last: int
    days: int = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "days", self.last - self.first + 1)


class Loop:
    """Something that holds itself."""

    def __init__(self) -> None:
        self.me = self


def again(value: object) -> object:
    """What comes back."""
    pieces = packed(value)
    assert pieces is not None
    return unpacked(b"".join(pieces))


def test_records_come_back_with_all_they_held() -> None:
    """A frozen record, and one that works something out, are what they were."""
    course = Course(np.arange(3.0), dt.date(2026, 7, 7), {"R1": 3.5})
    back = again(course)
    assert isinstance(back, Course)
    assert (back.day, back.known) == (course.day, course.known)
    assert back.times.tolist() == [0.0, 1.0, 2.0]
    assert again(Span(3, 9)) == Span(3, 9)


def test_what_is_one_stays_one_and_equals_stay_two() -> None:
    """A record held twice is one record again; two equal ones are two, and may grow apart."""
    one, other = (Course(np.zeros(2), dt.date(2026, 7, 7)) for _ in range(2))
    first, same, second = again([one, one, other])  # type: ignore[misc]
    assert first is same is not second
    first.known["R1"] = 1.0
    assert second.known == {}
    loop = again(Loop())
    assert isinstance(loop, Loop)
    assert loop.me is loop


ARRAYS = {
    "none": np.empty((0, 3)),
    "a number": np.array(2.5),
    "not numbers": np.array([np.nan, np.inf, -0.0]),
    "columns": np.asfortranarray(np.arange(12.0).reshape(3, 4)),
    "a view": np.arange(12.0).reshape(3, 4)[:, 1],
    "backwards": np.arange(5)[::-1],
    "bytes": np.array([1, 2, 3], np.int8),
    "days": np.array(["2026-07-07", "NaT"], "datetime64[D]"),
    "rows": np.array([(1, 2.0)], [("day", "i4"), ("tmin_c", "f8")]),
    "objects": np.array([None, "text"], object),
}


@pytest.mark.parametrize("name", ARRAYS)
def test_an_array_comes_back_to_the_bit(name: str) -> None:
    """Shape, kind, order and every bit are as they were."""
    array = ARRAYS[name]
    back, twin = again([array, array.copy("A")])  # type: ignore[misc]
    for one in (back, twin):
        assert (one.shape, one.dtype, one.flags.fnc) == (array.shape, array.dtype, array.flags.fnc)
        assert one.tolist() == array.tolist() or one.tobytes() == array.tobytes()


def test_equal_arrays_are_written_once_and_none_may_be_changed() -> None:
    """A hundred copies take hardly more room than one; who changes one is told so."""
    copies = [np.arange(1000.0) for _ in range(100)]
    pieces = packed(copies)
    assert pieces is not None
    raw = b"".join(pieces)
    assert len(raw) < 2 * copies[0].nbytes
    back = unpacked(raw)
    assert isinstance(back, list)
    with pytest.raises(ValueError, match="read-only"):
        back[0][0] = 1.0
    # Zeros with another sign are equal, but not the same.
    plus, minus = again([np.array([0.0]), np.array([-0.0])])  # type: ignore[misc]
    assert (np.signbit(plus).tolist(), np.signbit(minus).tolist()) == ([False], [True])


def test_every_array_lies_as_numpy_wants_it() -> None:
    """Arrays of odd sizes before it put no number across a boundary of its size."""
    back = again([np.zeros(size, np.int8) for size in (1, 3, 7)] + [np.arange(5.0)])
    assert isinstance(back, list)
    assert all(one.flags.aligned for one in back)
    assert back[-1].tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize("raw", [b"", b"garbage", b"\0" * 64, b"\xff" * 200])
def test_bytes_that_hold_nothing_are_nothing(raw: bytes) -> None:
    """What is no packed value is None, without an error."""
    assert unpacked(raw) is None


def test_what_cannot_be_kept_is_not_packed() -> None:
    """A function that cannot be found again by its name."""
    assert packed(Course(np.zeros(1), dt.date(2026, 7, 7), {"f": lambda: 1})) is None  # type: ignore[dict-item]


class TooLarge:
    """Something for which there is no room while it is packed."""

    def __reduce__(self) -> str:
        raise MemoryError


def test_what_there_is_no_room_for_is_not_packed() -> None:
    """A command that has its answer says it, though there is no memory left to keep it."""
    assert packed([TooLarge()]) is None
