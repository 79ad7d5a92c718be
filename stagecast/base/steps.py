"""Between the steps of long work: a place to be told of it, to make way, or to give it up.

Long work calls :func:`step` now and then. Nothing happens then, unless the thread that it runs in
said with :func:`heard` what should: the desk plans behind what it shows, counts the steps, lets
those go first who wait for an answer, and gives up what is out of date by raising from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar


def _nothing() -> None:
    """What happens between steps where nobody listens."""


_between: ContextVar[Callable[[], None]] = ContextVar("between steps", default=_nothing)


def step() -> None:
    """Say that a step is over; may raise what :func:`heard` was given to raise."""
    _between.get()()


@contextmanager
def heard(between: Callable[[], None]) -> Iterator[None]:
    """Call ``between`` at every step of what runs inside, in this thread alone."""
    token = _between.set(between)
    try:
        yield
    finally:
        _between.reset(token)
