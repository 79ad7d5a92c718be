"""The browser of the tests itself sees what it is there to see."""

from __future__ import annotations

import pytest
from browser import DESK, PHONE, OpenPage, axe_violations

pytestmark = pytest.mark.browser

BAD = (
    '<html><body><img src="http://198.51.100.7/x.png"><script>throw new Error("bad")</script>'
    '<p style="width: 2000px">wide</p></body></html>'
)
GOOD = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Page</title></head>'
    "<body><main><h1>Page</h1><p>Text.</p></main></body></html>"
)


def test_what_is_wrong_is_seen(open_page: OpenPage) -> None:
    """Proves that requests, errors of scripts, width and bad markup of a page are found."""
    opened = open_page(BAD, size=PHONE)
    assert opened.requests == ["http://198.51.100.7/x.png"]
    assert any("bad" in text for text in opened.complaints)
    assert opened.sideways > 1000
    assert {found.partition(":")[0] for found in axe_violations(opened.page)} >= {
        "document-title", "html-has-lang", "image-alt",
    }  # fmt: skip


def test_a_good_page_is_left_in_peace(open_page: OpenPage) -> None:
    """Proves that nothing is found on a page that is in order, and that it can be printed."""
    opened = open_page(GOOD, size=DESK, dark=True)
    assert not opened.requests
    assert not opened.complaints
    assert opened.sideways == 0
    assert axe_violations(opened.page) == []
    assert opened.printed().startswith(b"%PDF")
