import dataclasses
import math
import time

import numpy as np
import pandas as pd
import pytest
import shapely

from layers import columns, ground, screening, tree_table
from layers.error_model import SharedParts
from layers.figure_errors import errors_of
from layers.figure_species import species_of
from layers.figure_sums import Stand, counted_stems
from layers.figures import figures
from layers.history import state_at
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree
from tests.stand_builders import (
    AS_OF,
    area_row,
    figure_of,
    figures_of,
    local_site,
    reading_rows,
    stand,
    stem_rows,
    tree_rows,
)

SQUARE = shapely.box(0, 0, 100, 100)
IN = [(10.0, 10.0), (20.0, 30.0), (60.0, 40.0), (80.0, 90.0)]
SIZES = [10.0, 20.0, 30.0, 40.0]


def basal_area(*diameters_cm):
    return sum(math.pi / 4 * (d / 100) ** 2 for d in diameters_cm)


def test_every_row_has_every_key_and_a_reason_for_each_that_is_missing():
    rows = figures_of(stand(SIZES, IN, [area_row("a", SQUARE), area_row("b", None)]))
    rows += figures_of(make_records())
    for each in rows:
        assert list(each) == columns.names("figures")
        missing = {key for key, value in each.items() if value is None}
        assert missing <= set(each["why"])
        assert set(each["why"]) - missing <= {"counting_limit_cm"}
        assert all(sentence.endswith(".") for sentence in each["why"].values())


def test_numbers_are_plain_python_numbers():
    for value in figures_of(stand(SIZES, IN, [area_row("a", SQUARE)]))[1].values():
        assert value is None or type(value) in (int, float, str, list, dict)


def test_the_site_comes_first_then_places_and_areas_by_layer_name_and_id():
    areas = [
        area_row("c", SQUARE, layer="z", name="x"),
        area_row("b", SQUARE, name="x"),
        area_row("a", SQUARE, name="y"),
    ]
    given = stand(SIZES, IN, areas)
    given.trees["place_id"] = pd.Series(["p", "p", None, "q"], dtype=object)
    given.trees["place"] = pd.Series(["Yard", "Yard", None, "Drive"], dtype=object)
    places = pd.DataFrame(
        {
            "id": ["p", "q", "r", "s"],
            "name": ["Yard", "Drive", "Green", "Stump"],
            "kind": ["part"] * 3 + ["stump"],
        }
    )
    rows = figures_of(given, places=places)
    assert [each["area_id"] for each in rows] == [None, "b", "a", "q", "r", "p", "c"]
    assert [(each["layer"], each["kind"]) for each in rows[3:6]] == [("places", "place")] * 3
    assert [each["trees"] for each in rows] == [4, 4, 4, 1, 0, 2, 4]
    assert [each["name"] for each in rows[3:6]] == ["Drive", "Green", "Yard"]


def test_places_are_told_by_name_where_trees_carry_no_id_of_their_place():
    given = stand(SIZES, IN)
    given.trees["place"] = pd.Series(["Yard", None, None, None], dtype=object)
    places = pd.DataFrame({"id": ["p"], "name": ["Yard"], "kind": ["part"]})
    state = state_at(given, local_site(), AS_OF)
    rows = figures(
        state.stem_state,
        state.stem_parts,
        state.causes,
        columns.empty("membership"),
        trees=tree_table.tree_table(given, state, local_site(), AS_OF),
        areas=given.areas,
        terms=local_site(),
        as_of=AS_OF,
        known_at=1,
        places=places,
    )
    assert figure_of(rows, "p")["trees"] == 1


def test_a_place_has_its_trees_by_assignment_and_the_ground_of_its_outline():
    given = stand(SIZES, IN, [area_row("a", shapely.box(0, 0, 50, 50), place_id="p")])
    given.trees["place_id"] = pd.Series(["p", None, None, "p"], dtype=object)
    place = figure_of(figures_of(given), "p")
    assert (place["trees"], place["area_ha"], place["near_edge"]) == (2, 0.25, None)
    assert place["trees_per_ha"] == pytest.approx(8)


