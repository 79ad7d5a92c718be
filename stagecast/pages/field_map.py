"""Maps drawn from coordinates alone: where fields lie, their boundaries, and a day's way.

Notes
-----
Equirectangular projection about the middle parallel: ``x = R cos(middle) longitude``,
``y = R latitude``, with angles in radians and R the radius of the mean sphere. Over some hundred
kilometres distances are true to about one in a hundred, better than the mark of a field is wide.

References
----------
Snyder (1987), Map Projections: A Working Manual, USGS Professional Paper 1395, p. 90.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from stagecast.base.units import KM_PER_MILE, Units
from stagecast.pages.svg import Point, element, path, text
from stagecast.weather.nearest import EARTH_RADIUS_KM

Place = tuple[float, float]
"""Latitude and longitude, decimal degrees."""

LETTER_PX, LETTER_HEIGHT_PX = 6.5, 11.0
CELL_PX = 32
LEAST_KM = 1.0
NEAR = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1))
CLOSE, FAR = (7.0, 11.0), (7.0, 11.0, 19.0, 28.0)
"""Distances from a mark at which its name may stand; far off a line leads to it."""

LEAD_PX = 24.0
PRESSING = ("closed", "above", "overdue", "today")
ROUND_LENGTHS = (1.0, 2.0, 5.0)

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True, slots=True)
class Projection:
    """From places to pixels.

    ``middle``: the place in the middle of the drawing.
    ``width`` and ``height``: of the drawing.
    """

    middle: Place
    px_per_km: float
    width: float
    height: float

    def __call__(self, place: Place) -> Point:
        """Where a place lies, to half a pixel."""
        km_per_degree = math.radians(1.0) * EARTH_RADIUS_KM
        east = km_per_degree * math.cos(math.radians(self.middle[0])) * (place[1] - self.middle[1])
        north = km_per_degree * (place[0] - self.middle[0])
        x = self.width / 2 + self.px_per_km * east
        y = self.height / 2 - self.px_per_km * north
        return round(2 * x) / 2, round(2 * y) / 2

    def holds(self, place: Place) -> bool:
        """Whether a place lies on the drawing."""
        x, y = self(place)
        return 0 <= x <= self.width and 0 <= y <= self.height


def projection(
    places: Sequence[Place], *, width: float, tallest: float, lowest: float, margin: float
) -> Projection:
    """A drawing of a width that shows all places, no taller than it must be."""
    lats, lons = [p[0] for p in places], [p[1] for p in places]
    middle = (min(lats) + max(lats)) / 2, (min(lons) + max(lons)) / 2
    km_per_degree = math.radians(1.0) * EARTH_RADIUS_KM
    parallel = km_per_degree * math.cos(math.radians(middle[0]))
    wide_km = max((max(lons) - min(lons)) * parallel, LEAST_KM)
    high_km = max((max(lats) - min(lats)) * km_per_degree, LEAST_KM)
    scale = min((width - 2 * margin) / wide_km, (tallest - 2 * margin) / high_km)
    height = min(tallest, max(lowest, high_km * scale + 2 * margin))
    return Projection(middle, scale, width, float(round(height)))


@dataclass(slots=True)
class Crowd:
    """What stands where on a map, so that names do not pile up."""

    cells: dict[tuple[int, int], list[Box]] = field(default_factory=dict)

    def add(self, box: Box) -> None:
        """Take a place."""
        for cell in self._cells(box):
            self.cells.setdefault(cell, []).append(box)

    def free(self, box: Box) -> bool:
        """Whether nothing stands there."""
        return not any(
            box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3]
            for cell in self._cells(box)
            for other in self.cells.get(cell, ())
        )

    def _cells(self, box: Box) -> Iterator[tuple[int, int]]:
        for column in range(int(box[0] // CELL_PX), int(box[2] // CELL_PX) + 1):
            for row in range(int(box[1] // CELL_PX), int(box[3] // CELL_PX) + 1):
                yield column, row


def around(at: Point, half: float) -> Box:
    """The square round a mark."""
    return at[0] - half, at[1] - half, at[0] + half, at[1] + half


def place_label(
    crowd: Crowd, at: Point, words: str, size: tuple[float, float], *, reach: Sequence[float]
) -> Point | None:
    """The middle of a free place for a label near a mark, which it takes; None where none is.

    Parameters
    ----------
    at: the mark
    size: width and height of the drawing, off which no label goes
    reach: distances from the mark to the label's edge that are tried, in pixels
    """
    half_x, half_y = LETTER_PX * len(words) / 2 + 1, LETTER_HEIGHT_PX / 2 + 1
    for far in reach:
        for right, down in NEAR:
            x, y = at[0] + right * (far + half_x), at[1] + down * (far + half_y)
            box = x - half_x, y - half_y, x + half_x, y + half_y
            inside = box[0] >= 0 and box[1] >= 0 and box[2] <= size[0] and box[3] <= size[1]
            if inside and crowd.free(box):
                crowd.add(box)
                return x, y
    return None


def furniture(shown: Projection, crowd: Crowd, units: Units) -> Markup:
    """Scale bar and north mark in the lower corners; labels keep off them."""
    length, words = scale_bar(shown, units)
    y, right = shown.height - 10, shown.width - 16
    crowd.add((0.0, y - 20, 16 + length + LETTER_PX * len(words), shown.height))
    crowd.add((right - 12, y - 30, shown.width, shown.height))
    return element(
        "g",
        path([(10, y - 5), (10, y), (10 + length, y), (10 + length, y - 5)], class_="rule"),
        text(words, 10, y - 9, class_="scale"),
        path([(right, y - 24), (right + 5, y - 10), (right - 5, y - 10)], closed=True, class_="up"),
        text("N", right, y + 2, text_anchor="middle"),
    )


def scale_bar(shown: Projection, units: Units) -> tuple[float, str]:
    """A round distance that is at most a quarter of the width: its pixels, and its words."""
    km, unit = (KM_PER_MILE, "mi") if units == "us" else (1.0, "km")
    most = shown.width / 4 / (shown.px_per_km * km)
    tens = 10.0 ** math.floor(math.log10(most))
    length = max(step * tens for step in ROUND_LENGTHS if step * tens <= most)
    return round(2 * length * km * shown.px_per_km) / 2, f"{length:g} {unit}"


@dataclass(frozen=True, slots=True)
class MapField:
    """A field as the map of all fields marks it.

    Attributes
    ----------
    number: its place by need, by which links call it
    name: its id, which stands beside the mark
    need: id of its mark
    words: what more it is, in a line
    outline: rings of its boundary, each a list of places; empty where nobody drew one
    """

    number: int
    name: str
    place: Place
    need: str
    words: str
    outline: tuple[tuple[Place, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class MapSize:
    """How wide a map is, how tall at least and at most, and how far marks keep off its edge."""

    width: float
    lowest: float
    tallest: float
    margin: float


WIDE, NARROW = MapSize(1200, 240, 560, 24), MapSize(340, 200, 380, 20)
"""For a desk, and for a phone: each with names as large as they can be read."""


def season_map(
    fields: Sequence[MapField],
    homes: Iterable[Place],
    ways: Sequence[Sequence[Place]],
    *,
    size: MapSize,
    units: Units,
) -> Markup:
    """All fields by need, with boundaries and a day's ways; the most pressing are named first."""
    starts = list(dict.fromkeys(homes))
    corners = [place for one in fields for ring in one.outline for place in ring]
    places = [*(one.place for one in fields), *starts, *corners]
    shown = projection(
        places, width=size.width, tallest=size.tallest, lowest=size.lowest, margin=size.margin
    )
    crowd = Crowd()
    drawn = [furniture(shown, crowd, units), _outlines(fields, shown)]
    drawn += [path([shown(place) for place in way], class_=f"way w{i % 3}")
              for i, way in enumerate(ways)]  # fmt: skip
    for one in fields:
        crowd.add(around(shown(one.place), 6))
    for home in starts:
        crowd.add(around(shown(home), 8))
    marks = []
    for one in fields:
        at = shown(one.place)
        reach = FAR if one.need in PRESSING else CLOSE
        label = place_label(crowd, at, one.name, (shown.width, shown.height), reach=reach)
        marks.append(_field_mark(one, at, label, full=size is WIDE))
    drawn += [home_at(shown(home)) for home in starts]
    drawn += reversed(marks)  # the most pressing on top
    return element(
        "svg",
        *drawn,
        viewBox=f"0 0 {shown.width:g} {shown.height:g}",
        role="group",
        aria_label="Map of the fields",
        class_="chart map",
    )


