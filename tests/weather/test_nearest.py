"""Nearest stations: distances against published and hand-countable ones, and the choice made."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.weather.nearest import EARTH_RADIUS_KM, great_circle_km, match, rank_stations
from stagecast.weather.records import FieldSite, Station

latitudes = st.floats(-90, 90)
longitudes = st.floats(-180, 180)
points = st.tuples(latitudes, longitudes)
QUARTER_KM = EARTH_RADIUS_KM * math.pi / 2


def usable(_: Station) -> str | None:
    """Every station will do."""
    return None


def unless(*ids: str) -> Callable[[Station], str | None]:
    """All stations will do but these."""
    return lambda station: "its record is too short" if station.station in ids else None


def test_a_published_distance() -> None:
    """Nashville to Los Angeles airport is 2886.444442837983 km on a sphere of radius 6371.0 km.

    Coordinates and distance: the "Haversine formula" task of Rosetta Code, which gives the
    result to 35 digits; compared here as an angle, since the radius differs.
    """
    angle = float(great_circle_km(36.12, -86.67, 33.94, -118.40)) / EARTH_RADIUS_KM
    assert angle * 6371.0 == pytest.approx(2886.444442837983, abs=1e-9)


def test_the_radius_is_the_published_mean() -> None:
    """The radius is (2a + b) / 3 of GRS 80: a = 6378.137 km, b = 6356.7523141 km (Moritz 2000)."""
    assert pytest.approx((2 * 6378.137 + 6356.7523141) / 3, abs=1e-3) == EARTH_RADIUS_KM


@pytest.mark.parametrize(
    ("one", "other", "km"),
    [
        ((0, 0), (90, 0), QUARTER_KM),  # equator to pole
        ((0, 0), (0, 90), QUARTER_KM),  # along the equator
        ((90, 0), (90, 135), 0.0),  # all longitudes meet at the pole
        ((10, 179.5), (10, -180.5), 0.0),  # one point, two spellings
        ((0, 179.5), (0, -179.5), QUARTER_KM / 90),  # across the date line
        ((40, -89), (41, -89), QUARTER_KM / 90),  # one degree of a meridian
        ((40, -89), (-40, 91), 2 * QUARTER_KM),  # the opposite point
    ],
)
def test_distances_that_can_be_counted(
    one: tuple[float, float], other: tuple[float, float], km: float
) -> None:
    """On a sphere a quarter of a great circle is 90 degrees of it, wherever it lies.

    To a metre: at the opposite point the arcsine is taken near 1, where half the digits go.
    """
    assert float(great_circle_km(*one, *other)) == pytest.approx(km, abs=1e-3)


@given(points, points)
def test_distance_has_no_direction(one: tuple[float, float], other: tuple[float, float]) -> None:
    """There and back are equal, neither negative nor longer than half round the globe."""
    there = float(great_circle_km(*one, *other))
    assert there == pytest.approx(float(great_circle_km(*other, *one)), abs=1e-9)
    assert 0 <= there <= 2 * QUARTER_KM


@given(points, points, points)
def test_a_detour_is_never_shorter(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]
) -> None:
    """The triangle inequality holds, to a metre (rounding grows near the opposite point)."""
    direct = float(great_circle_km(*a, *c))
    detour = float(great_circle_km(*a, *b)) + float(great_circle_km(*b, *c))
    assert direct <= detour + 1e-3


@given(points, points)
def test_distance_agrees_with_the_angle_between_vectors(
    one: tuple[float, float], other: tuple[float, float]
) -> None:
    """The haversine agrees with atan2(|u x v|, u . v) of the points' unit vectors, to 1 m."""

    def vector(latitude: float, longitude: float) -> np.ndarray:
        lat, lon = math.radians(latitude), math.radians(longitude)
        return np.array(
            [math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)]
        )

    u, v = vector(*one), vector(*other)
    angle = math.atan2(float(np.linalg.norm(np.cross(u, v))), float(u @ v))
    assert float(great_circle_km(*one, *other)) == pytest.approx(EARTH_RADIUS_KM * angle, abs=1e-3)


def test_many_at_once() -> None:
    """A column of places against a row of stations gives the table of single distances."""
    lats, lons = np.array([40.0, 41.0, 42.0]), np.array([-89.0, -90.0, -91.0])
    table = great_circle_km(lats[:, None], lons[:, None], lats, lons)
    assert table.shape == (3, 3)
    assert table[0, 2] == pytest.approx(float(great_circle_km(40, -89, 42, -91)))
    np.testing.assert_allclose(np.diag(table), 0, atol=1e-9)


