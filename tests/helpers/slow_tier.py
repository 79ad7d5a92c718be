"""The suite never depends on luck; the slow tier does, by a seed that it says at its end.

``pytest`` tries the same examples of every property each time, and nothing marked ``slow``.
``pytest -m slow`` runs what is marked so, and every property with more examples, drawn anew;
``--seed N`` draws the same again.
"""

from __future__ import annotations

import random
import re
import secrets
from collections.abc import Callable

import hypothesis.core
import pytest
from hypothesis import settings

settings.register_profile("the same", deadline=None, max_examples=33, derandomize=True)
settings.register_profile(
    "by chance", deadline=None, max_examples=100, derandomize=False, print_blob=True
)

Told = Callable[[str], None]


def by_chance(config: pytest.Config) -> bool:
    """Whether the slow tier was asked for."""
    return re.search(r"(?<!not )\bslow\b", config.option.markexpr) is not None


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the seed of the slow tier."""
    parser.addoption("--seed", type=int, help="of the slow tier; drawn where it is not given")


def pytest_configure(config: pytest.Config) -> None:
    """Draw the seed once; workers get it with the other options."""
    if not by_chance(config):
        settings.load_profile("the same")
        return
    settings.load_profile("by chance")
    if config.option.seed is None:
        config.option.seed = secrets.randbelow(1_000_000)
    hypothesis.core.global_force_seed = config.option.seed


def choose(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is slow; where the slow tier was asked for, properties belong to it."""
    if by_chance(config):
        for item in items:
            if getattr(getattr(item, "obj", None), "is_hypothesis_test", False):
                item.add_marker(pytest.mark.slow)
        return
    gone = [item for item in items if item.get_closest_marker("slow")]
    items[:] = [item for item in items if item not in set(gone)]
    config.hook.pytest_deselected(items=gone)


@pytest.fixture
def chance(request: pytest.FixtureRequest) -> random.Random:
    """Chance of a test's own, by the seed of the run."""
    return random.Random(f"{request.config.getoption('--seed')} {request.node.name}")


@pytest.fixture
def figure(record_property: Callable[[str, object], None]) -> Told:
    """Say a line of figures at the end of the run."""
    return lambda line: record_property("figure", line)


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """What the slow tier did, in figures, and how to do the same again."""
    if not by_chance(config):
        return
    ran = [one for how in ("passed", "failed") for one in terminalreporter.stats.get(how, ())]
    terminalreporter.section("slow tier")
    for line in sorted(
        str(f) for one in ran for name, f in one.user_properties if name == "figure"
    ):
        terminalreporter.line(line)
    again = f"the same again: pytest -m slow --seed {config.option.seed}"
    terminalreporter.line(f"seed {config.option.seed}; {again}")
