"""The command that serves the season's pages, with forms to log into it."""

from __future__ import annotations

from typing import Annotated

import typer

from stagecast.cli.options import AsOf, Folder, day, now, option, users_shelf

ANOTHER = (
    "Another desk of this folder is open. What is logged or changed in one shows in the other; if "
    "you did not mean to have two, end one with Ctrl-C where it was started."
)
OTHER_PORT = (
    "The usual port of this folder is taken, so phones need this new address. Counts that wait on "
    "a phone stay with the address it had: let it send them there first."
)

Port = Annotated[
    int,
    option(
        "--port", "N", "Port to listen on. Default: any free one; with --lan the same each time."
    ),
]
Lan = Annotated[
    bool,
    typer.Option(
        "--lan",
        help="Answer other devices of the network too; they need the whole address printed. "
        "The connection is not encrypted.",
    ),
]


def desk(folder: Folder, port: Port = 0, as_of: AsOf = None, lan: Lan = False) -> None:
    """The season in the browser of this computer.

    Its pages, and forms to log visits and treatments.
    """
    import contextlib
    import secrets
    from importlib.util import find_spec

    from stagecast.base.errors import SeasonProblems, StagecastError

    if not all(find_spec(name) for name in ("starlette", "uvicorn", "segno")):
        message, step = "a part of it is not installed", 'pip install "stagecast[desk]"'
        raise SeasonProblems.of("stagecast desk", message, next_step=step)

    from stagecast.desk.app import desk_app
    from stagecast.desk.entry.forms import CALLED
    from stagecast.desk.season import DeskSeason
    from stagecast.desk.serve import addresses, at_desk, listening, server_of, usual_port

    known = None if as_of is None else day(as_of)
    season = DeskSeason(folder, clock=now, as_of=known, shelf=users_shelf())
    season.book(called=CALLED)  # a folder that is none is told before anything listens
    with contextlib.closing(season.planner):
        with contextlib.suppress(StagecastError):  # pages tell it
            season.latest()  # the plan is begun before anybody asks
        token = secrets.token_urlsafe() if lan else None
        listener = None
        if lan and port == 0:
            with contextlib.suppress(SeasonProblems):  # taken: then any other
                listener = listening(port=usual_port(folder), lan=True)
        moved = lan and port == 0 and listener is None
        with (
            at_desk(folder) as another,
            contextlib.closing(listener or listening(port=port, lan=lan)) as listener,
        ):
            found = list(addresses(listener, token=token))
            for address in found:
                typer.echo(address)
            for said in (ANOTHER,) * another + (OTHER_PORT,) * moved:
                typer.echo(said)
            typer.echo("Open this address in a browser. Ctrl-C ends the desk.")
            app = desk_app(season, token=token, address=found[0] if lan else "")
            with contextlib.suppress(KeyboardInterrupt):
                server_of(app).run(sockets=[listener])
