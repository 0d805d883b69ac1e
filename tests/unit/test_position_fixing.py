"""Positions of trees and heights: by hand, against another way of computing, and back again."""

import json
import math
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from layers import height_by_angle, pacing, position_fixing
from layers.errors import LayerError, NothingToCompute, OutsideDomain, PositionNotFixed
from layers.position_fixing import LEFT, RIGHT, Known
from tests.shared_cases import make_position_fixing as made

FILES = (made.POSITIONS, made.HEIGHTS)
CASES = [case for file in FILES for case in json.loads(file.read_text(encoding="utf-8"))["cases"]]
A, B = Known(0, 0), Known(5, 0)
TENTHS = st.integers(-800, 800).map(lambda tenths: tenths / 10)
PLACE = st.builds(Known, TENTHS, TENTHS, st.just(0.0))


def as_told(fix):
    names = ("x_m", "y_m", "var_x_m2", "cov_xy_m2", "var_y_m2", "accuracy_m")
    return {name: getattr(fix, name) for name in names}


def answer(of, given):
    """What the program says to a shared case, as the case would say it."""
    given = {name: Known(*value) if name in ("a", "b") else value for name, value in given.items()}
    if "counts" in given:
        given["pace"] = pacing.pace_of(given.pop("counts"), given.pop("walked_m"))
    if "fixes" in given:
        given["fixes"] = [Known(*fix) for fix in given["fixes"]]
    module = height_by_angle if of.startswith("height") else position_fixing
    try:
        found = getattr(module, of)(**given)
    except PositionNotFixed as fault:
        return {"fault": fault.reason}
    except LayerError as fault:
        return {"fault": {NothingToCompute: "nothing", OutsideDomain: "outside"}[type(fault)]}
    if of == "two_tapes":
        return {side: as_told(fix) for side, fix in found.items()}
    return vars(found) if module is height_by_angle else as_told(found)


def flat(answer):
    return {
        (name, inner): value
        for name, said in answer.items()
        for inner, value in (said if isinstance(said, dict) else {"": said}).items()
    }


def near(value, share):
    return value if isinstance(value, str) else pytest.approx(value, rel=share, abs=share / 10)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['of']}, {case['name']}")
def test_a_shared_case_is_answered_as_another_way_of_computing_answers_it(case):
    found, expected = flat(answer(case["of"], case["given"])), flat(case["expected"])
    assert found.keys() == expected.keys()
    for name, value in expected.items():
        assert found[name] == near(value, 1e-5), name


@pytest.mark.parametrize(("file", "document"), list(made.documents()), ids=["positions", "heights"])
def test_the_files_of_shared_cases_are_what_their_script_makes(file, document):
    kept = json.loads(file.read_text(encoding="utf-8"))
    assert len(kept["cases"]) == len(document["cases"]) > 30
    for one, other in zip(kept["cases"], document["cases"], strict=True):
        assert (one["name"], one["of"], one["given"]) == (other["name"], other["of"], other["given"])
        found, again = flat(one["expected"]), flat(other["expected"])
        assert found == {name: near(value, 1e-6) for name, value in again.items()}


def test_the_shared_cases_hold_every_way_and_every_fault():
    assert len({case["of"] for case in CASES}) == 8
    faults = {case["expected"].get("fault") for case in CASES} - {None}
    assert faults == {"too short", "too long", "too narrow", "same point", "nothing", "outside"}


def test_two_tapes_of_3_and_4_from_points_5_apart_cross_squarely_and_leave_a_good_quarter_of_a_metre():
    found = position_fixing.two_tapes(A, B, 3, 4)
    assert (found[LEFT].x_m, found[LEFT].y_m) == pytest.approx((1.8, 2.4))
    assert (found[RIGHT].x_m, found[RIGHT].y_m) == pytest.approx((1.8, -2.4))
    assert found[LEFT].accuracy_m == pytest.approx(0.2 * math.sqrt(2))