def test_order_and_distances() -> None:
    """Stations 3, 1 and 2 degrees to the north are ranked 1, 2, 3, with distances to match."""
    stations = [Station("C", 43, -89), Station("A", 41, -89), Station("B", 42, -89)]
    order, distances = rank_stations(40, -89, stations)
    assert order.tolist() == [1, 2, 0]
    assert distances.tolist() == pytest.approx([n * QUARTER_KM / 90 for n in (1, 2, 3)])


@given(st.permutations(["D", "A", "C", "B", "a1", "B2"]))
def test_ties_go_by_id(ids: list[str]) -> None:
    """Stations equally far to the east and west are ranked by id, in whatever order they come."""
    stations = [Station(name, 40.1, -89.3 + (0.7 if i % 2 else -0.7)) for i, name in enumerate(ids)]
    order, _ = rank_stations(40.1, -89.3, stations)
    assert [stations[i].station for i in order] == sorted(ids)


@pytest.mark.parametrize("latitude", [math.nan, math.inf])
@pytest.mark.filterwarnings("ignore:invalid value:RuntimeWarning")
def test_a_place_that_is_nowhere_is_refused(latitude: float) -> None:
    """A coordinate that is not finite is an error, not the start of a ranking."""
    with pytest.raises(ValueError, match="finite"):
        rank_stations(latitude, -89, [Station("A", 41, -89)])


STATIONS = [
    Station("NEAR", 40.1, -89.0, 200.0),
    Station("MID", 40.5, -89.0, 450.0),
    Station("FAR", 41.0, -89.0),
]


def test_the_nearest_is_chosen() -> None:
    """Where all are usable the nearest speaks, 11 km away and 20 m below, neither far nor high."""
    found, passed = match(
        FieldSite(40.0, -89.0, 220.0), STATIONS, why_not=usable, far_km=40, high_m=100
    )
    assert found is not None
    assert found.station.station == "NEAR"
    assert found.distance_km == pytest.approx(QUARTER_KM / 900)
    assert found.elevation_difference_m == -20.0
    assert (found.far, found.high) == (False, False)
    assert passed == ()


def test_nearer_ones_are_passed_over_with_their_reason() -> None:
    """An unusable nearer station is named with distance and reason; the next is far and high."""
    found, passed = match(
        FieldSite(40.0, -89.0, 220.0), STATIONS, why_not=unless("NEAR"), far_km=40, high_m=100
    )
    assert found is not None
    assert found.station.station == "MID"
    assert (found.far, found.high) == (True, True)
    assert [(p.station, p.reason) for p in passed] == [("NEAR", "its record is too short")]
    assert passed[0].distance_km == pytest.approx(QUARTER_KM / 900)


def test_a_station_below_counts_as_high_too() -> None:
    """The height limit holds up and down, and a difference on the limit is within it."""
    place = FieldSite(40.0, -89.0, 320.0)
    below, _ = match(place, STATIONS, why_not=usable, far_km=40, high_m=119)
    on_it, _ = match(place, STATIONS, why_not=usable, far_km=40, high_m=120)
    assert below is not None
    assert on_it is not None
    assert (below.high, on_it.high) == (True, False)


@pytest.mark.parametrize(
    ("place", "bad"), [(FieldSite(40, -89), ()), (FieldSite(40, -89, 220), ("NEAR", "MID"))]
)
def test_an_unknown_elevation_is_unknown(place: FieldSite, bad: tuple[str, ...]) -> None:
    """Where the field's or the station's elevation is unknown the difference is NaN, not high."""
    found, _ = match(place, STATIONS, why_not=unless(*bad), far_km=40, high_m=0)
    assert found is not None
    assert math.isnan(found.elevation_difference_m)
    assert not found.high


def test_no_usable_station() -> None:
    """Where none is usable there is no match, and every station is named, nearest first."""
    found, passed = match(
        FieldSite(40.0, -89.0),
        STATIONS,
        why_not=unless("NEAR", "MID", "FAR"),
        far_km=40,
        high_m=9,
    )
    assert found is None
    assert [p.station for p in passed] == ["NEAR", "MID", "FAR"]
    assert match(FieldSite(40, -89), [], why_not=usable, far_km=40, high_m=9) == (None, ())


@given(st.lists(points, min_size=1, max_size=8), points)
def test_no_usable_station_is_nearer(
    places: list[tuple[float, float]], field: tuple[float, float]
) -> None:
    """No station is nearer than the match, and the order of the list does not change it."""
    stations = [Station(f"S{i}", *place) for i, place in enumerate(places)]
    found, _ = match(FieldSite(*field), stations, why_not=usable, far_km=1, high_m=1)
    other, _ = match(FieldSite(*field), stations[::-1], why_not=usable, far_km=1, high_m=1)
    assert found is not None
    assert other is not None
    assert found.station == other.station
    for place in places:
        # 1 mm of tie, and the last digits of the vectorised sine.
        assert found.distance_km <= float(great_circle_km(*field, *place)) + 2e-6