def test_the_basal_area_is_the_plain_sum_and_means_are_over_stems():
    site = figures_of(stand(SIZES, IN))[0]
    assert site["basal_area_m2"] == pytest.approx(basal_area(*SIZES))
    assert site["mean_dbh_cm"] == pytest.approx(25)
    assert site["qmd_cm"] == pytest.approx(math.sqrt(np.mean(np.square(SIZES))))
    assert sum(each["basal_area_m2"] for each in site["size_classes"]) == pytest.approx(site["basal_area_m2"])
    assert [each["stems"] for each in site["size_classes"]] == [0, 1, 2, 1, 0, 0]


def test_the_interval_is_centred_below_the_plain_sum_by_the_variance_of_the_diameters():
    site = figures_of(stand(SIZES, IN, tilt_deg=0.0, resolution=None))[0]
    variances = [max(0.3, 0.015 * d) ** 2 + 0.01 + 0.01 for d in SIZES]
    middle = site["basal_area_m2"] - math.pi / 4 * sum(variances) / 1e4
    assert (site["basal_area_lo"] + site["basal_area_hi"]) / 2 == pytest.approx(middle)
    own = sum((math.pi / 2 * d / 1e4) ** 2 * max(0.3, 0.015 * d) ** 2 for d in SIZES)
    shared = 0.02 * (math.pi / 2 * sum(SIZES) / 1e4) ** 2
    assert site["basal_area_se_m2"] == pytest.approx(math.sqrt(own + shared))
    assert site["basal_area_hi"] - middle == pytest.approx(1.959964 * math.sqrt(own + shared), rel=1e-6)
    assert site["error_by_cause"] == pytest.approx(
        {
            "own": own / (own + shared),
            "instrument": shared / 2 / (own + shared),
            "crew": shared / 2 / (own + shared),
        }
    )


def test_what_all_trees_share_does_not_shrink_with_their_number():
    few, many = (figures_of(stand([30.0] * number))[0] for number in (10, 1000))
    assert few["basal_area_se_m2"] / few["basal_area_m2"] > many["basal_area_se_m2"] / many["basal_area_m2"]
    shared = 2 * math.hypot(0.1, 0.1) / 30
    assert many["basal_area_se_m2"] / many["basal_area_m2"] == pytest.approx(shared, rel=0.02)
    assert many["error_by_cause"]["own"] < 0.02


def test_the_error_of_the_ground_is_added_per_hectare():
    drawn = [area_row("a", SQUARE), area_row("b", SQUARE, layer="other", area_se_ha=0.1)]
    records = stand(SIZES, IN, drawn)
    records.trees["position_accuracy_m"] = np.nan  # no tree near an edge is in doubt
    exact, rough = figures_of(records)[1:]
    expected = math.hypot(exact["basal_area_se_m2_per_ha"], exact["basal_area_m2_per_ha"] * 0.1)
    assert rough["basal_area_se_m2_per_ha"] == pytest.approx(expected)
    assert rough["basal_area_se_m2"] == exact["basal_area_se_m2"]
    assert sum(rough["error_by_cause"].values()) == pytest.approx(1)
    assert rough["error_by_cause"]["area"] == pytest.approx(
        (0.1 * exact["basal_area_m2_per_ha"] / expected) ** 2
    )
    assert "area" not in exact["error_by_cause"]


def test_the_site_row_counts_all_trees_and_per_hectare_those_inside_the_boundary():
    at = [*IN[:2], (150.0, 10.0)]
    trees = tree_rows(4, at)
    given = make_records(
        trees=trees,
        stems=stem_rows(4),
        readings=reading_rows(SIZES),
        areas=[area_row("b", SQUARE, kind="boundary")],
    )
    site = figures_of(given)[0]
    assert (site["trees"], site["trees_outside_boundary"], site["trees_without_position"]) == (4, 1, 1)
    assert site["trees_per_ha"] == pytest.approx(2)
    assert site["basal_area_m2"] == pytest.approx(basal_area(*SIZES))
    assert site["basal_area_m2_per_ha"] == pytest.approx(basal_area(10, 20))
    assert site["sdi_per_ha"] == pytest.approx((10 / 25.4) ** 1.605 + (20 / 25.4) ** 1.605)


