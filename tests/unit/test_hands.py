"""Trunks counted in hands: the crew's own breadth, its error, and which hand a reading was counted with."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from layers import girth, hands
from layers.errors import NothingToCompute, OutsideDomain
from layers.history import state_at
from layers.inputs import with_hands
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree

TOTALS = [85.0, 86.0, 84.0, 85.5, 84.5]


def calibration(**changes):
    default = {
        "id": "c1",
        "crew": "5b",
        "instrument": "hand breadths",
        "counts": 10,
        "totals_cm": json.dumps(TOTALS),
        "calibrated_on": "2024-05-01",
        "supersedes": None,
        "void": 0,
        "recorded_at": None,
    }
    return {**default, **changes}


def records(*calibrations, **reading):
    said = {"unit": "hands", "instrument": "hand breadths", "crew": "5b", "resolution": None, "value": 12.0}
    given = make_records(trees=[make_tree()], stems=[make_stem()], readings=[make_reading(**said | reading)])
    return replace(given, calibrations=pd.DataFrame(list(calibrations), columns=list(calibration())))


def sized(*calibrations, **reading):
    given = records(*calibrations, **reading)
    return girth.standardised(
        given.readings, given.stems, given.trees, with_hands(make_site(breast_height_m=1.3), given)
    )


def kinds(out):
    return set(out.causes["kind"])


def test_a_count_is_laid_out_with_the_hand_of_its_crew():
    row = sized(calibration()).readings.iloc[0]
    assert row["as_measured_cm"] == pytest.approx(12 * 8.5 / np.pi)
    assert "counted in hands of 8.50 cm each, as measured on 2024-05-01" in row["dbh_source"]


def test_its_error_is_that_of_the_budget():
    out = sized(calibration(), tilt_deg=0.0)
    s = np.std(TOTALS, ddof=1)
    own = (12 * s**2 / 10 + (8.5 / 4) ** 2 / 3) / np.pi**2
    assert out.readings["own_var_cm2"][0] == pytest.approx(own)
    assert out.causes[["cause", "source"]].values.tolist() == [["calibration:c1", "measured on this site"]]
    assert out.parts["sensitivity_cm"][0] == pytest.approx(12 * s / (10 * np.sqrt(5)) / np.pi)


def test_a_step_that_was_said_takes_the_place_of_half_a_hand():
    fine, coarse = (sized(calibration(), resolution=step).readings["own_var_cm2"][0] for step in (0.25, 1.0))
    assert coarse - fine == pytest.approx((1.0 - 0.25**2) * (8.5 / np.pi) ** 2 / 12)


def test_without_a_calibration_the_usual_hand_counts_with_its_larger_error():
    out = sized()
    row = out.readings.iloc[0]
    assert row["as_measured_cm"] == pytest.approx(12 * 8.0 / np.pi)
    assert "not measured here" in row["dbh_source"]
    joined = out.parts.merge(out.causes, on="cause").set_index("kind")
    assert joined.loc["instrument", "sensitivity_cm"] == pytest.approx(0.07 * row["dbh_cm"])
    assert "calibration" not in kinds(out)


def test_spans_are_nine_inches_where_nobody_measured_them():
    row = sized(unit="spans", instrument="hand spans", value=4.0).readings.iloc[0]
    assert row["as_measured_cm"] == pytest.approx(4 * 9 * 2.54 / np.pi)


@pytest.mark.parametrize(
    "other",
    [
        {"crew": "6a"},
        {"instrument": "hand spans"},
        {"calibrated_on": "2024-05-15"},
        {"void": 1},
    ],
)
def test_a_hand_of_others_or_of_a_later_day_is_not_taken_unless_it_is_named(other):
    assert sized(calibration(**other)).readings["as_measured_cm"][0] == pytest.approx(12 * 8.0 / np.pi)


def test_of_several_hands_of_a_crew_the_last_one_before_the_reading_counts():
    later = calibration(id="c2", calibrated_on="2024-05-10", totals_cm=json.dumps([90, 91, 89]))
    out = sized(calibration(), later, calibration(id="c3", calibrated_on="2024-06-01"))
    assert out.causes["cause"].tolist() == ["calibration:c2"]


def test_a_hand_that_is_named_is_taken_even_if_it_was_measured_afterwards():
    out = sized(calibration(calibrated_on="2025-05-01"), calibration_id="c1")
    assert out.causes["cause"].tolist() == ["calibration:c1"]
    assert hands.question_of_day("2024-05-14", "2025-05-01").startswith("The hand was measured on 2025-05-01")
    assert hands.question_of_day("2024-05-14", "2024-05-14") is None


def test_a_reading_that_names_a_corrected_hand_has_the_one_that_stands_in_its_place():
    first, second = calibration(), calibration(id="c2", supersedes="c1", totals_cm=json.dumps([80, 81, 79]))
    out = sized(
        first,
        calibration(id="c3", supersedes="c2", totals_cm=json.dumps([70, 71, 69])),
        second,
        calibration_id="c1",
    )
    assert out.causes["cause"].tolist() == ["calibration:c3"]
    assert out.readings["as_measured_cm"][0] == pytest.approx(12 * 7.0 / np.pi)


def test_a_count_that_the_crew_turned_into_centimetres_has_the_errors_of_the_count():
    out = sized(calibration(), unit="cm", value=102.0, calibration_id="c1", tilt_deg=0.0)
    assert out.readings["own_var_cm2"][0] == pytest.approx(
        sized(calibration(), tilt_deg=0.0).readings["own_var_cm2"][0]
    )
    assert kinds(out) == {"calibration"}


def test_a_size_of_several_counts_shares_the_hand():
    given = records(calibration())
    both = make_records(
        trees=[make_tree()],
        stems=[make_stem()],
        readings=[
            make_reading(
                reading_id=id,
                unit="hands",
                instrument="hand breadths",
                crew="5b",
                value=value,
                resolution=None,
            )
            for id, value in (("a", 12.0), ("b", 12.5))
        ],
    )
    state = state_at(replace(both, calibrations=given.calibrations), make_site(), "2025-01-01")
    assert state.stem_state["dbh_cm"][0] == pytest.approx(12.25 * 8.5 / np.pi, rel=1e-3)
    assert state.stem_parts["cause"].tolist() == ["calibration:c1"]


def test_totals_that_agree_by_chance_are_not_taken_for_exact():
    _, error, placement = hands.breadth([85.0] * 5)
    assert error == pytest.approx(1 / np.sqrt(12) / (10 * np.sqrt(5)))
    assert placement == pytest.approx(1 / np.sqrt(120))


@pytest.mark.parametrize("totals", [[], [85.0], [85.0, 86.0]])
def test_too_few_totals_make_no_hand(totals):
    with pytest.raises(NothingToCompute):
        hands.breadth(totals)


@pytest.mark.parametrize(("totals", "laid"), [([85.0, 0.0, 86.0], 10), ([85.0, 84.0, 86.0], 0)])
def test_what_cannot_be_laid_is_refused(totals, laid):
    with pytest.raises(OutsideDomain):
        hands.breadth(totals, laid)
