"""Our SQLite files, damaged anywhere: a sentence, and not a byte of them changed by reading."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from damaged_file import KINDS, damaged, refused
from slow_tier import Told

pytestmark = pytest.mark.slow
DAMAGES = 2_000


@pytest.mark.parametrize("kind", KINDS)
def test_damage_is_told_and_stays_as_it_is(
    kind: str, tmp_path: Path, chance: random.Random, figure: Told
) -> None:
    """Proves that damage is read over or told in a sentence, and reading loses no more."""
    make, read = KINDS[kind]
    path = tmp_path / "whole.sqlite"
    make(path)
    whole, told = path.read_bytes(), 0
    for _ in range(DAMAGES):
        spoilt = damaged(whole, chance)
        path.write_bytes(spoilt)
        sentence = refused(read, path)
        assert sentence is None or str(path) in sentence
        assert path.read_bytes() == spoilt
        assert list(tmp_path.iterdir()) == [path]
        told += sentence is not None
    assert told > DAMAGES / 3
    figure(f"{kind} file: {DAMAGES} damages, {told} refused in a sentence, {DAMAGES - told} read")