def test_overlapping_boundaries_count_their_ground_and_trees_once():
    both = [
        area_row("a", shapely.box(0, 0, 60, 100), kind="boundary"),
        area_row("b", shapely.box(40, 0, 100, 100), kind="boundary"),
    ]
    site = figures_of(stand(SIZES, IN, both))[0]
    assert site["area_ha"] == pytest.approx(1.0) and site["trees_per_ha"] == pytest.approx(4)


def test_a_typed_boundary_holds_all_trees_and_nobody_can_say_which_are_outside():
    site = figures_of(stand(SIZES, areas=[area_row("b", None, kind="boundary", typed_area_ha=2.0)]))[0]
    assert site["trees_per_ha"] == pytest.approx(2)
    assert site["trees_outside_boundary"] is None and site["trees_without_position"] == 4


def test_beside_an_outline_a_typed_boundary_is_no_ground_of_its_own():
    both = [
        area_row("a", SQUARE, kind="boundary"),
        area_row("b", None, kind="boundary", typed_area_ha=2.0),
    ]
    assert figures_of(stand(SIZES, IN, both))[0]["area_ha"] == pytest.approx(1.0)


def test_the_counting_limit_of_the_boundary_is_that_of_the_whole_site():
    site = figures_of(stand(SIZES, IN, [area_row("a", SQUARE, kind="boundary", counting_limit_cm=20.0)]))[0]
    counted = [size for size in SIZES if size is not None and size >= 20.0]
    assert site["measured_stems"] == len(counted)
    assert site["basal_area_m2_per_ha"] == pytest.approx(basal_area(*counted))


def test_without_a_boundary_the_site_has_no_numbers_per_hectare():
    site = figures_of(stand(SIZES, IN, [area_row("a", SQUARE)]))[0]
    for key in ("area_ha", "trees_per_ha", "basal_area_m2_per_ha", "sdi_per_ha", "clark_evans_r"):
        assert site[key] is None and "edge of the whole ground" in site["why"][key]


def test_an_area_without_an_outline_says_that_nothing_can_be_counted():
    row = figure_of(figures_of(stand(SIZES, IN, [area_row("a", None, typed_area_ha=1.0)])), "a")
    assert row["trees"] is None and row["basal_area_m2"] is None and row["area_ha"] == 1.0
    assert "outline" in row["why"]["trees"]


def test_where_no_stem_has_a_size_numbers_of_size_are_missing_and_not_zero():
    row = figure_of(figures_of(stand([None, None], IN, [area_row("a", SQUARE)])), "a")
    assert (row["trees"], row["measured_stems"], row["unmeasured_trees"], row["trees_per_ha"]) == (
        2,
        0,
        2,
        2.0,
    )
    for key in ("basal_area_m2", "qmd_cm", "size_classes", "sdi_per_ha", "error_by_cause"):
        assert row[key] is None and row["why"][key] == "No trunk here has a size."
    empty = figure_of(figures_of(stand([10.0], [(500, 500)], [area_row("a", SQUARE)])), "a")
    assert empty["trees"] == 0 and empty["why"]["basal_area_m2"] == "No living tree stands here."


def mixed(trees, stems, readings, **given):
    return make_records(trees=trees, stems=stems, readings=readings, **given)


def test_dead_trees_stand_beside_and_removed_ones_count_nowhere():
    trees = [
        make_tree(tree_id=f"t{n}", status=s) for n, s in enumerate(["living", "unknown", "dead", "removed"])
    ]
    site = figures_of(mixed(trees, stem_rows(4), reading_rows(SIZES)))[0]
    assert (site["trees"], site["dead_trees"], site["stems"]) == (2, 1, 2)
    assert site["basal_area_m2"] == pytest.approx(basal_area(10, 20))


