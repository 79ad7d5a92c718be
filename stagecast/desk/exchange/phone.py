"""The day's sheet to a phone on the same network: by a code it opens, and sends its counts back."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlencode, urlsplit

import segno
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from stagecast.desk.messages import link, page
from stagecast.desk.season import day_walked, sheet_page
from stagecast.desk.shared import Desk, walked
from stagecast.week.week import season_route
from stagecast.words.week import shift_text

SHEET = "phone/sheet"
CODE_PIXELS = 6
"""How many pixels a square of the code is wide: read at arm's length from a screen."""


def routes(desk: Desk) -> list[BaseRoute]:
    """The page with the code, and the sheet that it leads to."""
    pages = PhonePages(desk)
    return [Route("/phone", pages.code), Route(f"/{SHEET}", pages.sheet)]


class PhonePages:
    """What a phone opens."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def code(self, request: Request) -> Response:
        """The code of a day's sheet; without an address for other devices, how there is one."""
        asked = request.query_params
        day, scout = asked.get("day", ""), asked.get("scout", "")
        latest = self.desk.season.latest()
        if latest.season is None:
            return self.desk.waiting(latest, "To the phone")
        found = walked(day_walked(season_route(latest.season), day, scout))
        address = sheet_address(self.desk.address, day=day, scout=scout)
        return self.desk.page(
            "desk_phone.html",
            latest=latest,
            here="week",
            title=f"To the phone: {shift_text(found.date, found.scout)}",
            address=address,
            code=code_svg(address) if address else "",
            file=link("sheet", day=day, scout=scout),
        )

    def sheet(self, request: Request) -> Response:
        """The sheet of a day, opened here, with a way back for its counts."""
        asked = request.query_params
        made = sheet_page(
            self.desk.season,
            asked.get("day", ""),
            asked.get("scout", ""),
            form_token=self.desk.form_token,
        )
        text, _ = walked(made)
        return page(text)


def sheet_address(base: str, *, day: str, scout: str) -> str:
    """The whole address of a sheet, with the token that is in that of the desk; "" without one."""
    if not base:
        return ""
    parts = urlsplit(base)
    query = {"day": day, "scout": scout, **dict(parse_qsl(parts.query))}
    return f"{parts.scheme}://{parts.netloc}/{SHEET}?{urlencode(query)}"


def code_svg(address: str) -> Markup:
    """An address as a QR code (ISO/IEC 18004), dark on light in any colour scheme."""
    made = segno.make(address, micro=False, error="m")
    return Markup(made.svg_inline(scale=CODE_PIXELS, border=4, dark="#000", light="#fff"))
