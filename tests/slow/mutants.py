"""Change the code one small thing at a time and see whether a test says so.

    python tests/slow/mutants.py --most 40 --seed 1
    python tests/slow/mutants.py --only phenology/soybean.py

A comparison is turned or takes its edge in, a sum becomes a difference, a number is one more, *and*
becomes *or*; in the modules that work out stages and counts. Each change is made in a copy, where
the tests run that name the module. What survives is a change that no test sees: a test that is
missing, or a change that makes no difference.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("phenology", "counts")
CPU_S = 900
"""Longest that the tests of a change may keep the processor: a change may loop for ever."""

SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: the module, the whole text with it, and what it is."""

    module: Path
    text: str
    told: str


def changed(node: ast.AST) -> str | None:
    """Change a node in its place; what was done, None where there is nothing to change."""
    match node:
        case ast.Compare(ops=[op]) if type(op) in SWAPPED:
            node.ops = [SWAPPED[type(op)]()]  # type: ignore[list-item]
        case ast.BinOp(op=op) | ast.AugAssign(op=op) | ast.BoolOp(op=op) if type(op) in SWAPPED:
            node.op = SWAPPED[type(op)]()  # type: ignore[assignment]
        case ast.Constant(value=bool() | str() | bytes()):
            return None
        case ast.Constant(value=int() | float()):
            op = ast.Constant(node.value)
            node.value += 1  # type: ignore[operator]
            return f"{op.value!r} is {node.value!r}"
        case _:
            return None
    return f"{type(op).__name__} is {SWAPPED[type(op)].__name__}"


def mutants_of(module: Path) -> Iterator[Mutant]:
    """Every change of a module, in the order of its text."""
    source = (ROOT / module).read_text("utf-8")
    for number, node in enumerate(ast.walk(ast.parse(source))):
        told = changed(node)
        if told is not None:
            tree = ast.parse(source)
            changed(list(ast.walk(tree))[number])
            line = getattr(node, "lineno", 0)
            yield Mutant(module, ast.unparse(tree), f"{module}:{line}: {told}")


def tests_of(module: Path) -> list[str]:
    """The tests of its room that name a module, and those of its room where none does."""
    room = Path("tests", module.parts[1])
    dotted = ".".join(module.with_suffix("").parts)
    files = sorted((ROOT / room).glob("test_*.py"))
    naming = [file for file in files if dotted in file.read_text("utf-8")]
    return [str(file.relative_to(ROOT)) for file in naming or files]


def pass_in(copy: Path, tests: Sequence[str]) -> bool:
    """Whether the tests pass in a copy of the project."""
    command = [sys.executable, "-B", "-m", "pytest", "-x", "-q", "-n0", "-p", "no:cacheprovider"]
    ran = subprocess.run(
        [*command, "-m", "not browser", *tests],
        cwd=copy,
        env={**os.environ, "PYTHONPATH": str(copy)},
        capture_output=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S)),
        check=False,
    )
    return ran.returncode == 0


def main() -> int:
    """Try so many changes, and say which no test sees."""
    asked = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asked.add_argument("--most", type=int, default=40, help="how many changes are tried")
    asked.add_argument("--seed", type=int, default=1, help="which ones")
    asked.add_argument("--only", action="append", help="a module, as in phenology/soybean.py")
    options = asked.parse_args()
    core = sorted(path for room in ROOMS for path in (ROOT / "stagecast" / room).glob("*.py"))
    named = [Path("stagecast", one) for one in options.only or ()]
    modules = named or [path.relative_to(ROOT) for path in core]
    every = [mutant for module in modules for mutant in mutants_of(module)]
    tried = random.Random(options.seed).sample(every, min(options.most, len(every)))
    survived = 0
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name) / "stagecast"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".*", "__pycache__"))
        whole = sorted({test for mutant in tried for test in tests_of(mutant.module)})
        if not pass_in(copy, whole):
            print("the tests do not pass as things are")
            return 2
        for mutant in tried:
            (copy / mutant.module).write_text(mutant.text, "utf-8")
            if pass_in(copy, tests_of(mutant.module)):
                survived += 1
                print(mutant.told, flush=True)
            shutil.copy(ROOT / mutant.module, copy / mutant.module)
    print(f"{survived} of {len(tried)} survived, of {len(every)} there are; seed {options.seed}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
