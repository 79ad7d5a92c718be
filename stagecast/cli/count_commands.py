"""Commands on counts: assess a field, and its history."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import As, AsOf, FieldId, Folder, Format, Screen, day, option

if TYPE_CHECKING:
    from stagecast.counts.economics import Prices


Price = Annotated[
    float | None,
    option("--price", metavar="$/BU", help="Price of soybeans, for an economic injury level."),
]
Cost = Annotated[
    float | None,
    option("--cost", metavar="$/AC", help="Cost of a treatment with its application."),
]
Yield = Annotated[
    float | None,
    option("--yield", metavar="BU/AC", help="Yield expected without the pest; for --loss-percent."),
]
Loss = Annotated[
    float | None,
    option(
        "--loss-per-pest",
        metavar="BU/AC",
        help="Yield lost for each pest per sample unit (see --per).",
    ),
]
LossPercent = Annotated[
    float | None,
    option("--loss-percent", metavar="PERCENT", help="The same in percent of the yield."),
]
Control = Annotated[
    float,
    typer.Option(
        "--control-percent",
        metavar="PERCENT",
        help="Percent of the loss that a treatment prevents.",
    ),
]
OnePest = Annotated[
    str | None,
    option(
        "--pest",
        metavar="NAME",
        help="The pest that the loss is for. Default: the only one counted.",
    ),
]
Per = Annotated[
    float | None,
    option(
        "--per",
        metavar="N",
        help="Size of the sample unit that the loss is for. Default: 25 sweeps, else one.",
    ),
]


def register_assess(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(assess)


def assess(
    folder: Folder,
    field: FieldId,
    as_of: AsOf = None,
    price: Price = None,
    cost: Cost = None,
    yield_: Yield = None,
    loss: Loss = None,
    loss_percent: LossPercent = None,
    control_percent: Control = 100.0,
    pest: OnePest = None,
    per: Per = None,
    format_: Annotated[
        Screen, typer.Option("--format", help="How to print the result.")
    ] = Screen.table,
) -> None:
    """What the last counts of a field say: above a threshold, below it, or not enough sets."""
    from stagecast.files.assess import assess_document
    from stagecast.files.season import to_json
    from stagecast.screens.assess import show_assessment
    from stagecast.screens.screen import console
    from stagecast.visits.assess_season import assess_field
    from stagecast.visits.season_day import SeasonDay

    others = {
        "--yield": yield_, "--loss-per-pest": loss, "--loss-percent": loss_percent,
        "--pest": pest, "--per": per,
    }  # fmt: skip
    prices = _prices(price, cost, others, control_percent)
    season = SeasonDay.open(folder, as_of=day(as_of, option="--as-of"))
    assessed = assess_field(season, field, prices=prices)
    if format_ is Screen.json:
        typer.echo(to_json(assess_document(assessed)), nl=False)
    else:
        show_assessment(console(), assessed)


def _prices(
    price: float | None,
    cost: float | None,
    others: dict[str, float | str | None],
    control_percent: float,
) -> Prices | None:
    """What is given of money, or None where nothing is; half of it is refused."""
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.counts.economics import Prices

    given = {"--price": price, "--cost": cost}
    if all(value is None for value in (*given.values(), *others.values())):
        return None
    missing = [option for option, value in given.items() if value is None]
    if price is None or cost is None:
        step = "an economic injury level needs --price, --cost and a loss per pest"
        raise SeasonProblems([Problem(option, "missing", next_step=step) for option in missing])
    numbers = {name: value for name, value in others.items() if not isinstance(value, str)}
    name = others["--pest"]
    return Prices(
        price=price,
        cost=cost,
        loss=numbers.get("--loss-per-pest"),
        loss_percent=numbers.get("--loss-percent"),
        crop_yield=numbers.get("--yield"),
        control_percent=control_percent,
        pest=name if isinstance(name, str) else None,
        per=numbers.get("--per"),
    )


def register_history(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command()(history)


def history(folder: Folder, field: FieldId, as_of: AsOf = None, format_: As = Format.table) -> None:
    """One field over the season: stages, counts, thresholds, answers and treatments."""
    from stagecast.files import history as documents
    from stagecast.files.season import to_csv, to_json
    from stagecast.screens.history import show_history
    from stagecast.screens.screen import console
    from stagecast.visits.history import field_history
    from stagecast.visits.season_day import SeasonDay

    season = SeasonDay.open(folder, as_of=day(as_of, option="--as-of"))
    found = field_history(season.field(field))
    if format_ is Format.table:
        show_history(console(), found)
        return
    document = documents.history_document(found)
    if format_ is Format.json:
        typer.echo(to_json(document), nl=False)
    else:
        rows = documents.history_rows(document)
        typer.echo(to_csv(rows, documents.COLUMNS), nl=False)
