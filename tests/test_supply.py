"""What an install brings: every package pinned, in its range, each file by its hash."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
HASHED = (ROOT / ".ci" / "constraints.txt").read_text("utf-8")
PINS = (ROOT / ".ci" / "pins.txt").read_text("utf-8")


def wanted() -> list[Requirement]:
    """All that the project asks for: to run, with every extra, and to be built."""
    project = PROJECT["project"]
    groups = [PROJECT["build-system"]["requires"], project["dependencies"]]
    groups += project["optional-dependencies"].values()
    return [Requirement(text) for group in groups for text in group]


def test_every_pin_is_one_version_with_hashes() -> None:
    """The pinned set holds one version of each package, and the SHA-256 of its files."""
    blocks = re.split(r"\n(?=\S)", HASHED.strip())
    for block in blocks:
        pin, *hashes = [line.strip().removesuffix(" \\") for line in block.splitlines()]
        (version,) = Requirement(pin).specifier
        assert version.operator == "=="
        assert "*" not in version.version
        assert hashes, pin
        assert all(re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", one) for one in hashes), pin
        assert len(set(hashes)) == len(hashes), pin
    names = [canonicalize_name(Requirement(line).name) for line in PINS.splitlines()]
    assert len(names) == len(set(names)) == len(blocks)


def test_the_pins_without_hashes_are_the_same() -> None:
    """The README's command installs the versions that CI does; .ci/pin writes both."""
    heads = [line.removesuffix(" \\") for line in HASHED.splitlines() if not line.startswith(" ")]
    assert PINS.splitlines() == heads


def test_every_dependency_is_pinned_within_its_range() -> None:
    """Each package that the project names, the build backend too, has a pin that it allows."""
    pins = [Requirement(line) for line in PINS.splitlines()]
    pinned = {canonicalize_name(pin.name): pin for pin in pins}
    for one in wanted():
        (version,) = pinned[canonicalize_name(one.name)].specifier
        assert one.specifier.contains(version.version), str(one)


def test_every_range_has_two_ends() -> None:
    """No version that nobody has seen comes in by itself: each range says where it ends."""
    for one in wanted():
        kinds = {part.operator for part in one.specifier}
        assert ">=" in kinds, str(one)
        assert "<" in kinds, str(one)


def test_the_pinned_set_names_no_place() -> None:
    """Where packages come from is pip's to know: no address stands in the pins."""
    assert "//" not in HASHED
    assert not re.search(r"^-(?!-hash)|--(?!hash)", HASHED, re.MULTILINE)
