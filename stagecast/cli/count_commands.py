"""Commands on counts: assess a field, and its history."""

from __future__ import annotations

from typing import Annotated

import typer

from stagecast.cli.options import (
    As,
    AsOf,
    AsScreen,
    FieldId,
    Folder,
    Format,
    Number,
    Screen,
    Text,
    a_pest,
    day,
    open_season,
    option,
    print_document,
    print_json,
)

Price = Annotated[
    Number, option("--price", "$/BU", "Price of soybeans, for an economic injury level.")
]
Cost = Annotated[Number, option("--cost", "$/AC", "Cost of a treatment with its application.")]
Yield = Annotated[
    Number, option("--yield", "BU/AC", "Yield expected without the pest; for --loss-percent.")
]
LossPerPest = Annotated[
    Number,
    option("--loss-per-pest", "BU/AC", "Yield lost for each pest per sample unit (see --per)."),
]
LossPercent = Annotated[
    Number, option("--loss-percent", "PERCENT", "The same in percent of the yield.")
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
    Text,
    option(
        "--pest",
        "NAME",
        "The pest that the loss is for. Default: the only one counted.",
        completed=a_pest,
    ),
]
Per = Annotated[
    Number,
    option(
        "--per", "N", "Size of the sample unit that the loss is for. Default: 25 sweeps, else one."
    ),
]


def assess(
    folder: Folder,
    field: FieldId,
    as_of: AsOf = None,
    price: Price = None,
    cost: Cost = None,
    yield_: Yield = None,
    loss: LossPerPest = None,
    loss_percent: LossPercent = None,
    control_percent: Control = 100.0,
    pest: OnePest = None,
    per: Per = None,
    format_: AsScreen = Screen.table,
) -> None:
    """What a field's last counts say.

    Below the threshold of its stage, near it or above, and how sure that is.
    """
    from stagecast.base.terminal import console
    from stagecast.counts.economics import Prices
    from stagecast.files.field import assess_document
    from stagecast.screens.assess import show_assessment
    from stagecast.visits.assess_season import assess_field

    prices: Prices | None = None
    if price is not None and cost is not None:
        prices = Prices(
            price=price,
            cost=cost,
            loss=loss,
            loss_percent=loss_percent,
            crop_yield=yield_,
            control_percent=control_percent,
            pest=pest,
            per=per,
        )
    else:
        _none_given(price, cost, yield_, loss, loss_percent, pest, per)
    assessed = assess_field(open_season(folder, as_of=day(as_of)), field, prices=prices)
    if format_ is Screen.json:
        print_json(assess_document(assessed))
    else:
        show_assessment(console(), assessed)


def _none_given(price: Number, cost: Number, *others: float | str | None) -> None:
    """Refuse half of what an economic injury level needs."""
    from stagecast.base.errors import Problem, SeasonProblems

    if any(value is not None for value in (price, cost, *others)):
        step = "an economic injury level needs --price, --cost and a loss per pest"
        missing = [name for name, value in (("--price", price), ("--cost", cost)) if value is None]
        raise SeasonProblems([Problem(option, "missing", next_step=step) for option in missing])


def history(folder: Folder, field: FieldId, as_of: AsOf = None, format_: As = Format.table) -> None:
    """One field over the season.

    Stages, counts beside their thresholds, answers and treatments.
    """
    from stagecast.base.terminal import console
    from stagecast.files import field as documents
    from stagecast.screens.history import show_history
    from stagecast.visits.history import field_history

    found = field_history(open_season(folder, as_of=day(as_of)).field(field))
    if format_ is Format.table:
        show_history(console(), found)
    else:
        document = documents.history_document(found)
        print_document(document, documents.history_rows(document), documents.COLUMNS, format_)
