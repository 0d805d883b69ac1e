"""Systems of coordinates.

Sources of values: the order of axes of each system is that of the EPSG Geodetic Parameter Dataset (4326:
latitude, longitude; 3857 and 25832: east, north). Web Mercator: EPSG Guidance Note 7-2, method 1024, x = a *
lambda with a = 6 378 137 m. Zone 32 has 500 000 m on 9 degrees east (Guidance Note 7-2, method 9824).
"""

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from service.crs_list import (
    CRS84,
    EPSG,
    box_to_crs84,
    crs_of,
    from_crs84,
    is_geographic,
    outline_in_crs84,
    shape_to_crs84,
)

BODENSEE = (9.1, 47.6, 9.2, 47.7)


def test_crs84_stands_first_and_the_zone_is_that_of_the_ground():
    assert crs_of(BODENSEE) == [CRS84, *(f"{EPSG}{code}" for code in (4326, 3857, 32632, 25832))]
    assert f"{EPSG}26917" in crs_of((-80.0, 40.0, -79.9, 40.1))
    assert f"{EPSG}32756" in crs_of((151.2, -33.9, 151.3, -33.8))


@pytest.mark.parametrize("box", [None, (179.9, -17.0, -179.9, -16.0), (-60.0, 10.0, 60.0, 50.0)])
def test_where_no_zone_holds_everything_only_the_systems_of_the_whole_earth_are_offered(box):
    assert crs_of(box) == [CRS84, f"{EPSG}4326", f"{EPSG}3857"]


def test_coordinates_come_in_the_order_of_the_authority():
    there = np.array([[9.0, 47.0]])
    assert from_crs84(CRS84) is None
    assert from_crs84(f"{EPSG}4326")(there).tolist() == [[47.0, 9.0]]
    assert from_crs84(f"{EPSG}25832")(there)[0][0] == pytest.approx(500_000.0, abs=1e-3)
    assert from_crs84(f"{EPSG}3857")(there)[0][0] == pytest.approx(6_378_137 * math.radians(9), abs=1e-6)


def test_a_box_is_read_in_the_order_of_its_system():
    assert box_to_crs84(f"{EPSG}4326", (47.6, 9.1, 47.7, 9.2)) == BODENSEE
    assert box_to_crs84(CRS84, BODENSEE) == BODENSEE
    assert box_to_crs84(f"{EPSG}4326", (-17.0, 179.9, -16.0, -179.9)) == (179.9, -17.0, -179.9, -16.0)
    assert is_geographic(f"{EPSG}4326")
    assert not is_geographic(f"{EPSG}3857")


def test_a_box_of_a_zone_across_the_antimeridian_has_west_greater_than_east():
    west, _, east, _ = box_to_crs84(f"{EPSG}32660", (600_000, 6_000_000, 1_100_000, 6_100_000))
    assert 178 < west < 180
    assert -180 < east < -173


def test_a_box_beyond_its_system_is_none():
    assert box_to_crs84(f"{EPSG}3857", (1e6, 6e6, 1e60, 6.1e6)) is None


@given(
    st.sampled_from([f"{EPSG}4326", f"{EPSG}3857", f"{EPSG}25832", f"{EPSG}32632"]),
    st.floats(9.1, 9.2),
    st.floats(47.6, 47.7),
)
def test_there_and_back_is_the_same_place(uri, lon, lat):
    there = from_crs84(uri)(np.array([[lon, lat]]))
    back = shape_to_crs84(uri)(shapely.points(there)[0])
    assert (back.x, back.y) == pytest.approx((lon, lat), abs=1e-8)


SIDES = st.one_of(st.floats(-1e6, 1e6), st.sampled_from([0.0, -0.0, 5e-324, 1e-9, 40.0]))


@example(f"{EPSG}3857", 0.0, 3.6e-280, 3.6e-280, 3.6e-280)  # a width of which the square is nothing
@given(st.sampled_from([f"{EPSG}3857", f"{EPSG}25832"]), SIDES, SIDES, SIDES, SIDES)
def test_the_outline_of_any_box_meets_its_own_corners(uri, x0, y0, x1, y1):
    box = (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
    outline = outline_in_crs84(uri, box)
    if outline is None:
        assert uri != f"{EPSG}3857"
        return
    corner = shape_to_crs84(uri)(shapely.Point(box[0], box[1]))
    assert shapely.distance(shapely.from_wkb(shapely.to_wkb(outline)), corner) < 1e-9
    shapely.intersects(outline, corner)


def test_a_box_of_degrees_needs_no_outline():
    assert outline_in_crs84(f"{EPSG}4326", (47.0, 9.0, 48.0, 10.0)) is None
