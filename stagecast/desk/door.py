"""The door of the desk: how many may stand in it, and for how long.

Who opens a connection and says nothing, or says it slowly, must not keep others out. So each part
of a request has its time, and a device that opens more connections than it may loses its own: the
one that has waited longest without a whole request makes room. This computer is counted by itself,
so that nobody on the network can shut its owner out.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Collection
from typing import cast

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from stagecast.desk.guard import ARRIVES_S

HEAD_S, IDLE_S = 10.0, 5
"""How long the head of a request may take, and how long nothing may be asked, in seconds."""

BODY_S = ARRIVES_S + 10.0
"""How long its body may take, in seconds; before it ends the guard says so in a sentence."""

READ_S = 120.0
"""How long a device may take to read a long answer, in seconds."""

FROM_ONE, FROM_OTHERS = 24, 96
"""Connections of one address, and of all others together: a browser opens 6, or twice that."""

AT_ONCE = 32
"""Connections taken up at a time; with both numbers above it stays below 256 open files."""

ANSWER = "answer"
"""What is waited for while a device reads; else a state of the request in h11."""

NOT_UNDERSTOOD = "The desk did not understand this: it is no request of a browser for http://."


class Door(H11Protocol):
    """One connection."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Let it in where there is room."""
        others = cast("Collection[Door]", tuple(self.connections))
        super().connection_made(transport)
        self._since = self.loop.time()
        self._limit: asyncio.TimerHandle | None = None
        self._limits: object = None
        if make_room(self, others):
            self._give_time()
        else:
            self.leave()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is waited for any more."""
        self._stop()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take it, and give what is still to come its time."""
        super().data_received(data)
        self._give_time()

    def pause_writing(self) -> None:
        """The device does not read its answer."""
        super().pause_writing()
        self._start(ANSWER, READ_S)

    def resume_writing(self) -> None:
        """It reads on."""
        super().resume_writing()
        self._stop()

    def send_400_response(self, msg: str) -> None:
        """Say so where it is no request, in our own words."""
        super().send_400_response(NOT_UNDERSTOOD)

    def shutdown(self) -> None:
        """The desk ends: what has not all arrived is not waited for."""
        if self.conn.their_state in (h11.IDLE, h11.SEND_BODY):
            self.leave()
        else:
            super().shutdown()

    @property
    def host(self) -> str:
        """The address of the device; "" for this computer, which has the address it asks for."""
        device, desk = (self.client or ("", 0))[0], (self.server or ("", 0))[0]
        return "" if device == desk else device

    @property
    def waits(self) -> bool:
        """Whether the desk waits for the device, and not the device for the desk."""
        arriving = self.conn.their_state in (h11.IDLE, h11.SEND_BODY)
        return arriving or self.cycle is None or self.cycle.response_complete

    @property
    def since(self) -> float:
        """When it was opened, in seconds of the loop."""
        return self._since

    def leave(self) -> None:
        """End it at once; it is counted no more."""
        self._stop()
        self.connections.discard(self)
        self.transport.abort()

    def _give_time(self) -> None:
        """One time for a whole head and one for a whole body, however they trickle in."""
        if self._limits == ANSWER:
            return
        state = self.conn.their_state
        seconds = {h11.IDLE: HEAD_S, h11.SEND_BODY: BODY_S}.get(state)
        if seconds is None or self.transport.is_closing():
            self._stop()
        elif self._limits is not state:
            self._start(state, seconds)

    def _start(self, limits: object, seconds: float) -> None:
        self._stop()
        self._limits = limits
        self._limit = self.loop.call_later(seconds, self.leave)

    def _stop(self) -> None:
        self._limits = None
        if self._limit is not None:
            self._limit.cancel()
            self._limit = None


def make_room(new: Door, others: Collection[Door]) -> bool:
    """Whether there is room for one more connection; one that only waits makes it."""
    same = [one for one in others if one.host == new.host]
    if len(same) >= FROM_ONE:
        return _one_leaves(same)
    strangers = [one for one in others if one.host]
    if new.host and len(strangers) >= FROM_OTHERS:
        ((most, _),) = Counter(one.host for one in strangers).most_common(1)
        return _one_leaves([one for one in strangers if one.host == most])
    return True


def _one_leaves(crowd: Collection[Door]) -> bool:
    """Whether one of a crowd could be ended: of those that wait the one opened first."""
    waiting = [one for one in crowd if one.waits]
    if waiting:
        min(waiting, key=lambda one: one.since).leave()
    return bool(waiting)
