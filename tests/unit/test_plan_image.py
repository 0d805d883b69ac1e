"""Placing a picture on the ground; expected numbers are worked by hand beside each case."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers import plan_image
from layers.errors import PictureNotPlaced

# A camera 10 m up, looking along the ground: a point u to the right and v ahead [m] lies in the picture at
# x = 400 + 500 u / (v + 10), y = 100 + 5000 / (v + 10) [px]; the horizon is at y = 100. By hand.
# The rectangle with corners (0, 0), (10, 0), (10, 15), (0, 15):
SLANTED = [(400.0, 600.0), (900.0, 600.0), (600.0, 300.0), (400.0, 300.0)]


def test_a_known_length_gives_the_scale_and_up_is_north():
    # 300 px right and 400 px down are 500 px; 25 m over 500 px are 0.05 m each: 15 m east, 20 m south.
    placed = plan_image.from_length((100, 200), (400, 600), 25.0)
    assert plan_image.to_ground(placed, [(100, 200), (400, 600)]) == pytest.approx(
        np.array([[0, 0], [15, -20]]), abs=1e-12
    )


def test_with_north_to_the_right_the_right_is_north_and_down_is_east():
    # The same 15 m to the right are now north, the 20 m down are east.
    placed = plan_image.from_length((100, 200), (400, 600), 25.0, north_deg=90)
    assert plan_image.to_ground(placed, [(400, 600)])[0] == pytest.approx([20, 15], abs=1e-12)


def test_a_north_arrow_turns_the_picture_about_its_foot():
    placed = plan_image.from_length((0, 0), (100, 0), 10.0)
    turned = plan_image.with_north(placed, (50, 50), (80, 50))
    assert plan_image.to_ground(turned, [(50, 50)])[0] == pytest.approx([5, -5], abs=1e-12)
    # 30 px to the right are 3 m, now north; 30 px down are now east.
    assert plan_image.to_ground(turned, [(80, 50), (50, 80)]) == pytest.approx(
        np.array([[5, -2], [8, -5]]), abs=1e-12
    )


def test_a_known_point_moves_the_picture_and_makes_the_ground_local():
    placed = plan_image.from_length((0, 0), (100, 0), 10.0)
    moved = plan_image.with_point_m(placed, (100, 100), 500.0, 200.0)
    assert moved.frame == "local"
    assert plan_image.to_ground(moved, [(0, 0)])[0] == pytest.approx([490, 210], abs=1e-12)


def test_a_point_on_earth_becomes_the_start_of_the_metres():
    placed = plan_image.from_length((0, 0), (100, 0), 10.0)
    assert placed.frame == "local"
    anchored = plan_image.with_point_on_earth(placed, (100, 100), 9.17, 47.66)
    assert (anchored.frame, anchored.lon_deg, anchored.lat_deg) == ("earth", 9.17, 47.66)
    assert plan_image.to_ground(anchored, [(100, 100)])[0] == pytest.approx([0, 0], abs=1e-12)


def test_four_corners_of_a_rectangle_place_a_slanted_photo():
    placed = plan_image.from_rectangle(SLANTED, 10.0, 15.0)
    assert plan_image.to_ground(placed, SLANTED) == pytest.approx(
        np.array([[0, 0], [10, 0], [10, 15], [0, 15]]), abs=1e-9
    )
    # u = 4, v = 10: x = 400 + 2000 / 20 = 500, y = 100 + 5000 / 20 = 350.
    assert plan_image.to_ground(placed, [(500, 350)])[0] == pytest.approx([4, 10], abs=1e-9)
    assert plan_image.to_pixels(placed, [(4, 10)])[0] == pytest.approx([500, 350], abs=1e-7)


def test_the_other_way_round_the_same_rectangle_lies_the_same_way_up():
    other = [SLANTED[1], SLANTED[0], SLANTED[3], SLANTED[2]]
    placed = plan_image.from_rectangle(other, 10.0, 15.0)
    assert plan_image.to_ground(placed, other) == pytest.approx(
        np.array([[0, 0], [10, 0], [10, -15], [0, -15]]), abs=1e-9
    )


def test_what_lies_beyond_the_horizon_of_a_photo_is_refused():
    placed = plan_image.from_rectangle(SLANTED, 10.0, 15.0)
    with pytest.raises(PictureNotPlaced, match="horizon"):
        plan_image.to_ground(placed, [(400, 90)])


def test_a_second_known_length_tells_the_misfit_and_the_error_of_areas():
    # 0.05 m a pixel: 400 px are 20 m; taped as 19.2 m that is 20 / 19.2 - 1 = 1/24 too long.
    placed = plan_image.from_length((0, 0), (100, 0), 5.0)
    misfit = plan_image.check_length(placed, (0, 0), (0, 400), 19.2)
    assert misfit == pytest.approx(1 / 24)
    assert plan_image.check_length(placed, (0, 0), (0, 400), 20.8) == pytest.approx(0.8 / 20.8)
    assert plan_image.area_error_share(misfit) == pytest.approx(1 / 12)


def test_two_points_whose_place_is_known_give_scale_and_turn():
    # From (0, 0) to (0, 100), down in the picture, it is 50 m to the west: 0.5 m a pixel, up is east.
    placed = plan_image.from_points([(0, 0), (0, 100)], [(200, 300), (150, 300)])
    # Then right in the picture is south.
    assert plan_image.to_ground(placed, [(10, 0), (0, -10)]) == pytest.approx(
        np.array([[200, 295], [205, 300]])
    )


def test_three_points_give_a_plan_that_was_scanned_out_of_proportion():
    # 0.1 m a pixel across, 0.2 m a pixel down.
    placed = plan_image.from_points([(0, 0), (100, 0), (0, 100)], [(0, 0), (10, 0), (0, -20)])
    assert plan_image.to_ground(placed, [(50, 25)])[0] == pytest.approx([5, -5])


def test_with_more_than_four_points_the_misfit_is_what_the_points_disagree_by():
    corners = [(0, 0), (100, 0), (100, 100), (0, 100), (50, 50)]
    true = [(0, 0), (10, 0), (10, -10), (0, -10), (5, -5)]
    assert plan_image.misfit_m(plan_image.from_points(corners, true), corners, true) == pytest.approx(
        0, abs=1e-9
    )
    off = [*true[:4], (5.0, -4.0)]
    misfit = plan_image.misfit_m(plan_image.from_points(corners, off), corners, off)
    assert 0.1 < misfit < 0.6


def test_the_picture_redrawn_with_north_up_takes_its_pixels_from_the_right_place():
    # North to the right: 200 px wide and 100 high become 100 wide and 200 high; 0.1 m a pixel.
    placed = plan_image.from_length((0, 0), (100, 0), 10.0, north_deg=90)
    redrawn = plan_image.north_up(placed, 200, 100)
    assert (redrawn.width_px, redrawn.height_px) == (100, 200)
    assert redrawn.box_m == pytest.approx((0, 0, 10, 20))
    a, b, c, d, e, f, g, h = redrawn.coefficients
    x, y = 30.0, 40.0  # 3 m east, 16 m north
    depth = g * x + h * y + 1
    assert ((a * x + b * y + c) / depth, (d * x + e * y + f) / depth) == pytest.approx((160, 30))


def test_a_large_picture_is_redrawn_no_longer_than_asked():
    placed = plan_image.from_length((0, 0), (100, 0), 10.0)
    redrawn = plan_image.north_up(placed, 9000, 3000, longest_px=1500)
    assert (redrawn.width_px, redrawn.height_px) == (1500, 500)


def test_a_placement_survives_json():
    placed = plan_image.with_point_on_earth(
        plan_image.from_rectangle(SLANTED, 10.0, 15.0), (400, 600), 9.0, 47.0
    )
    assert plan_image.from_dict(json.loads(json.dumps(placed.to_dict()))) == placed


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"how": "length", "matrix": [1, 2, 3]},
        {"how": "length", "matrix": ["x"] * 9},
        {"how": "guess", "matrix": [1.0] * 9},
        {"how": "length", "matrix": [math.nan] * 9},
        {"how": "length", "matrix": [1.0] * 9, "lon_deg": 9.0},
    ],
)
def test_what_is_no_placement_is_refused(data):
    with pytest.raises(PictureNotPlaced, match="no placement"):
        plan_image.from_dict(data)


def _two_clicks_on_one_spot():
    plan_image.from_length((5, 5), (5, 6), 10.0)


def _no_length():
    plan_image.from_length((0, 0), (100, 0), 0.0)


def _not_a_length():
    plan_image.from_length((0, 0), (100, 0), math.nan)


def _crossed_corners():
    plan_image.from_rectangle([SLANTED[0], SLANTED[2], SLANTED[1], SLANTED[3]], 10.0, 15.0)


def _corners_in_a_line():
    plan_image.from_rectangle([(0, 0), (10, 0), (20, 0), (0, 50)], 10.0, 15.0)


def _points_in_a_line():
    plan_image.from_points([(0, 0), (10, 10), (20, 20)], [(0, 0), (1, 1), (2, 0)])


def _mirrored_points():
    plan_image.from_points([(0, 0), (100, 0), (0, 100)], [(0, 0), (10, 0), (0, 20)])


def _one_spot_for_all():
    plan_image.from_points([(1, 1)] * 5, [(0, 0)] * 5)


def _not_matching():
    plan_image.from_points([(0, 0), (1, 1), (2, 0)], [(0, 0), (1, 1)])


def _north_arrow_without_length():
    plan_image.with_north(plan_image.from_length((0, 0), (100, 0), 10.0), (5, 5), (5, 5))


def _no_place_on_earth():
    plan_image.with_point_on_earth(plan_image.from_length((0, 0), (100, 0), 10.0), (5, 5), 200.0, 47.0)


def _no_place_on_the_ground():
    plan_image.with_point_m(plan_image.from_length((0, 0), (100, 0), 10.0), (5, 5), math.inf, 0.0)


def _picture_through_the_horizon():
    plan_image.north_up(plan_image.from_rectangle(SLANTED, 10.0, 15.0), 1000, 700)


@pytest.mark.parametrize(
    "attempt",
    [
        _two_clicks_on_one_spot,
        _no_length,
        _not_a_length,
        _crossed_corners,
        _corners_in_a_line,
        _points_in_a_line,
        _mirrored_points,
        _one_spot_for_all,
        _not_matching,
        _north_arrow_without_length,
        _no_place_on_earth,
        _no_place_on_the_ground,
        _picture_through_the_horizon,
    ],
)
def test_clicks_that_place_nothing_are_refused_with_what_to_do(attempt):
    with pytest.raises(PictureNotPlaced, match=r"The picture cannot be placed: .+\. .+\."):
        attempt()


pixel = st.tuples(st.floats(0, 4000), st.floats(0, 4000))


@given(
    p=pixel,
    q=pixel,
    length=st.floats(1, 500),
    north=st.floats(-360, 360),
    other=pixel,
)
def test_pixels_go_to_the_ground_and_back(p, q, length, north, other):
    if math.dist(p, q) < 50:
        return
    placed = plan_image.from_length(p, q, length, north)
    assert plan_image.distance_m(placed, p, q) == pytest.approx(length, rel=1e-9)
    back = plan_image.to_pixels(placed, plan_image.to_ground(placed, [other]))[0]
    assert back == pytest.approx(other, abs=1e-5)


@given(
    tilt=st.floats(-0.0002, 0.0002),
    lean=st.floats(-0.0002, 0.0002),
    width=st.floats(2, 100),
    depth=st.floats(2, 100),
    turn=st.floats(0, 6.28),
)
def test_any_view_of_a_rectangle_gives_its_ground_back(tilt, lean, width, depth, turn):
    def seen(x, y):
        u = math.cos(turn) * x - math.sin(turn) * y
        v = math.sin(turn) * x + math.cos(turn) * y
        w = 1 + tilt * u + lean * v
        return (1000 + 8 * u / w, 1000 - 8 * v / w)

    corners = [seen(0, 0), seen(width, 0), seen(width, depth), seen(0, depth)]
    placed = plan_image.from_rectangle(corners, width, depth)
    inside = (0.3 * width, 0.6 * depth)
    assert plan_image.to_ground(placed, [seen(*inside)])[0] == pytest.approx(inside, abs=1e-6)
