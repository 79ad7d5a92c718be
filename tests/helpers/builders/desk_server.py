"""The real desk in a thread, for tests in a browser."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from desk_season import desk_of
from starlette.types import ASGIApp

from stagecast.desk.app import desk_app
from stagecast.desk.season import DeskSeason
from stagecast.desk.serve import listening, server_of


@contextmanager
def served(season: Path | DeskSeason, *, token: str | None = None, **more: Any) -> Iterator[str]:
    """The real server of a folder or a season, and its address; ``more`` is for the application."""
    behind = season if isinstance(season, DeskSeason) else desk_of(season)
    with serving(desk_app(behind, token=token, **more)) as address:
        yield address


@contextmanager
def serving(app: ASGIApp) -> Iterator[str]:
    """The real server of any application, and its address."""
    with closing(listening(port=0, lan=False)) as listener:
        server = server_of(app)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield f"http://127.0.0.1:{listener.getsockname()[1]}/"
        finally:
            server.should_exit = True
            thread.join()