def test_trees_with_some_stems_unmeasured_count_with_what_they_have():
    stems = [
        make_stem(stem_id="s0", tree_id="t0"),
        make_stem(stem_id="s1", tree_id="t0", number=2),
        make_stem(stem_id="s2", tree_id="t0", number=3, status="dead"),
        make_stem(stem_id="s3", tree_id="t1"),
    ]
    readings = reading_rows([10.0, None, 50.0, None])
    site = figures_of(mixed(tree_rows(2), stems, readings))[0]
    assert (site["trees"], site["stems"], site["measured_stems"]) == (2, 3, 1)
    assert (site["partly_measured_trees"], site["unmeasured_trees"]) == (1, 1)
    assert site["basal_area_m2"] == pytest.approx(basal_area(10))


def test_a_tree_without_stems_is_a_tree():
    site = figures_of(mixed(tree_rows(1), [], []))[0]
    assert (site["trees"], site["stems"], site["unmeasured_trees"]) == (1, 0, 1)


def test_stems_below_the_counting_limit_are_no_measured_stems():
    row = figure_of(figures_of(stand(SIZES, IN, [area_row("a", SQUARE, counting_limit_cm=20.0)])), "a")
    assert (row["trees"], row["stems"], row["measured_stems"], row["unmeasured_trees"]) == (4, 4, 3, 0)
    assert row["basal_area_m2"] == pytest.approx(basal_area(20, 30, 40))
    assert "counting_limit_cm" not in row["why"]


def test_sizes_without_a_date_are_counted():
    assert (
        figures_of(stand(SIZES, IN, measured_on=None, received_at="2024-01-01T00:00:00Z"))[0]["undated_sizes"]
        == 4
    )
    assert figures_of(stand(SIZES, IN))[0]["undated_sizes"] == 0


def test_trees_near_an_edge_are_counted_where_they_are_alive():
    given = mixed(
        tree_rows(2, [(1.0, 50.0), (1.0, 60.0)], position_accuracy_m=2.0),
        stem_rows(2),
        reading_rows([10.0, 10.0]),
        areas=[area_row("a", SQUARE)],
    )
    assert figure_of(figures_of(given), "a")["near_edge"] == 2
    given.trees.loc[1, "status"] = "dead"
    assert figure_of(figures_of(given), "a")["near_edge"] == 1


def test_species_are_listed_with_their_shares_and_unknown_names_last():
    trees = tree_rows(4)
    for tree, name in zip(trees, ["Tilia cordata", None, None, "Acer rubrum"], strict=True):
        tree["scientific_name"] = name
    site = figures_of(mixed(trees, stem_rows(4), reading_rows([10.0, 20.0, None, 30.0])))[0]
    assert [each["scientific_name"] for each in site["species"]] == ["Acer rubrum", "Tilia cordata", None]
    assert [each["trees"] for each in site["species"]] == [1, 1, 2]
    assert sum(each["share"] for each in site["species"]) == pytest.approx(1)
    assert sum(each["share_basal_area"] for each in site["species"]) == pytest.approx(1)
    assert site["species"][0]["share_basal_area"] == pytest.approx(900 / 1400)
    assert site["shannon"] == pytest.approx(math.log(2)) and site["simpson"] == pytest.approx(0.5)


def test_a_species_that_nobody_measured_has_no_basal_area():
    trees = tree_rows(2)
    trees[1]["scientific_name"] = "Acer rubrum"
    found = figures_of(mixed(trees, stem_rows(2), reading_rows([10.0, None])))[0]["species"]
    assert [each["basal_area_m2"] for each in found] == [None, pytest.approx(basal_area(10))]


def test_the_pattern_of_trees_is_of_those_alive_in_the_area():
    at = [(x, y) for x in (5.0, 15.0, 25.0, 35.0) for y in (5.0, 15.0, 25.0, 35.0)]
    row = figures_of(stand([10.0] * 16, at, [area_row("a", shapely.box(0, 0, 40, 40))]))[1]
    assert row["clark_evans_r"] == pytest.approx(2.0) and row["clark_evans_edge"] == "none"


