"""From a template and plain values to one self-contained page.

Every value is escaped by the template engine. Beyond that each page carries a policy that lets a
browser run the page's own script and nothing else, and fetch nothing at all.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from stagecast.outputs.screen import clean

LINE_BREAKS = "\n\t"


@cache
def environment() -> Environment:
    """The template engine: always escaping, and a name that is not given is an error."""
    made = Environment(
        loader=PackageLoader("stagecast.outputs.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["visible"] = visible
    return made


def visible(text: str) -> str:
    """Text of a person as it may stand on a page; line breaks stay."""
    return "".join(char if char in LINE_BREAKS else clean(char) for char in text)


def render(template: str, *, script: str | Sequence[str] = (), **values: Any) -> str:
    """Render a page.

    Parameters
    ----------
    template : str
        Name of a file in ``templates``; it extends ``base.html``.
    script : str or sequence of str, optional
        Name of a script in ``templates`` that the page runs; several are run as one, in order.
    **values
        What the template names. Text is escaped there, never here.
    """
    names = (script,) if isinstance(script, str) else script
    source = "\n".join(map(asset, names))
    return (
        environment()
        .get_template(template)
        .render(
            style=Markup(asset("style.css")),
            script=Markup(source),
            policy=_policy(source),
            **values,
        )
    )


@cache
def asset(name: str) -> str:
    """A style sheet or script of our own, as it stands in ``templates``."""
    return (files("stagecast.outputs.pages") / "templates" / name).read_text("utf-8")


def _policy(script: str) -> str:
    """What a browser may do with the page: run this very script, and fetch nothing."""
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    scripts = f"'sha256-{digest}'" if script else "'none'"
    return (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src {scripts}; "
        "img-src data:; base-uri 'none'; form-action 'self'"
    )
