"""How large an answer of a weather service may be, as it is sent and as it is unpacked.

Some kilobytes can unpack to more than a machine has room for. pandas asks through the opener of
urllib, so a limit there holds before anything is unpacked.
"""

from __future__ import annotations

import urllib.request
import zlib
from typing import Any

MB = 1_000_000
_PACKED = b"\x1f\x8b"
_GZIP_BITS = 31
_CHUNK = 65_536


class TooLarge(OSError):
    """An answer is larger than any that makes sense."""

    def __init__(self, what: str, largest_bytes: int) -> None:
        size = f"{largest_bytes / MB:g} MB"
        super().__init__(f"{what} is larger than {size}, as no days of a station are")


def limit_answers(largest_mb: float) -> None:
    """From here on refuse what is larger, in MB, in this process."""
    sent = _Sent(round(largest_mb * MB))
    urllib.request.install_opener(urllib.request.build_opener(sent))


class _Sent(urllib.request.BaseHandler):
    """Answers of which no more is taken than that, nor what unpacks to more."""

    def __init__(self, largest_bytes: int) -> None:
        self.largest_bytes = largest_bytes

    def http_response(self, request: urllib.request.Request, response: Any) -> Any:
        """The answer, read no further than the limit."""
        take = response.read

        def read(size: int | None = None) -> bytes:
            data: bytes = take(self.largest_bytes + 1 if size is None or size < 0 else size)
            if len(data) > self.largest_bytes:
                raise TooLarge("an answer", self.largest_bytes)
            if data.startswith(_PACKED) and _unpacks_beyond(data, self.largest_bytes):
                raise TooLarge("an answer, unpacked,", self.largest_bytes)
            return data

        response.read = read
        return response

    https_response = http_response


def _unpacks_beyond(data: bytes, largest_bytes: int) -> bool:
    """Whether a packed answer holds more; it is counted piece by piece and not kept."""
    seen = 0
    try:
        while data:
            one = zlib.decompressobj(wbits=_GZIP_BITS)
            while data and not one.eof and seen <= largest_bytes:
                seen += len(one.decompress(data, _CHUNK))
                data = one.unconsumed_tail
            if seen > largest_bytes:
                return True
            data = one.unused_data
    except zlib.error:
        pass  # its reader says what is wrong with it
    return False