def test_on_earth_the_pattern_is_reckoned_in_the_frame_of_the_site():
    frame = ground.LocalFrame(9.17, 47.66)
    at = [(x, y) for x in (5.0, 15.0, 25.0, 35.0) for y in (5.0, 15.0, 25.0, 35.0)]
    lon, lat = frame.to_earth(*np.array(at).T)
    trees = tree_rows(16)
    for tree, one_lon, one_lat in zip(trees, lon, lat, strict=True):
        tree.update(lon_deg=one_lon, lat_deg=one_lat)
    square = frame.earth(shapely.box(0, 0, 40, 40))
    given = mixed(trees, stem_rows(16), reading_rows([10.0] * 16), areas=[area_row("a", square)])
    row = figures_of(given, make_site())[1]
    assert row["clark_evans_r"] == pytest.approx(2.0, rel=1e-6)
    assert row["area_ha"] == pytest.approx(0.16, rel=1e-6)


def test_what_is_to_be_looked_at_is_counted_where_it_was_asked():
    given = stand(SIZES, IN, [area_row("a", SQUARE)])
    site = local_site()
    state = state_at(given, site, AS_OF)
    trees = tree_table.tree_table(given, state, site, AS_OF)
    flags = screening.flags(given, trees, site, AS_OF)
    trees = screening.with_flags(trees, flags, given, site, AS_OF)
    areas = ground.areas_ha(given.areas, site)
    members = ground.membership(given.trees, areas, site)
    frames = (state.stem_state, state.stem_parts, state.causes, members)
    rows = figures(*frames, trees=trees, areas=areas, terms=site, as_of=AS_OF, known_at=1, flags=flags)
    assert [each["look_overdue"] for each in rows] == [4, 4]
    assert rows[0]["questions_asked"] >= 0 and rows[0]["circumstances"] is not None
    assert figures_of(given)[0]["why"]["look_overdue"].startswith("The list to be looked at")


def test_the_day_and_the_change_are_passed_on():
    site = figures_of(stand(SIZES, IN))[0]
    assert (site["as_of"], site["known_at"], site["model"]) == (AS_OF, 7, "0")


def test_the_frames_given_are_left_as_they_were():
    given = stand(SIZES, IN, [area_row("a", SQUARE)])
    before = given.trees.copy(), given.areas.copy()
    figures_of(given)
    pd.testing.assert_frame_equal(given.trees, before[0])
    pd.testing.assert_frame_equal(given.areas, before[1])


def test_figures_of_775_places_of_15700_trees_take_less_than_a_second():
    number = 15_700
    rng = np.random.default_rng(2)
    tree = columns.shaped("tree_record", pd.DataFrame([make_tree()]))
    ids = pd.Series([f"t{n}" for n in range(number)], dtype=object)
    place = pd.Series([f"p{n}" for n in rng.integers(0, 775, number)], dtype=object)
    trees = (
        tree.iloc[np.zeros(number, dtype=int)]
        .reset_index(drop=True)
        .assign(tree_id=ids, place_id=place, place=place)
    )
    stems = columns.shaped("stem_record", pd.DataFrame([make_stem()])).iloc[np.zeros(number, dtype=int)]
    reading = columns.shaped("reading_record", pd.DataFrame([make_reading()])).iloc[
        np.zeros(number, dtype=int)
    ]
    sizes = rng.uniform(20, 300, number)
    given = make_records()
    given = type(given)(
        trees=trees,
        stems=stems.reset_index(drop=True).assign(stem_id=ids, tree_id=ids),
        readings=reading.reset_index(drop=True).assign(reading_id=ids, stem_id=ids, value=sizes),
    )
    state = state_at(given, make_site(), AS_OF)
    figures_of(given, make_site(), state=state)
    began = time.perf_counter()
    rows = figures_of(given, make_site(), state=state)
    assert time.perf_counter() - began < 1.0
    assert len(rows) == 776 and sum(each["trees"] for each in rows[1:]) == number


def test_an_area_of_any_kind_has_the_trees_inside_it():
    rows = figures_of(stand(SIZES, IN, [area_row("a", SQUARE, kind="place")]))
    assert (figure_of(rows, "a")["trees"], figure_of(rows, "a")["near_edge"]) == (4, 0)


