"""What stands before every page: who may ask, from where, and how much may be sent.

A browser that visits a stranger's page must not be made to read or write here. A name that leads
to this computer only because a stranger says so is refused by the ``Host`` header; a form on a
stranger's page by ``Origin``, ``Sec-Fetch-Site`` and the token in our own forms.
"""

from __future__ import annotations

import asyncio
import hmac
import re
from urllib.parse import unquote_to_bytes, urlencode

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from stagecast.desk.messages import message_html, opened_html

LARGEST_BODY = 2_000_000
"""Bytes; the longest note that the log takes fits, however it is written."""

READ_ON = 10 * LARGEST_BODY
"""Bytes read to their end all the same, and not kept: a browser shows no answer before."""

ARRIVES_S = 60.0
"""How long what is sent may take to arrive, in seconds: a full one at 35 kB a second."""

METHODS = ("GET", "HEAD", "POST")
HERE = frozenset({"127.0.0.1", "localhost"})
POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'none'; img-src data:; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}

_HOST = re.compile(r"(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(:[0-9]{1,5})?")


class Refused(Exception):
    """A request that is not answered, and why."""

    def __init__(self, status: int, title: str, sentence: str) -> None:
        super().__init__(sentence)
        self.status = status
        self.title = title
        self.sentence = sentence


class Guard:
    """The outermost part of the application.

    ``token``: with it every request needs the token, in the address or as a cookie, and any name of
    this computer will do; without it only this computer's own names are answered.
    """

    def __init__(self, app: ASGIApp, *, token: str | None = None) -> None:
        self.app = app
        self.token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        request = Request(scope)
        answer: Response | None
        try:
            host = host_of(request)
            check_text(request)
            answer = self._let_in(request, host)
            if answer is None and request.method not in METHODS:
                raise Refused(405, "Not here", "The desk answers to GET and POST only.")
            if answer is None and request.method == "POST":
                check_origin(request, host)
                receive = replayed(await body_of(request, receive))
        except Refused as refused:
            html = message_html(refused.title, [refused.sentence])
            answer = HTMLResponse(html, refused.status, headers={"Connection": "close"})
        await (answer or self.app)(scope, receive, _with_headers(send))

    def _let_in(self, request: Request, host: str) -> Response | None:
        """A welcome where the token came in the address, which sets the cookie; else nothing."""
        if self.token is None:
            if host.partition(":")[0].lower() not in HERE:
                sentence = (
                    "The desk answers on this computer only, at the address that was printed "
                    "where it was started."
                )
                raise Refused(403, "Not this address", sentence)
            return None
        cookie = cookie_name(request)
        if same_secret(request.cookies.get(cookie, ""), self.token):
            return None
        if request.method == "GET" and same_secret(
            request.query_params.get("token", ""), self.token
        ):
            return _welcome(request, cookie, self.token)
        sentence = (
            "Open the desk with the whole address that was printed where it was started; on a "
            "phone scan its code anew. What stands on a sheet stays there."
        )
        raise Refused(403, "The address is not complete", sentence)


def host_of(request: Request) -> str:
    """The one host that a request is for."""
    hosts = request.headers.getlist("host")
    if len(hosts) != 1 or not _HOST.fullmatch(hosts[0]):
        raise Refused(400, "Not understood", "The request names no host, or several.")
    return hosts[0]


def check_text(request: Request) -> None:
    """Refuse an address that is no text."""
    try:
        for part in (request.scope.get("raw_path", b""), request.scope["query_string"]):
            unquote_to_bytes(part).decode()
    except UnicodeDecodeError as error:
        raise Refused(400, "Not understood", "The address holds bytes that are no text.") from error


def check_origin(request: Request, host: str) -> None:
    """Refuse what a page of somewhere else sends.

    Our pages send no referrer, for which browsers say ``null`` in place of the origin: then they
    must say in ``Sec-Fetch-Site`` that the page was ours.
    """
    site = request.headers.get("sec-fetch-site")
    origins = request.headers.getlist("origin")
    ours = {f"http://{host.lower()}"} | ({"null"} if site == "same-origin" else set())
    if any(origin.lower() not in ours for origin in origins) or site in ("cross-site", "same-site"):
        sentence = "Nothing was logged: this was not sent from a page of the desk."
        raise Refused(403, "Not from here", sentence)


async def body_of(request: Request, receive: Receive) -> bytes:
    """The whole body, if it is of a size that a form can have and arrives in time."""
    told = request.headers.get("content-length", "0")
    if not told.isascii() or not told.isdigit():
        raise Refused(400, "Not understood", "The request does not say how long it is.")
    try:
        async with asyncio.timeout(ARRIVES_S):
            return await _arrived(receive, announced=int(told[:12]))
    except TimeoutError as error:
        sentence = (
            f"Nothing was logged: not all of it arrived within {ARRIVES_S:.0f} seconds. Go back, "
            "and send it again where the connection is better."
        )
        raise Refused(408, "Too slow", sentence) from error


async def _arrived(receive: Receive, *, announced: int) -> bytes:
    """The body as it comes in; of one that is too long no more is kept than was looked at."""
    body, read, more = bytearray(), 0, announced <= READ_ON
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Refused(400, "Not understood", "The request broke off.")
        part = message.get("body", b"")
        read += len(part)
        if read <= LARGEST_BODY:
            body += part
        more = message.get("more_body", False) and read <= READ_ON
    if max(announced, read) > LARGEST_BODY:
        sentence = (
            f"Nothing was logged: more than {LARGEST_BODY:,} bytes were sent. Go back, "
            "shorten what was typed, and send it again."
        )
        raise Refused(413, "Too long", sentence)
    return bytes(body)


def replayed(body: bytes) -> Receive:
    """The same body once more, for the application."""

    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    return receive


def same_secret(one: str, other: str) -> bool:
    """Whether two secrets are the same, in a time that tells nothing."""
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode("utf-8"))


def cookie_name(request: Request) -> str:
    """Cookies are not kept apart by port, so the name is."""
    return f"stagecast_desk_{(request.scope.get('server') or ('', 0))[1]}"


def _welcome(request: Request, cookie: str, token: str) -> Response:
    """A page that goes on by itself, from ours to ours, so that the strict cookie is sent along.

    A redirect would not do: it counts as coming from wherever the address was followed.
    """
    rest = [(k, v) for k, v in request.query_params.multi_items() if k != "token"]
    target = "/" + request.url.path.lstrip("/\\") + (f"?{urlencode(rest)}" if rest else "")
    answer = HTMLResponse(opened_html(target))
    answer.set_cookie(cookie, token, path="/", httponly=True, samesite="strict")
    return answer


def _with_headers(send: Send) -> Send:
    async def sends(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sends
