"""Addresses of the desk's pages."""

from __future__ import annotations

from urllib.parse import urlencode


def link(page: str, **query: str) -> str:
    """The address of a page; what it is about stands in the query, never in the path."""
    return f"/{page}?{urlencode(query)}"