def test_a_stump_that_is_called_like_a_place_takes_none_of_its_trees():
    given = stand(SIZES, IN)
    given.trees["place"] = pd.Series(["Yard", None, None, None], dtype=object)
    places = pd.DataFrame({"id": ["p", "q"], "name": ["Yard"] * 2, "kind": ["part", "stump"]})
    by_name = given.trees.drop(columns="place_id")
    rows = figures_of(dataclasses.replace(given, trees=by_name), places=places)
    assert [(each["area_id"], each["trees"]) for each in rows] == [(None, 4), ("p", 1)]


def test_an_instrument_that_was_not_said_is_the_unknown_one():
    readings = reading_rows([30.0, 40.0])
    readings[0]["instrument"], readings[1]["instrument"] = None, "unknown"
    given = make_records(trees=tree_rows(2), stems=stem_rows(2), readings=readings)
    causes = state_at(given, local_site(), AS_OF).causes
    assert causes["cause"].is_unique
    alike = stand([30.0, 40.0], instrument="unknown")
    assert figures_of(given)[0]["basal_area_se_m2"] == figures_of(alike)[0]["basal_area_se_m2"]


def test_errors_of_classes_species_and_the_mean_follow_the_delta_method():
    """Two stems of 30 and 40 cm, own sd 0.3 each, one shared effect of sd 0.2: by hand."""
    given = Stand(
        tree_id=pd.Index(["t0", "t1"]),
        living=np.array([True, True]),
        dead=np.zeros(2, dtype=bool),
        in_doubt=np.zeros(2, dtype=bool),
        start=np.array([0, 1]),
        count=np.array([1, 1]),
        stem_living=np.array([True, True]),
        dbh_cm=np.array([30.0, 40.0]),
        own_var_cm2=np.array([0.09, 0.09]),
        departure_var_cm2=np.zeros(2),
        undated=np.zeros(2, dtype=bool),
        parts=SharedParts.of(
            ["s0", "s1"],
            pd.DataFrame({"stem_id": ["s0", "s1"], "cause": ["u", "u"], "sensitivity_cm": [1.0, 1.0]}),
            pd.DataFrame({"cause": ["u"], "kind": ["instrument"], "variance": [0.04]}),
        ),
    )
    both, pairs = np.zeros(2, dtype=np.int64), np.array([0, 1])
    counted = counted_stems(given, both, pairs, np.array([np.nan]))
    together = errors_of(given, counted, 1, [10.0, 50.0])
    # BA: own 5.5517e-06 + shared 4.8361e-06 m4 (definitions N4); both stems are in the class 10 to 50 cm
    assert together.class_basal_area_se_m2[0] == pytest.approx([0.0, 0.0032230, 0.0], abs=5e-8)
    # mean: own 2 x 0.09 / 4 = 0.045, shared 0.04, in all 0.085 cm2
    assert together.mean_dbh_se_cm[0] == pytest.approx(math.sqrt(0.085))
    # apart, each class holds one stem: pi/2 d 1e-4 sqrt(0.09 + 0.04)
    apart = errors_of(given, counted, 1, [35.0]).class_basal_area_se_m2[0]
    assert apart == pytest.approx([math.pi / 2 * d * 1e-4 * math.sqrt(0.13) for d in (30, 40)])
    names = pd.Series(["Tilia cordata", "Tilia cordata"], dtype=object)
    found = species_of(given, names, both, pairs, counted, 1).lists[0]
    assert found[0]["basal_area_se_m2"] == pytest.approx(0.0032230, abs=5e-8)


def test_errors_stand_beside_figures_and_are_missing_with_them():
    site = figures_of(stand(SIZES, IN))[0]
    one_class = figures_of(stand(SIZES, IN), local_site(breaks_cm=(500.0,)))[0]["size_classes"][0]
    assert one_class["basal_area_se_m2"] == pytest.approx(site["basal_area_se_m2"])
    assert 0 < site["mean_dbh_se_cm"] < site["mean_dbh_cm"]
    assert site["size_classes"][0]["basal_area_se_m2"] == 0
    unmeasured = figures_of(stand([None, None], IN[:2]))[0]
    assert unmeasured["mean_dbh_se_cm"] is None
    assert unmeasured["why"]["mean_dbh_se_cm"] == "No trunk here has a size."
