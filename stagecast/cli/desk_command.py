"""The command that serves the season's pages, with forms to log into it."""

from __future__ import annotations

from typing import Annotated

import typer

from stagecast.cli.options import AsOf, Folder, day, now, option

Port = Annotated[int, option("--port", "N", "Port to listen on. Default: any free one.")]
Lan = Annotated[
    bool,
    typer.Option(
        "--lan",
        help="Answer other devices of the network too; they need the whole address printed. "
        "The connection is not encrypted.",
    ),
]


def desk(folder: Folder, port: Port = 0, as_of: AsOf = None, lan: Lan = False) -> None:
    """Serve the season's pages on this computer, with forms to log visits and treatments."""
    import contextlib
    import secrets
    from importlib.util import find_spec

    from stagecast.base.errors import SeasonProblems

    if not all(find_spec(name) for name in ("starlette", "uvicorn")):
        message, step = "a part of it is not installed", 'pip install "stagecast[desk]"'
        raise SeasonProblems.of("stagecast desk", message, next_step=step)

    from stagecast.desk.app import desk_app
    from stagecast.desk.entry.forms import CALLED
    from stagecast.desk.season import DeskSeason
    from stagecast.desk.serve import addresses, listening, server_of

    known = None if as_of is None else day(as_of)
    season = DeskSeason(folder, clock=now, as_of=known)
    season.book(called=CALLED)  # a folder that is none is told before anything listens
    token = secrets.token_urlsafe() if lan else None
    with contextlib.closing(listening(port=port, lan=lan)) as listener:
        for address in addresses(listener, token=token):
            typer.echo(address)
        typer.echo("Open this address in a browser. Ctrl-C ends the desk.")
        with contextlib.suppress(KeyboardInterrupt):
            server_of(desk_app(season, token=token)).run(sockets=[listener])
