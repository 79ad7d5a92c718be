"""What states say of a pest: figures by price, returns and stops of a region, remarks, history."""

from __future__ import annotations

from pathlib import Path

import pytest
from commands import run_command, said
from season_builder import build_season

from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.pest import Ends, Pest, Return
from stagecast.knowledge.threshold import ByPrice, SeasonPrices, Threshold
from stagecast.pests.thresholds import lasts_to
from stagecast.season.folder import read_season
from stagecast.words.thresholds import condition_text

KNOWLEDGE = load()
TABLE = {
    "factor": 4.41, "price_low": 8, "price_high": 16, "cost_low": 10, "cost_high": 30, "digits": 1,
}  # fmt: skip
OWN_PEST = """
id = "test-worm"
name = "test worm"
short = "test worm"
scientific = ["Vermis ficta"]
damage = "invented"
marks = ["invented"]
not_timed = "invented"
presence = { kind = "arrives", text = "invented", source = "own", tag = "OWN" }
host = { first = "R1", last = "R6", source = "own", tag = "OWN" }
[[activities]]
id = "worms"
title = "worms"
rank = 1
look_for = "worms"
sample = "sweep-net"
host = { first = "R1", last = "R6", source = "own", tag = "OWN" }
[[thresholds]]
region = "TN"
first = "R2"
last = "R6"
value = 9
what = "larvae"
per = 25
of = "sweeps"
source = "own"
tag = "OWN"
[thresholds.by_price]
factor = 4.41
price_low = 8
price_high = 16
cost_low = 10
cost_high = 30
digits = 1
[[replaced]]
region = "TN"
said = "3 invented worms per row-foot"
source = "utk-earworm-2023"
tag = "READ"
note = "since 2025 another"
[[remarks]]
regions = ["TN", "KY"]
about = "season"
text = "Invented moths come late."
source = "own"
tag = "OWN"
[[remarks]]
regions = ["IA"]
about = "fields"
text = "Nothing that matters here."
source = "own"
tag = "OWN"
"""


def changed(pest: str, **values: object) -> Knowledge:
    """What ships, one pest changed."""
    other = KNOWLEDGE.pests[pest].model_copy(update=values)
    return KNOWLEDGE.model_copy(update={"pests": {**KNOWLEDGE.pests, pest: other}})


def season_with(folder: Path, money: str) -> Path:
    """A season in Tennessee with the invented pest, and prices."""
    made = build_season(folder, weather=money)
    (made / "pests").mkdir()
    (made / "pests" / "test-worm.toml").write_text(OWN_PEST)
    return made


@pytest.mark.parametrize(
    ("price", "cost", "cell"), [(8, 10, 5.5), (8, 20, 11.0), (9, 15, 7.4), (9, 25, 12.3)]
)
def test_the_formula_gives_the_printed_cells(price: float, cost: float, cell: float) -> None:
    """Mississippi State University's table of July 2025 (READ): four of its cells, by formula."""
    assert ByPrice.model_validate(TABLE).at(SeasonPrices(price, cost)) == cell


@pytest.mark.parametrize(
    ("money", "value", "words"),
    [
        ("\n[money]\nbean_price = 10\ncontrol_cost = 15\n", 6.6, "at your $10/bu and $15/ac"),
        ("\n[money]\nbean_price = 10\n", 9, "bean_price and control_cost"),
        ("", 9, "bean_price and control_cost"),
        ("\n[money]\nbean_price = 20\ncontrol_cost = 15\n", 9, "lie outside its table"),
    ],
)
def test_the_season_s_price_and_cost_pick_the_cell(
    money: str, value: float, words: str, tmp_path: Path
) -> None:
    """With both the figure is theirs; without, or beyond the table, the static one stands."""
    (found,) = (
        read_season(season_with(tmp_path / "s", money)).knowledge.pests["test-worm"].thresholds
    )
    assert found.value == value
    assert words in condition_text(found)


def test_a_threshold_without_a_table_is_not_priced() -> None:
    """SeasonPrices leave a plain threshold as it is."""
    plain = KNOWLEDGE.pests["stink-bugs"].thresholds[0]
    assert plain.priced(SeasonPrices(10, 15)) is plain


def test_history_prints_what_was_replaced_and_since_when(tmp_path: Path) -> None:
    """The old figure, its state, source, year and note; a pest without any says so."""
    made = season_with(tmp_path / "s", "")
    told = said("pest", "test worm", made, "--history")
    told = " ".join(told.split())
    for word in ("Tennessee", "3 invented worms", "2023", "since 2025 another"):
        assert word in told
    assert "nothing is held against" in told
    assert "No replaced" in said("pest", "thrips", "--history")
    refused = run_command("pest", "--history")
    assert refused.code != 0


def test_remarks_of_the_season_s_regions_are_told(tmp_path: Path) -> None:
    """Those that name the season's state, and not those of others."""
    told = said("pest", "test worm", season_with(tmp_path / "s", ""))
    assert "Invented moths come late." in told
    assert "Nothing that matters here." not in told


def test_the_year_of_a_source_stands_beside_its_threshold() -> None:
    """``source, year, tag`` in the library's page, unless the id says the year itself."""
    shown = next(
        t for t in KNOWLEDGE.pests["bean-leaf-beetle"].thresholds if t.source == "catangui-sd"
    )
    year = KNOWLEDGE.sources[shown.source].year
    assert f"{shown.source}, {year}, READ" in " ".join(said("pest", "bean-leaf-beetle").split())


def test_every_threshold_s_source_has_a_year() -> None:
    """So that of two the newer can be told; what carries none says undated."""
    used = {one.source for pest in KNOWLEDGE.pests.values() for one in pest.thresholds}
    assert sorted(i for i in used if not KNOWLEDGE.sources[i].year) == []


def _ends(region: str, last: str) -> Ends:
    return Ends.model_validate({"region": region, "last": last, "source": "own", "tag": "OWN"})


def test_a_region_s_stop_ends_all_pests_but_those_with_an_end_of_their_own() -> None:
    """An end of the pest's own goes before it, later or sooner; other regions keep theirs."""
    stops = {"stops": (_ends("TN", "R4"),)}
    plain = changed("corn-earworm", ends=()).model_copy(update=stops)
    own = changed("corn-earworm", ends=(_ends("TN", "R5"),)).model_copy(update=stops)

    def last(knowledge: Knowledge, region: str) -> str:
        pest: Pest = knowledge.pests["corn-earworm"]
        return lasts_to(pest, region=region, knowledge=knowledge)

    assert last(plain, "TN") == "R4"
    assert last(own, "TN") == "R5"
    assert stage_place(last(plain, "IA")) > stage_place("R4")


def test_a_return_rule_may_name_its_region() -> None:
    """A region is optional, and a code that is not there is a fault of the file."""
    rule = {"when": "near", "days": (3, 4), "source": "own", "tag": "OWN"}
    assert Return.model_validate(rule).region is None
    assert Return.model_validate({**rule, "region": "LA"}).region == "LA"


def test_a_table_the_wrong_way_round_is_refused() -> None:
    """The low price of a table does not lie above its high one."""
    with pytest.raises(ValueError, match="low end"):
        ByPrice.model_validate({**TABLE, "price_low": 20})
    assert Threshold.model_fields["by_price"].default is None
