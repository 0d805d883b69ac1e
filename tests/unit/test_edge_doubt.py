"""Trees near the edge of an area: how likely they stand on the other side, and what that adds."""

import math

import numpy as np
import pytest
import shapely

from layers.edge_doubt import doubt_of_areas, stems_in_doubt, wrong_side
from layers.growth import variance_between
from tests.stand_builders import area_row, figure_of, figures_of, local_site, stand

SQUARE = shapely.box(0, 0, 100, 100)
ONE_SD = 0.15865525393145707  # of the normal distribution beyond one deviation


def shapes(*given):
    out = np.empty(len(given), dtype=object)
    out[:] = given
    return out


def face(diameter_cm):
    return math.pi / 4 * (diameter_cm / 100) ** 2


def edge_se_m2(records):
    row = figure_of(figures_of(records), "a")
    return math.sqrt(row["error_by_cause"].get("edge", 0.0)) * row["basal_area_se_m2_per_ha"] * row["area_ha"]


def test_a_tree_one_deviation_from_the_edge_is_on_the_wrong_side_as_the_normal_distribution_says():
    at = np.array([[50.0, 2.0], [50.0, -2.0], [50.0, 50.0], [np.nan, np.nan]])
    shape, tree, likely = wrong_side(at, np.array([2.0, 2.0, 2.0, 2.0]), shapes(None, SQUARE), np.zeros(2))
    assert set(shape) == {1}
    assert dict(zip(tree.tolist(), likely, strict=True)) == pytest.approx({0: ONE_SD, 1: ONE_SD})


def test_the_edge_itself_may_be_known_badly():
    at = np.array([[50.0, 5.0]])
    _, _, likely = wrong_side(at, np.array([3.0]), shapes(SQUARE), np.array([4.0]))
    assert likely == pytest.approx([ONE_SD])


def test_positions_without_an_accuracy_are_taken_as_exact():
    at = np.array([[50.0, 0.1], [50.0, 0.1]])
    assert not len(wrong_side(at, np.array([np.nan, 0.0]), shapes(SQUARE), np.array([4.0]))[0])


def test_trees_on_both_sides_of_the_edge_add_to_the_error_of_the_basal_area():
    inside, outside, far = (50.0, 1.0), (50.0, -1.0), (50.0, 50.0)
    drawn = [area_row("a", SQUARE)]
    one = edge_se_m2(stand([30.0, 40.0], [inside, far], drawn))
    assert one == pytest.approx(face(30) * math.sqrt(ONE_SD))
    both = edge_se_m2(stand([30.0, 40.0, 20.0], [inside, far, outside], drawn))
    assert both == pytest.approx(math.hypot(one, face(20) * math.sqrt(ONE_SD)))
    assert edge_se_m2(stand([30.0, 40.0], [far, far], drawn)) == 0.0


def test_trees_below_the_counting_limit_add_nothing():
    drawn = [area_row("a", SQUARE, counting_limit_cm=25.0)]
    records = stand([30.0, 20.0], [(50.0, 50.0), (50.0, 1.0)], drawn)
    assert edge_se_m2(records) == 0.0


def test_the_whole_list_has_no_edge_but_the_boundary_has():
    records = stand([30.0, 40.0], [(50.0, 1.0), (50.0, 50.0)], [area_row("a", SQUARE, kind="boundary")])
    site, area = figures_of(records)
    assert site["error_by_cause"]["edge"] == pytest.approx(area["error_by_cause"]["edge"])
    assert site["basal_area_se_m2"] < area["basal_area_se_m2"]


def test_stems_in_doubt_are_counted_by_area():
    records = stand([30.0, 40.0, 20.0], [(50.0, 1.0), (50.0, 50.0), (50.0, -1.0)], [area_row("a", SQUARE)])
    doubt = doubt_of_areas(records.trees, records.areas, local_site())
    assert stems_in_doubt(doubt, np.array([0, 0, 1, 2, -1]), 1) == pytest.approx([3 * ONE_SD])
    assert stems_in_doubt(doubt, np.array([1]), 1) == pytest.approx([0.0])


def test_the_mean_growth_of_an_area_has_a_part_of_trees_near_its_edge():
    rates, own = np.array([0.2, 0.4, 0.9, 0.5]), np.full(4, 0.01)
    between = variance_between(np.array([0, 0, 0, 1]), rates, own, 3)
    assert between == pytest.approx([np.var(rates[:3], ddof=1) - 0.01, 0.0, 0.0])


def test_recorded_trees_are_on_the_wrong_side_as_often_as_is_said():
    rng = np.random.default_rng(4)
    true = rng.uniform(-20, 120, (40_000, 2))
    recorded = true + 3.0 * rng.standard_normal(true.shape)
    _, tree, likely = wrong_side(recorded, np.full(len(true), 3.0), shapes(SQUARE), np.zeros(1))
    in_truth, in_record = (shapely.contains_xy(SQUARE, *each.T) for each in (true, recorded))
    near = np.zeros(len(true), dtype=bool)
    near[tree] = True
    assert not (in_truth != in_record)[~near].any()
    within = ((recorded > -10) & (recorded < 110)).all(axis=1)  # trees stand on both sides there
    wrong = (in_truth != in_record)[within].sum()
    assert wrong == pytest.approx(likely[within[tree]].sum(), rel=0.04)
