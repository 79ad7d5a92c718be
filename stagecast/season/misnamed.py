"""Optional tables that are there under another name."""

from __future__ import annotations

from pathlib import Path

from stagecast.errors import Problem


def misnamed(folder: Path, *, file: str, starts: str, holds: str) -> tuple[Problem, ...]:
    """Doubt that a table is left out where a file has nearly its name.

    Parameters
    ----------
    folder : Path
        The season folder.
    file : str
        The table's right name.
    starts : str
        How the names of files begin that are probably meant as it, in small letters.
    holds : str
        What it holds, as in ``if it holds your visits``.
    """
    names = sorted(path.name for path in folder.iterdir())
    near = [name for name in names if name.strip().casefold().startswith(starts)]
    if not near:
        return ()
    message = "there is no such file, but one with a similar name, which is not read"
    step = f"if it holds {holds}, save it as CSV under the name {file}"
    return (Problem(file, message, found=near[0], next_step=step, doubtful=True),)
