"""Fixtures that several test files share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser import chromium, open_page  # noqa: F401
from hypothesis import settings
from small_demo import small_demo

if TYPE_CHECKING:
    from stagecast.knowledge import Knowledge

# A busy machine is no fault of the code: time is measured where it is meant to be. Each run draws
# other examples, so that half of the usual hundred a run try as many in two.
settings.register_profile("no clock", deadline=None, max_examples=50)
settings.load_profile("no clock")


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Part of the demo season; tests leave it as it is."""
    return small_demo(tmp_path_factory.mktemp("seasons") / "demo")


@pytest.fixture(scope="module")
def planned_once() -> Iterator[None]:
    """A season is planned once for several commands on one day, until a file of it changes."""
    from stagecast.visits import plan

    kept: dict[object, plan.SeasonPlan] = {}
    plan_season = plan.plan_season

    def once(path: Path, *, as_of: dt.date, **others: Any) -> plan.SeasonPlan:
        files = (file.stat() for file in sorted(path.rglob("*")))
        key = path, as_of, tuple((file.st_mtime_ns, file.st_size) for file in files)
        if others:
            return plan_season(path, as_of=as_of, **others)
        if key not in kept:
            kept[key] = plan_season(path, as_of=as_of, **others)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan, "plan_season", once)
        yield


@pytest.fixture(scope="module")
def rules_once() -> Iterator[None]:
    """The part of a field sheet that does not depend on the day is made once per knowledge."""
    kept: dict[tuple[str, int], tuple[Knowledge, dict[str, Any]]] = {}

    def once(*, region: str, knowledge: Knowledge) -> dict[str, Any]:
        found = kept.get((region, id(knowledge)))  # with the knowledge kept, no other has its id
        if found is None:
            found = knowledge, sheet_rules(region=region, knowledge=knowledge)
            kept[region, id(knowledge)] = found
        return found[1]

    from stagecast.pages import sheet as sheet_data
    from stagecast.pages.sheet_rules import sheet_rules

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sheet_data, "sheet_rules", once)
        yield