@given(PLACE, PLACE, PLACE, st.floats(0.05, 0.5))
def test_two_tapes_find_the_point_they_were_measured_to_with_the_textbooks_error(a, b, tree, se):
    lengths = [math.dist(tree[:2], point[:2]) for point in (a, b)]
    assume(min(*lengths, math.dist(a[:2], b[:2])) > 0.5)
    cosine = (lengths[0] ** 2 + lengths[1] ** 2 - math.dist(a[:2], b[:2]) ** 2) / (
        2 * lengths[0] * lengths[1]
    )
    crossing = math.sin(math.acos(max(-1.0, min(1.0, cosine))))
    assume(crossing > 0.2)
    found = position_fixing.two_tapes(a, b, *lengths, tape_se_m=se)
    turn = (b.x_m - a.x_m) * (tree.y_m - a.y_m) - (b.y_m - a.y_m) * (tree.x_m - a.x_m)
    fix = found[LEFT if turn > 0 else RIGHT]
    assert (fix.x_m, fix.y_m) == pytest.approx(tree[:2], abs=1e-6)
    assert fix.accuracy_m == pytest.approx(se * math.sqrt(2) / crossing, rel=1e-6)
    for either in found.values():
        back = [math.dist((either.x_m, either.y_m), point[:2]) for point in (a, b)]
        assert back == pytest.approx(lengths, rel=1e-9)


def test_what_two_tapes_leave_open_is_what_tapes_with_errors_scatter_by():
    dice = random.Random(11)
    a, b, tree = Known(0, 0), Known(18, 5), (7.0, 11.0)
    exact = [math.dist(tree, point[:2]) for point in (a, b)]
    told = position_fixing.two_tapes(a, b, *exact)[LEFT].accuracy_m
    away = []
    for _try in range(4000):
        drawn = [length + dice.gauss(0, position_fixing.TAPE_SE_M) for length in exact]
        fix = position_fixing.two_tapes(a, b, *drawn)[LEFT]
        away.append(math.dist((fix.x_m, fix.y_m), tree) ** 2)
    assert math.sqrt(sum(away) / len(away)) == pytest.approx(told, rel=0.04)


@given(PLACE, PLACE, st.floats(-20, 60), st.floats(0, 40), st.sampled_from([LEFT, RIGHT]))
def test_along_and_off_find_the_point_again_on_the_side_that_was_said(a, b, along, off, side):
    d = math.dist(a[:2], b[:2])
    assume(d > 0.5)
    fix = position_fixing.along_and_off(a, b, along, off, side)
    way, to = (b.x_m - a.x_m, b.y_m - a.y_m), (fix.x_m - a.x_m, fix.y_m - a.y_m)
    assert (way[0] * to[0] + way[1] * to[1]) / d == pytest.approx(along, abs=1e-6)
    aside = (way[0] * to[1] - way[1] * to[0]) / d
    assert aside == pytest.approx(off if side == LEFT else -off, abs=1e-6)


def test_a_right_angle_by_eye_moves_a_point_along_the_wall_by_its_distance_from_it():
    fix = position_fixing.along_and_off(A, B, 4, 10, LEFT, tape_se_m=0, right_angle_se_deg=5)
    assert (math.sqrt(fix.var_x_m2), fix.var_y_m2) == pytest.approx((0.873, 0), abs=5e-4)


@given(PLACE, st.floats(0, 360), st.floats(0.5, 60))
def test_a_bearing_and_a_distance_lead_back(a, bearing, distance):
    fix = position_fixing.bearing_and_distance(a, bearing, distance)
    east, north = fix.x_m - a.x_m, fix.y_m - a.y_m
    assert math.hypot(east, north) == pytest.approx(distance, abs=1e-6)
    gap = (math.degrees(math.atan2(east, north)) - bearing) % 360
    assert min(gap, 360 - gap) == pytest.approx(0, abs=1e-4)


def test_fifteen_degrees_make_five_metres_at_20_m_and_declination_turns_only_where_it_is_given():
    east = position_fixing.bearing_and_distance(A, 90, 20)
    assert (east.x_m, east.y_m) == pytest.approx((20, 0))
    assert math.sqrt(east.var_y_m2) == pytest.approx(5.236, abs=5e-4)
    turned = position_fixing.bearing_and_distance(A, 85, 20, declination_deg=5)
    assert (turned.x_m, turned.y_m) == pytest.approx((20, 0))
    with pytest.raises(OutsideDomain):
        position_fixing.bearing_and_distance(A, 361, 20)


