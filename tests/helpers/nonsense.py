"""Run commands with every sentence of ours replaced by nonsense, and print what they answer.

Run in a process of its own, since the words are replaced in every module that has them::

    python tests/helpers/nonsense.py FOLDER said       # as people see it
    python tests/helpers/nonsense.py FOLDER nonsense

FOLDER holds a season named ``season``. One JSON object is printed: command -> exit code and JSON.
"""

from __future__ import annotations

import functools
import hashlib
import importlib
import inspect
import json
import os
import pkgutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
DAY = ("--as-of", "2026-07-07")
COMMANDS = {
    "plan": ("plan", "season", *DAY),
    "plan late": ("plan", "season", "--as-of", "2026-08-20"),
    "stages": ("stages", "season", *DAY),
    "windows": ("windows", "season", *DAY),
    "revisit": ("revisit", "season", *DAY),
    "week": ("week", "season", *DAY, "--starting", "2026-07-08"),
    "assess": ("assess", "season", "F09", *DAY),
    "assess above": ("assess", "season", "F13", *DAY),
    "history": ("history", "season", "F09", *DAY),
    "check": ("check", "season", *DAY),
}
MARK = "zzyzx "


def nonsense(text: str) -> str:
    """Other texts for other texts, always the same for one; nothing for nothing."""
    return MARK + hashlib.sha256(text.encode("utf-8")).hexdigest()[:12] if text else text


def turned(value: Any) -> Any:
    """What a function of the words returned, with each text in it turned to nonsense."""
    if isinstance(value, str):
        return nonsense(value)
    if type(value) in (list, tuple, set, frozenset):
        return type(value)(map(turned, value))
    if isinstance(value, Iterator):
        return map(turned, value)
    return value


def wrapped(said: Callable[..., Any]) -> Callable[..., Any]:
    """A function of the words that talks nonsense."""

    @functools.wraps(said)
    def talks(*arguments: Any, **options: Any) -> Any:
        return turned(said(*arguments, **options))

    return talks


def modules_of(package: str) -> list[ModuleType]:
    """Every module of a package, imported; what runs when imported is left out."""
    found = importlib.import_module(package)
    names = [m.name for m in pkgutil.walk_packages(found.__path__, f"{package}.")]
    return [found, *(importlib.import_module(n) for n in names if not n.endswith("__main__"))]


def talk_nonsense() -> int:
    """Replace every function of the words wherever a module has it; return how many."""
    everywhere = modules_of("stagecast")
    words = [m for m in everywhere if m.__name__.startswith("stagecast.words")]
    new: dict[int, Callable[..., Any]] = {}
    for module in words:
        for said in vars(module).values():
            ours = getattr(said, "__module__", "") == module.__name__
            if ours and callable(said) and not inspect.isclass(said):
                new[id(said)] = wrapped(said)
            elif ours and inspect.isclass(said):
                for name, method in list(vars(said).items()):
                    if inspect.isfunction(method) and not name.startswith("__"):
                        setattr(said, name, wrapped(method))
    for module in everywhere:
        for name, value in list(vars(module).items()):
            if id(value) in new:
                setattr(module, name, new[id(value)])
            elif isinstance(value, dict):
                value.update({k: new[id(v)] for k, v in value.items() if id(v) in new})
    return len(new)


def main(folder: str, how: str) -> None:
    """Print what every command answers, as people see it or as nonsense."""
    sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "helpers")]
    from commands import run_command

    os.chdir(folder)
    if how == "nonsense":
        assert talk_nonsense() > 10
    answers = {}
    for name, arguments in COMMANDS.items():
        as_json = () if name == "check" else ("--format", "json")
        ran = run_command(*arguments, *as_json)
        answers[name] = (ran.code, json.loads(ran.out) if as_json else ran.out.count("\n") > 0)
    print(json.dumps(answers))


if __name__ == "__main__":
    main(*sys.argv[1:])
