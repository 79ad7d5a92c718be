"""What the loader says of a file in ``knowledge/`` that is wrong."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from stagecast.base.errors import KnowledgeError
from stagecast.knowledge import loader

KNOWLEDGE = Path(loader.__file__).parent

Write = Callable[[str, str, str], None]


@pytest.fixture
def rewrite(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    """Replace text in a file of a copy of ``knowledge/``, which is then the one that is loaded."""
    copy = tmp_path / "knowledge"
    shutil.copytree(KNOWLEDGE, copy, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    monkeypatch.setattr(loader, "files", lambda _package: copy)

    def write(file: str, old: str, new: str) -> None:
        path = copy / file
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), "utf-8")

    return write


def told() -> set[tuple[str, str | None, str | None]]:
    """File, key and value of every problem."""
    with pytest.raises(KnowledgeError) as caught:
        loader.load.__wrapped__()
    return {(problem.file, problem.column, problem.found) for problem in caught.value.problems}


def test_all_faults_of_all_files_are_told_with_file_and_key(rewrite: Write) -> None:
    """A contributor mends a file in one go, and knows which file it is."""
    rewrite("pests/thrips.toml", "damage =", "harm =")
    rewrite("pests/slugs.toml", 'kind = "overwinters"', 'kind = "stays"')
    rewrite("windows.toml", "short =", "brief =")
    assert {(file, key) for file, key, _ in told()} == {
        ("pests/thrips.toml", "damage"), ("pests/thrips.toml", "harm"),
        ("pests/slugs.toml", "presence.kind"),
        ("windows.toml", "0.short"), ("windows.toml", "0.brief"),
    }  # fmt: skip


def test_what_a_file_names_must_be_there(rewrite: Write) -> None:
    """A wrong source, region, sampling method or id would otherwise show only on a screen."""
    rewrite("pests/dectes-stem-borer.toml", 'sample = "long-sweep"', 'sample = "long-swing"')
    rewrite("pests/stink-bugs.toml", 'region = "AR"', 'region = "ar"')
    rewrite("pests/slugs.toml", 'id = "slugs"', 'id = "snails"')
    rewrite("soybean.toml", 'source = "', 'source = "unread-')
    found = {(file, value) for file, _, value in told()}
    assert found >= {
        ("pests/dectes-stem-borer.toml", "long-swing"), ("pests/stink-bugs.toml", "ar"),
        ("pests/slugs.toml", "snails"),
    }  # fmt: skip
    assert any(file == "soybean.toml" and str(v).startswith("unread-") for file, v in found)


def test_a_file_that_is_not_toml_is_named(rewrite: Write) -> None:
    """The line is in the sentence."""
    rewrite("pests/thrips.toml", "id = ", "id = = ")
    assert told() == {("pests/thrips.toml", None, None)}
