"""A server of mail that the tests of this folder share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from mail_server import MailServer, mail_server


@pytest.fixture(scope="module")
def server() -> Iterator[MailServer]:
    """A server on loopback that takes everything until it is told otherwise."""
    with mail_server() as found:
        yield found


@pytest.fixture
def fresh(server: MailServer) -> None:
    """Every test begins with a good server that has taken nothing."""
    server.forget()
