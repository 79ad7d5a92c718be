"""What every form that changes a file of the season says, and its page."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from stagecast.base.errors import Problem
from stagecast.desk.shared import Desk

STALE = "the desk was started anew since this form was opened: nothing is saved yet"
CHANGED = (
    "Somebody else changed {} since this form was opened. Nothing of yours is saved yet: look at "
    "what stands there now, and save again."
)
NUMBER = re.compile(r"[0-9]{1,7}")
"""Of a line."""


def edit_page(desk: Desk, template: str, *, status: int = 200, **values: Any) -> Response:
    """A page of the part of the desk that changes files; what is typed on it is kept."""
    values |= {"here": "edit", "token": desk.form_token, "scripts": ("desk_draft.js",)}
    return desk.page(template, status=status, **values)


def said(request: Request, what: str, sentence: str) -> list[str]:
    """What was done just before, where the address says so."""
    return [sentence] if request.query_params.get(what) == "1" else []


def problem_text(problem: Problem, *, place: bool = True) -> str:
    """What `check` says; without the place where it stands at it."""
    bare = problem if place else replace(problem, line=None, column=None, field_id=None)
    told = bare.sentence() if place else bare.sentence().removeprefix(f"{problem.file}: ")
    return f"doubtful: {told}" if problem.doubtful else told
