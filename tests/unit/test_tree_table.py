import math

import numpy as np
import pytest

from layers import columns, screening
from layers.history import state_at
from layers.tree_table import tree_table
from tests.builders import TREE_ID, make_reading, make_records, make_site, make_stem, make_tree, row
from tests.stand_builders import AS_OF

SITE = make_site()


def table(trees=None, stems=None, readings=(), site=SITE, as_of=AS_OF, **rows):
    given = make_records(
        trees=trees or [make_tree()],
        stems=[make_stem()] if stems is None else stems,
        readings=list(readings),
        **rows,
    )
    return tree_table(given, state_at(given, site, as_of), site, as_of)


def tree(*args, **rows):
    found = table(*args, **rows)
    assert len(found) == 1
    return found.iloc[0]


def test_the_table_has_the_columns_of_the_nomenclature():
    found = table(readings=[make_reading()])
    assert list(found.columns) == columns.names("trees")
    assert found["stems"].dtype == "Int64" and found["dbh_cm"].dtype == np.float64


def test_a_tree_says_how_it_was_measured():
    found = tree(readings=[make_reading(value=123.0)])
    assert found["measured_as"] == "girth 123 cm, girth tape, at 1.30 m"
    assert found["dbh_source"] == "measured at 1.30 m"
    assert found["last_measured_on"] == "2024-05-14"
    assert (found["site"], found["status"], found["size_class"]) == ("school", "living", "20 to under 40 cm")


def test_what_was_not_said_is_said_not_to_have_been():
    reading = make_reading(quantity="diameter", value=40.0, value_2=42.5, instrument="unknown", height_m=None)
    assert (
        tree(readings=[reading])["measured_as"]
        == "diameter 40 and 42.5 cm, instrument not said, height not said"
    )


def two_stems(**second):
    stems = [make_stem(stem_id="a"), make_stem(stem_id="b", number=2, **second)]
    readings = [
        make_reading(
            reading_id="ra", stem_id="a", quantity="diameter", value=30.0, tilt_deg=0.0, resolution=None
        ),
        make_reading(
            reading_id="rb", stem_id="b", quantity="diameter", value=40.0, tilt_deg=0.0, resolution=None
        ),
    ]
    return stems, readings


def test_several_stems_make_the_diameter_of_equal_basal_area():
    stems, readings = two_stems()
    found = tree(stems=stems, readings=readings)
    assert found["dbh_cm"] == pytest.approx(50.0)
    assert found["basal_area_m2"] == pytest.approx(math.pi / 4 * (0.3**2 + 0.4**2))
    # pi/2 d_eq 1e-4 times the error of d_eq = 50 cm: the same as sum (pi/2 d_i)^2 over both stems
    assert found["basal_area_se_m2"] == pytest.approx(math.pi / 2 * 50.0 * 1e-4 * found["dbh_se_cm"])
    assert found["stems"] == 2
    assert (
        found["measured_as"] == "diameter 30 cm, girth tape, at 1.30 m; diameter 40 cm, girth tape, at 1.30 m"
    )


def test_their_error_is_by_the_delta_method_with_shared_parts():
    stems, readings = two_stems()
    own = 0.6**2 * 0.45**2 + 0.8**2 * 0.6**2
    shared = (0.1**2 + 0.1**2) * (0.6 + 0.8) ** 2
    assert tree(stems=stems, readings=readings)["dbh_se_cm"] == pytest.approx(math.sqrt(own + shared))


def test_a_dead_stem_of_a_living_tree_does_not_count():
    stems, readings = two_stems(status="dead")
    found = tree(stems=stems, readings=readings)
    assert (found["stems"], found["dbh_cm"]) == (1, pytest.approx(30.0))


def test_a_dead_tree_keeps_the_size_it_was_last_measured_with():
    stems, readings = two_stems()
    found = tree(trees=[make_tree(status="dead")], stems=stems, readings=readings)
    assert (found["status"], found["stems"], found["dbh_cm"]) == ("dead", 0, pytest.approx(50.0))


def test_a_tree_without_a_size_has_none_and_says_why():
    found = tree()
    assert np.isnan(found["dbh_cm"]) and np.isnan(found["dbh_se_cm"]) and np.isnan(found["basal_area_m2"])
    assert (found["dbh_source"], found["measured_as"], found["size_class"]) == ("not measured", None, None)


def test_a_class_that_was_said_is_the_class_of_a_tree_without_a_size():
    said = make_reading(reading_id="k", quantity="class", value=None, class_from_cm=20.0, class_to_cm=40.0)
    assert tree(readings=[said])["size_class"] == "20 to under 40 cm"
    odd = {**said, "class_from_cm": 100.0, "class_to_cm": None}
    assert tree(readings=[odd])["size_class"] == "100 cm and more"
    sized = make_reading(quantity="diameter", value=85.0, measured_on="2020-01-01")
    assert tree(readings=[said, sized])["size_class"] == "80 cm and more"


def test_a_tree_without_stems_is_in_the_table():
    found = tree(stems=[])
    assert found["stems"] == 0 and np.isnan(found["dbh_cm"])


def test_measured_heights_and_crowns_are_taken_over_with_their_source():
    seen = [
        row(
            "observation_record",
            observation_id="o",
            fid=1,
            tree_id=TREE_ID,
            what="height",
            value=12.0,
            unit="m",
            observed_on="2024-05-01",
        )
    ]
    found = tree(readings=[make_reading()], observations=seen)
    assert found["height_m"] == 12.0 and found["height_source"]
    assert np.isnan(found["crown_diameter_m"]) and found["crown_source"] is None


def test_growth_and_the_screening_are_empty_where_they_were_not_asked():
    found = tree(readings=[make_reading()])
    assert np.isnan(found["growth_cm_per_yr"]) and found["growth_words"] is None and found["signs"] is None


def test_with_flags_the_screening_is_filled_in():
    given = make_records(trees=[make_tree()], stems=[make_stem()], readings=[make_reading()])
    state = state_at(given, SITE, AS_OF)
    flags = screening.flags(given, tree_table(given, state, SITE, AS_OF), SITE, AS_OF)
    found = tree_table(given, state, SITE, AS_OF, flags).iloc[0]
    assert found["signs"] == [] and found["questions_asked"] >= 0


def test_trees_keep_their_order_and_those_not_yet_there_are_left_out():
    trees = [
        make_tree(tree_id="b"),
        make_tree(tree_id="later", planted_on="2026-01-01"),
        make_tree(tree_id="a"),
    ]
    assert table(trees=trees, stems=[])["tree_id"].tolist() == ["b", "a"]


def test_a_ground_without_trees_has_an_empty_table():
    given = make_records()
    found = tree_table(given, state_at(given, SITE, AS_OF), SITE, AS_OF)
    assert len(found) == 0 and list(found.columns) == columns.names("trees")
