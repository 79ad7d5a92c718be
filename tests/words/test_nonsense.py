"""Words decide nothing: with every sentence of ours replaced by nonsense, all else stays."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import golden
import nonsense
import pytest
from commands import ROOT, process_environment

Answers = dict[str, tuple[int, Any]]


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> tuple[Answers, Answers]:
    """What the commands answer as people see it, and what with nonsense."""
    folder = tmp_path_factory.mktemp("nonsense")
    golden.season(folder)

    def run(how: str) -> Answers:
        script = ROOT / "tests" / "helpers" / "nonsense.py"
        ran = subprocess.run(
            [sys.executable, str(script), str(folder), how],
            env=process_environment(), capture_output=True, timeout=600, check=False,
        )  # fmt: skip
        assert ran.returncode == 0, ran.stderr.decode()[-3000:]
        return dict(json.loads(ran.stdout))

    with ThreadPoolExecutor() as both:
        said, turned = both.map(run, ("said", "nonsense"))
    return said, turned


def differing(one: Any, other: Any, place: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Where two documents differ, and what stands there in each."""
    if isinstance(one, dict) and isinstance(other, dict) and list(one) == list(other):
        for key in one:
            yield from differing(one[key], other[key], f"{place}.{key}")
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for i, (ours, theirs) in enumerate(zip(one, other, strict=True)):
            yield from differing(ours, theirs, f"{place}[{i}]")
    elif one != other or type(one) is not type(other):
        yield place, one, other


@pytest.mark.parametrize("command", nonsense.COMMANDS)
def test_nonsense_changes_nothing_but_sentences(
    command: str, answers: tuple[Answers, Answers]
) -> None:
    """Proves that no date, order, mark, number or exit code hangs on a word of ours."""
    said, turned = (one[command] for one in answers)
    assert said[0] == turned[0]
    changed = [
        (place, ours, theirs)
        for place, ours, theirs in differing(said[1], turned[1])
        if not (isinstance(ours, str) and nonsense.MARK in str(theirs))
    ]
    assert changed == []


def test_the_nonsense_is_heard(answers: tuple[Answers, Answers]) -> None:
    """Proves that the words were replaced: what people read is nonsense in every command."""
    for command in ("plan", "windows", "revisit", "week", "assess", "history"):
        heard = sum(1 for _ in differing(*(one[command] for one in answers)))
        assert heard > 0, command
