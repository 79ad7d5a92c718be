"""Text files as nobody meant them: by chance, from a seed."""

from __future__ import annotations

import random

CELLS = (
    "", " ", "nan", "inf", "-inf", "1e999", "-0", "9" * 400, "0x10", "\uff11\uff12", "1_0", "1,5",
    "+1",
    "2026-02-30", "0000-00-00", "9999-12-31", "2/30/26", "13/13/2026", "1.7.2026", "=1+1", "NULL",
    "None", "true", '"', "'", '""', "\\", "\x00", "\x1b[31m", "\u202e", "\u2028", "\ud7ff",
    "\ufeff", "\U0001f41b",
    "a" * 5_000, "F01", "F1", "F1 ", "stink-bugs", "V99", "R9", "-1", "100.0001", "90", "-180.1",
    "[", "{", "]]", "[[x]]", "#", "\n", "\r", ";", "\t", "../../x", "<b>",
)  # fmt: skip
"""What stands in a cell when a hand, a spreadsheet or a program slips."""

ENCODINGS = ("utf-16", "utf-8-sig", "cp1252", "utf-32")


def spoilt(data: bytes, draw: random.Random) -> bytes:
    """The same with one to four things wrong."""
    for _ in range(draw.choice((1, 1, 2, 4))):
        data = draw.choice(_WAYS)(data, draw)
    return data


def _cell(data: bytes, draw: random.Random) -> bytes:
    lines = data.split(b"\n")
    at = draw.randrange(len(lines))
    sign = draw.choice((b",", b",", b"=", b" "))
    cells = lines[at].split(sign)
    cells[draw.randrange(len(cells))] = draw.choice(CELLS).encode("utf-8", "surrogatepass")
    lines[at] = sign.join(cells)
    return b"\n".join(lines)


def _bytes(data: bytes, draw: random.Random) -> bytes:
    found = bytearray(data)
    for _ in range(draw.choice((1, 3, 10))):
        at = draw.randrange(len(found) + 1)
        match draw.choice(("change", "insert", "drop")):
            case "change":
                found[at : at + 1] = draw.randbytes(1)
            case "insert":
                found[at:at] = draw.randbytes(draw.choice((1, 2, 40)))
            case "drop":
                del found[at : at + draw.choice((1, 2, 40))]
    return bytes(found)


def _lines(data: bytes, draw: random.Random) -> bytes:
    lines = data.split(b"\n")
    one, other = (draw.randrange(len(lines)) for _ in range(2))
    match draw.choice(("twice", "gone", "swapped", "joined")):
        case "twice":
            lines.insert(one, lines[other])
        case "gone":
            del lines[one]
        case "swapped":
            lines[one], lines[other] = lines[other], lines[one]
        case "joined":
            lines[one : one + 2] = [b"".join(lines[one : one + 2])]
    return b"\n".join(lines)


def _cut(data: bytes, draw: random.Random) -> bytes:
    return data[: draw.randrange(len(data) + 1)]


def _written_otherwise(data: bytes, draw: random.Random) -> bytes:
    text = data.decode("utf-8", "replace")
    match draw.choice(("encoding", "ends", "sign")):
        case "encoding":
            return text.encode(draw.choice(ENCODINGS), "replace")
        case "ends":
            return text.replace("\n", draw.choice(("\r\n", "\r", "\n\n"))).encode()
        case _:
            return text.replace(",", draw.choice((";", "\t", "|"))).encode()


_WAYS = (_cell, _cell, _cell, _cell, _bytes, _lines, _lines, _cut, _written_otherwise)
