import time

import numpy as np
import pandas as pd
import pytest

from layers import girth, taper
from layers.errors import ColumnMissing
from tests.builders import (
    READING_ID,
    SITE_ID,
    STEM_ID,
    TREE_ID,
    frame_of,
    make_reading,
    make_records,
    make_site,
    make_stem,
    make_tree,
)


def standardised(readings, trees=None, **site):
    given = make_records(trees=trees or [make_tree()], stems=[make_stem()], readings=readings)
    return girth.standardised(given.readings, given.stems, given.trees, make_site(**site))


def one(trees=None, site=None, **reading):
    return standardised([make_reading(**reading)], trees, **(site or {})).readings.iloc[0]


def parts_of(**reading):
    out = standardised([make_reading(**reading)])
    joined = out.parts.merge(out.causes, on="cause")
    deviations = joined["sensitivity_cm"] * np.sqrt(joined["variance"])
    return dict(zip(joined["kind"], deviations, strict=True))


def test_a_girth_divided_by_pi_is_the_diameter():
    assert one(value=100.0)["dbh_cm"] == pytest.approx(100 / np.pi)


@pytest.mark.parametrize(
    ("value", "unit", "cm"),
    [(50, "cm", 50), (500, "mm", 50), (0.5, "m", 50), (20, "in", 50.8), (2, "ft", 60.96)],
)
def test_every_unit_comes_to_centimetres(value, unit, cm):
    assert one(quantity="diameter", value=value, unit=unit)["dbh_cm"] == pytest.approx(cm)


def test_two_caliper_axes_count_as_their_mean():
    assert one(quantity="diameter", value=40.0, value_2=44.0)["dbh_cm"] == pytest.approx(42.0)


@pytest.mark.parametrize(
    ("reading", "why"),
    [
        ({"height_m": 0.2, "awkward": "too short for breast height"}, "too short for breast height"),
        ({"quantity": "class", "value": None, "class_from_cm": 20.0}, "only a diameter class"),
        ({"value": None}, "no size"),
        ({"value": 0.0}, "no size"),
        ({"unit": "yd"}, "unit"),
        ({"height_m": 0.05}, "ground line"),
        ({"height_m": 1.6}, "above the 1.53 m"),
    ],
)
def test_what_gives_no_size_says_why(reading, why):
    row = one(**reading)
    assert np.isnan(row["dbh_cm"]) and np.isnan(row["own_var_cm2"])
    assert why in row["dbh_source"]


def test_a_reading_from_the_ground_line_keeps_its_size_as_measured():
    assert one(height_m=0.0, value=100.0)["as_measured_cm"] == pytest.approx(100 / np.pi)


def test_a_reading_within_two_centimetres_of_breast_height_is_not_converted():
    row = one(height_m=1.28)
    assert row["dbh_cm"] == row["as_measured_cm"]
    assert row["departure_se_cm"] == 0
    assert row["dbh_source"] == "measured at 1.28 m"


def test_a_reading_further_off_is_converted_by_the_profile_of_its_species():
    row = one(height_m=1.0, trees=[make_tree(scientific_name="Acer saccharum", genus="Acer")])
    assert row["dbh_cm"] == pytest.approx(100 / np.pi / taper.ratio(1.0, 1.3, 0.12798))
    assert (
        "converted to 1.30 m by the published stem profile (coefficient of the species" in row["dbh_source"]
    )
    assert "beyond" not in row["dbh_source"]
    assert row["departure_se_cm"] == pytest.approx(taper.departure_se(1.0, 1.3) * row["dbh_cm"])


def test_a_conversion_from_above_the_fitted_height_says_so():
    assert "beyond the 1.3716 m" in one(height_m=1.5)["dbh_source"]
    assert "beyond the 1.3716 m" in one(height_m=1.0, site={"breast_height_m": 1.4})["dbh_source"]


def test_a_height_that_was_not_said_is_not_converted_and_shares_a_half_percent():
    row = one(height_m=None)
    assert row["dbh_cm"] == row["as_measured_cm"]
    assert "not said" in row["dbh_source"]
    assert parts_of(height_m=None)["height"] == pytest.approx(0.005 * 100 / np.pi)
    assert "height" not in parts_of(height_m=1.3)
    causes = standardised([make_reading(height_m=None)]).causes
    assert f"height:{SITE_ID}" in causes["cause"].tolist()


def test_a_recorded_tilt_is_corrected_for_a_tape_and_not_for_a_caliper():
    assert one(tilt_deg=20.0)["dbh_cm"] == pytest.approx(100 / np.pi / girth.tilt_factor(20.0))
    assert one(tilt_deg=20.0, instrument="caliper")["dbh_cm"] == pytest.approx(100 / np.pi)


def test_a_tilt_that_was_not_recorded_is_part_of_the_error():
    d = 100 / np.pi
    unknown, level = (one(tilt_deg=tilt, resolution=None)["own_var_cm2"] for tilt in (None, 0.0))
    assert unknown - level == pytest.approx((0.002 * d) ** 2)


D = 100 / np.pi