def _outlines(fields: Sequence[MapField], shown: Projection) -> Markup:
    """All boundaries as one shape."""
    rings = (
        list(dict.fromkeys(shown(place) for place in ring))
        for one in fields
        for ring in one.outline
    )
    drawn = "".join(
        "M" + "L".join(f"{x:g} {y:g}" for x, y in ring) + "Z" for ring in rings if len(ring) > 2
    )
    return element("path", d=drawn, class_="bounds") if drawn else Markup("")


def _field_mark(one: MapField, at: Point, label: Point | None, *, full: bool) -> Markup:
    """A mark that leads to the field; a name without room shows when it is pointed at.

    ``full``: whether the words show too, as where there is something to point with.
    """
    x, y = label or (at[0], at[1] - 14)
    name = element("text", one.name, x=x, y=y + 4, class_=None if label else "on")
    lead = path([at, (x, y)], class_="lead") if math.dist(at, (x, y)) > LEAD_PX else Markup("")
    return element(
        "a",
        element("title", f"{one.name} {one.words}") if full else Markup(""),
        lead,
        element("use", href=f"#n-{one.need}", x=at[0], y=at[1]),
        name,
        href=f"#f{one.number}",
    )


def home_at(at: Point) -> Markup:
    """A house at a place."""
    return element("use", element("title", "home"), href="#m-home", x=at[0], y=at[1])


def home_mark() -> Markup:
    """A house, drawn once."""
    house = [(-6.0, 7.0), (-6.0, -1.0), (0.0, -7.0), (6.0, -1.0), (6.0, 7.0)]
    return path(house, closed=True, id="m-home", class_="home")
