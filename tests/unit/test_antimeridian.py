"""Shapes across 180 degrees, cut there (RFC 7946, section 3.1.9)."""

import json

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from layers import antimeridian
from service.outlets.geojson_out import geojson_pieces
from tests.outlet_view import areas_frame, layer_of, make_view


def cut(shape):
    (made,) = antimeridian.cut(np.array([shape], dtype=object))
    return made


def across(west, south, east, north):
    """A box across the line, as its corners are written in degrees up to 180."""
    return shapely.Polygon([(west, south), (east, south), (east, north), (west, north)])


def test_a_line_is_cut_as_the_standard_shows():
    """RFC 7946, section 3.1.9, the first example: from 45 N 170 E across the antimeridian to 45 N 170 W."""
    assert cut(shapely.LineString([(170.0, 45.0), (-170.0, 45.0)])).equals(
        shapely.MultiLineString([[(170.0, 45.0), (180.0, 45.0)], [(-180.0, 45.0), (-170.0, 45.0)]])
    )


def test_a_polygon_is_cut_as_the_standard_shows():
    """RFC 7946, section 3.1.9, the second example: 45 to 40 N, from 170 E to 170 W."""
    made = cut(across(170.0, 40.0, -170.0, 45.0))
    assert made.geom_type == "MultiPolygon"
    assert made.equals(shapely.MultiPolygon([shapely.box(170, 40, 180, 45), shapely.box(-180, 40, -170, 45)]))


def test_holes_are_cut_too():
    hole = [(179.5, 1.0), (-179.5, 1.0), (-179.5, 2.0), (179.5, 2.0)]
    beside = [(-179.0, 1.0), (-178.5, 1.0), (-178.5, 2.0), (-179.0, 2.0)]
    made = cut(shapely.Polygon(across(178.0, 0.0, -178.0, 3.0).exterior, [hole, beside]))
    assert made.is_valid
    assert made.area == pytest.approx(4 * 3 - 1 - 0.5)
    assert not made.intersects(shapely.Point(179.8, 1.5))
    assert not made.intersects(shapely.Point(-178.7, 1.5))
    assert made.intersects(shapely.Point(-179.3, 1.5))


def test_of_several_parts_only_those_that_cross_are_cut():
    both = shapely.MultiPolygon([shapely.box(170, 0, 171, 1), across(179.0, 0.0, -179.0, 1.0)])
    assert len(cut(both).geoms) == 3
    mixed = shapely.GeometryCollection([shapely.Point(180, 0), across(179.0, 0.0, -179.0, 1.0)])
    assert [part.geom_type for part in cut(mixed).geoms] == ["Point", "MultiPolygon"]


def test_what_does_not_cross_stays_as_it_is():
    shapes = [
        shapely.box(9, 47, 10, 48),
        shapely.MultiPolygon([shapely.box(-179, 0, -178, 1), shapely.box(178, 0, 179, 1)]),
        shapely.MultiPoint([(-179, 0), (179, 0)]),
        shapely.Polygon([(-120, 80), (0, 80), (120, 80)]),  # round the pole: no side is the short way
        None,
    ]
    made = antimeridian.cut(np.array(shapes, dtype=object))
    assert all(one is other for one, other in zip(made, shapes, strict=True))


@given(
    st.floats(170, 179.99), st.floats(-179.99, -170), st.floats(-60, 60), st.floats(0.01, 20), st.booleans()
)
def test_nothing_is_lost_and_nothing_crosses_any_more(west, east, south, high, turned):
    outline = across(west, south, east, south + high)
    made = cut(outline.reverse() if turned else outline)
    assert made.area == pytest.approx((360 + east - west) * high)
    assert made.is_valid
    for part in made.geoms:
        assert -180 <= part.bounds[0] <= part.bounds[2] <= 180
        assert part.bounds[2] - part.bounds[0] < 180


def test_an_area_across_the_line_leaves_as_two_parts():
    view = make_view(areas=areas_frame(geometry=across(179.9, -17.0, -179.9, -16.9)))
    (feature,) = json.loads(b"".join(geojson_pieces(layer_of(view, "areas"))))["features"]
    assert feature["geometry"]["type"] == "MultiPolygon"
    places = [place for part in feature["geometry"]["coordinates"] for ring in part for place in ring]
    assert {round(lon, 6) for lon, _ in places} == {179.9, 180.0, -180.0, -179.9}