def test_25_paces_over_20_m_are_80_cm_each_and_even_ones_are_never_taken_for_exact():
    pace = pacing.pace_of([25, 25, 25])
    assert pace.length_m == pytest.approx(0.8)
    assert pace.length_se_m == pytest.approx(0.8 * 0.02 / math.sqrt(3))
    assert pace.sd_m == pytest.approx(0.8 * 0.02 * 5)
    uneven = pacing.pace_of([24, 25, 26])
    assert uneven.sd_m == pytest.approx(0.8 * 0.04 * 5)
    with pytest.raises(NothingToCompute):
        pacing.pace_of([25, 25])
    with pytest.raises(OutsideDomain):
        pacing.pace_of([25, 25, 0])


def test_paces_find_the_same_place_as_a_tape_and_know_it_less_well():
    pace = pacing.pace_of([25, 25, 25])
    paced = position_fixing.along_and_off_in_paces(A, B, 20, 10, RIGHT, pace)
    taped = position_fixing.along_and_off(A, B, 16, 8, RIGHT)
    assert (paced.x_m, paced.y_m) == pytest.approx((taped.x_m, taped.y_m))
    assert paced.accuracy_m > taped.accuracy_m


@given(
    st.lists(st.builds(Known, st.floats(-9, 9), st.floats(-9, 9), st.floats(1, 40)), min_size=1, max_size=20)
)
def test_a_mean_of_gps_is_never_better_than_its_best_fix_or_5_m_under_crowns(fixes):
    fix = position_fixing.averaged(fixes)
    assert fix.accuracy_m >= max(5, min(each.accuracy_m for each in fixes)) - 1e-9
    for axis in ("x_m", "y_m"):
        said = [getattr(each, axis) for each in fixes]
        assert min(said) - 1e-9 <= getattr(fix, axis) <= max(said) + 1e-9


def test_a_finger_is_three_and_a_half_metres_at_1_to_500_and_scales_with_the_zoom():
    assert position_fixing.tapped(0, 0, 500).accuracy_m == pytest.approx(3.5)
    assert position_fixing.tapped(0, 0, 100).accuracy_m == pytest.approx(0.7)


@pytest.mark.parametrize("lengths", [(0, 3), (3, -1)])
def test_a_tape_of_no_length_is_refused(lengths):
    with pytest.raises(OutsideDomain):
        position_fixing.two_tapes(A, B, *lengths)


def test_why_a_position_cannot_be_found_is_a_sentence_that_says_what_to_do():
    with pytest.raises(PositionNotFixed, match=r"measure again\.$"):
        position_fixing.two_tapes(A, B, 1, 2)
    with pytest.raises(PositionNotFixed, match="take another known point"):
        position_fixing.two_tapes(A, B, 2.501, 2.501)


def test_17_degrees_at_50_feet_and_eyes_at_5_and_a_half_are_a_tree_of_20_point_8_feet():
    """As printed in a school's lesson on the clinometer: 15.3 + 5.5 = 20.8 feet."""
    foot = -math.degrees(math.atan2(5.5, 50))
    assert round(height_by_angle.height_by_angle(50, 17, foot).height_m, 1) == 20.8


@given(
    st.floats(2, 60),
    st.floats(3, 50),
    st.floats(-3, 3),
    st.floats(-25, 25),
    st.floats(0.5, 2),
    st.floats(40, 75),
)
def test_a_tree_of_known_height_is_found_again_by_angles_and_by_stick(far, tall, foot, slope, eye, reach):
    top_deg = math.degrees(math.atan2(foot + tall - eye, far))
    foot_deg = math.degrees(math.atan2(foot - eye, far))
    assume(abs(top_deg) < 80 and abs(foot_deg) < 80)
    taped = far / math.cos(math.radians(slope))
    by_angle = height_by_angle.height_by_angle(taped, top_deg, foot_deg, slope)
    assert by_angle.height_m == pytest.approx(tall, rel=1e-9)
    to_foot = math.hypot(far, foot - eye)
    share = reach / to_foot  # an upright stick on the same line of sight as the foot
    assert height_by_angle.height_by_stick(to_foot, share * tall, reach).height_m == pytest.approx(tall)


@pytest.mark.parametrize("angles", [(90, 0, 0), (40, -85, 0), (40, 0, 88), (-5, 10, 0)])
def test_angles_that_say_no_height_are_refused(angles):
    with pytest.raises(OutsideDomain):
        height_by_angle.height_by_angle(20, *angles)
