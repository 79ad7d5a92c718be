"""What was worked out, as bytes and back, quick to read again.

Arrays of the same numbers are written once, ahead of all else, and are read where they lie, so
none of them may be changed. Records are made again by their own constructors, which takes a third
of the time that pickle needs to set what is frozen.
"""

from __future__ import annotations

import contextlib
import dataclasses
import gc
import io
import pickle
from collections.abc import Callable, Iterator, Sequence
from hashlib import blake2b
from typing import Any

import numpy as np
from numpy.typing import NDArray

_ALIGNED = 64
"""Every array begins at a multiple of so many bytes."""

_NOT_PACKED = pickle.PicklingError, TypeError, AttributeError, RecursionError, MemoryError


def packed(value: object) -> list[bytes | memoryview] | None:
    """A value as pieces of bytes, in order; None where something in it cannot be kept.

    Arrays are not copied: they are pieces themselves.
    """
    objects = io.BytesIO()
    with _uncollected(), contextlib.suppress(*_NOT_PACKED):
        packer = _Packer(objects)
        packer.dump(value)
        pieces: list[bytes | memoryview] = []
        places, laid = [], 0
        for array in packer.arrays:
            order = "F" if array.flags.fnc else "C"
            places.append((array.shape, array.dtype, laid, order))
            filled = bytes(-array.nbytes % _ALIGNED)
            pieces += [_laid_out(array), filled]
            laid += array.nbytes + len(filled)
        head = laid.to_bytes(_ALIGNED, "big")
        return [head, *pieces, pickle.dumps(places), objects.getbuffer()]
    return None


def _laid_out(array: NDArray[Any]) -> memoryview:
    """The bytes of an array as they lie in memory."""
    flat = array.T if array.flags.fnc else np.ascontiguousarray(array)
    return flat.reshape(-1).view(np.uint8).data


def unpacked(raw: bytes | memoryview) -> object:
    """The value of bytes that this user kept; None where they hold none, for whatever reason."""
    with _uncollected(), contextlib.suppress(Exception):
        view = memoryview(raw)
        begins = _ALIGNED + int.from_bytes(view[:_ALIGNED], "big")
        laid, stream = view[_ALIGNED:begins], io.BytesIO(view[begins:])
        arrays = [
            np.ndarray(shape, dtype, laid, offset, order=order)
            for shape, dtype, offset, order in pickle.load(stream)
        ]
        return _Unpacker(stream, arrays).load()
    return None


class _Packer(pickle.Pickler):
    """Puts arrays aside; equal ones have one number."""

    def __init__(self, stream: io.BytesIO) -> None:
        super().__init__(stream, pickle.HIGHEST_PROTOCOL)
        self.arrays: list[NDArray[Any]] = []
        self._numbers: dict[object, int] = {}
        self._given: dict[type, tuple[str, ...]] = {}

    def persistent_id(self, value: Any) -> int | None:
        if type(value) is not np.ndarray or value.dtype.hasobject:
            return None
        same = blake2b(_laid_out(value), digest_size=32).digest()
        key = value.shape, value.dtype, value.flags.fnc, same
        if key not in self._numbers:
            self._numbers[key] = len(self.arrays)
            self.arrays.append(value)
        return self._numbers[key]

    def reducer_override(self, value: Any) -> Any:
        kind = type(value)
        if kind not in self._given:
            self._given[kind] = _given(kind)
        names = self._given[kind]
        return (kind, tuple(getattr(value, name) for name in names)) if names else NotImplemented


class _Unpacker(pickle.Unpickler):
    """Takes arrays from where they lie."""

    def __init__(self, stream: io.BytesIO, arrays: Sequence[NDArray[Any]]) -> None:
        super().__init__(stream)
        self.persistent_load: Callable[[int], NDArray[Any]] = arrays.__getitem__


def _given(kind: type) -> tuple[str, ...]:
    """Names of all that a frozen record is made of; none where its constructor does more."""
    if not dataclasses.is_dataclass(kind) or "__slots__" not in vars(kind):
        return ()
    own = kind.__reduce__ is not object.__reduce__ or hasattr(kind, "__post_init__")
    fields = dataclasses.fields(kind)
    if own or any(not one.init or one.kw_only for one in fields):
        return ()
    return tuple(one.name for one in fields)


@contextlib.contextmanager
def _uncollected() -> Iterator[None]:
    """Without the collector, which would look through a season again and again while it grows."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