@pytest.mark.parametrize(
    ("reading", "own", "instrument", "crew"),
    [
        ({"crew_kind": "trained staff"}, max(0.3, 0.015 * D), 0.1, 0.1),
        ({"crew_kind": None, "instrument": None}, max(0.3, 0.015 * D), 0.1, 0.1),
        ({"crew_kind": "pupils"}, 0.7, 0.3, 0.2),
        ({"crew_kind": "volunteers", "instrument": "caliper"}, 0.7, 0.3, 0.2),
        (
            {"crew_kind": "pupils", "instrument": "string and ruler"},
            np.hypot(0.7, 0.005 * D),
            np.hypot(0.3, 0.005 * D),
            0.2,
        ),
        ({"instrument": "string and ruler"}, np.hypot(0.015 * D, 0.005 * D), np.hypot(0.1, 0.005 * D), 0.1),
        ({"instrument": "hand spans"}, 0.02 * D, 0.07 * D, None),
        ({"instrument": "sighting"}, 0.05 * D, 0.02 * D, None),
        ({"instrument": "eye"}, 0.15 * D, 0.05 * D, None),
        ({"instrument": "some new device"}, max(0.3, 0.015 * D), 0.1, 0.1),
    ],
)
def test_the_errors_are_those_of_the_table(reading, own, instrument, crew):
    level = {"tilt_deg": 0.0, "resolution": None, **reading}
    assert one(**level)["own_var_cm2"] == pytest.approx(
        own**2
        + (
            (0.002 * D) ** 2
            if reading.get("instrument") in ("caliper", "sighting", "eye", "some new device")
            else 0
        )
    )
    parts = parts_of(**level)
    assert parts["instrument"] == pytest.approx(instrument)
    assert parts.get("crew") == (None if crew is None else pytest.approx(crew))


def test_rounding_is_the_step_over_the_square_root_of_twelve():
    d = {"quantity": "diameter", "tilt_deg": 0.0}
    assert one(**d, resolution=1.0)["own_var_cm2"] - one(**d, resolution=0.0)["own_var_cm2"] == pytest.approx(
        1 / 12
    )


def test_errors_of_a_converted_reading_shrink_with_its_diameter():
    low = one(height_m=0.5, crew_kind="pupils", tilt_deg=0.0, resolution=None)
    assert np.sqrt(low["own_var_cm2"]) == pytest.approx(0.7 * low["dbh_cm"] / low["as_measured_cm"])


def test_the_taper_part_is_the_derivative_by_the_coefficient():
    out = standardised([make_reading(height_m=0.5)])
    cause = out.causes.set_index("kind").loc["taper"]
    part = out.parts.set_index("cause").loc[cause["cause"], "sensitivity_cm"]
    b, step = taper.coefficient("Tilia cordata", "Tilia")[0], 1e-6
    near = [100 / np.pi / taper.ratio(0.5, 1.3, b + d) for d in (step, -step)]
    assert part == pytest.approx((near[0] - near[1]) / (2 * step), rel=1e-6)
    assert cause["variance"] == pytest.approx((0.2 * b) ** 2)
    assert cause["cause"] == f"taper:{taper.set_name(b)}"


def test_shared_parts_have_one_key_a_cause():
    readings = [
        make_reading(reading_id="a", crew="A", round_id="r1"),
        make_reading(reading_id="b", crew="B", round_id="r1"),
        make_reading(reading_id="c", crew="B", round_id="r2", instrument="caliper"),
    ]
    causes = standardised(readings).causes
    assert sorted(causes["cause"]) == [
        "crew:r1:A:girth tape",
        "crew:r1:B:girth tape",
        "crew:r2:B:caliper",
        f"instrument:{SITE_ID}:caliper",
        f"instrument:{SITE_ID}:girth tape",
    ]
    assert causes["key"].tolist() == [cause.split(":", 1)[1] for cause in causes["cause"]]


def test_a_reading_without_a_size_has_no_parts():
    out = standardised([make_reading(value=None)])
    assert not len(out.parts) and not len(out.causes)


def test_no_readings_give_empty_frames():
    out = girth.standardised(
        frame_of("reading_record", []), frame_of("stem_record", []), frame_of("tree_record", []), make_site()
    )
    assert len(out.readings) == len(out.parts) == len(out.causes) == 0
    assert {"dbh_cm", "own_var_cm2", "dbh_source"} <= set(out.readings.columns)


def test_a_missing_column_is_named():
    given = make_records(trees=[make_tree()], stems=[make_stem()], readings=[make_reading()])
    with pytest.raises(ColumnMissing, match="instrument"):
        girth.standardised(given.readings.drop(columns="instrument"), given.stems, given.trees, make_site())


def test_the_frames_given_are_left_as_they_were():
    given = make_records(trees=[make_tree()], stems=[make_stem()], readings=[make_reading()])
    before = given.readings.copy()
    girth.standardised(given.readings, given.stems, given.trees, make_site())
    pd.testing.assert_frame_equal(given.readings, before)


def test_the_tree_of_a_reading_is_that_of_its_stem():
    assert one()["tree_id"] == TREE_ID
    assert one(stem_id="unknown")["tree_id"] is None


def test_fifteen_thousand_readings_take_well_under_a_second():
    number = 15_700
    rng = np.random.default_rng(1)
    reading = frame_of("reading_record", [make_reading()]).iloc[np.zeros(number, dtype=int)]
    ids = pd.Series([f"s{n}" for n in range(number)], dtype=object)
    reading = reading.reset_index(drop=True).assign(
        reading_id=ids,
        stem_id=ids,
        value=rng.uniform(10, 400, number),
        height_m=rng.choice([0.5, 1.0, 1.3], number),
    )
    stems = pd.DataFrame({"stem_id": ids, "tree_id": ids})
    trees = pd.DataFrame({"tree_id": ids, "scientific_name": "Tilia cordata", "genus": "Tilia"})
    girth.standardised(reading, stems, trees, make_site())  # reads the species table
    began = time.perf_counter()
    out = girth.standardised(reading, stems, trees, make_site())
    assert time.perf_counter() - began < 1.0
    assert np.isfinite(out.readings["dbh_cm"]).all()


def test_ids_are_those_given():
    assert one()["reading_id"] == READING_ID and one()["stem_id"] == STEM_ID


def test_a_second_axis_without_a_first_is_no_size():
    assert np.isnan(one(quantity="diameter", instrument="caliper", value=0.0, value_2=30.0)["dbh_cm"])
