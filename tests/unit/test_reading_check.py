"""The check of a reading: the cases that a phone runs too, and what holds of any expectation."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers.errors import OutsideDomain
from layers.reading_check import (
    ODDS_LIMIT,
    Expectation,
    Explanation,
    Good,
    Reading,
    check,
    from_json,
    swaps,
    to_json,
)
from tests.shared_cases import make_reading_check

FILE = Path(__file__).parents[1] / "shared_cases" / "reading_check.json"
DOCUMENT = json.loads(FILE.read_text(encoding="utf-8"))
CASES = DOCUMENT["cases"]

SLIP = Explanation("slip", "", 1.0, 0.0, 30.0, 0.003)
INCHES = Explanation("unit", "inches as centimetres", 1 / 2.54, 0.0, 0.0, 0.005)


def expectation_of(case):
    return from_json(json.dumps(case["expectation"]))


def test_there_are_cases_of_every_sort():
    assert len(CASES) >= 200
    assert DOCUMENT["limit"] == ODDS_LIMIT
    fits = [case["verdict"]["fits"] for case in CASES]
    assert 60 < sum(fits) < len(fits) - 60
    first = {next(iter(case["verdict"]["shares"]), None) for case in CASES}
    kinds = {one["kind"] for case in CASES for one in case["expectation"]["explanations"]}
    assert first >= kinds


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_shared_case(case):
    said = check(Reading(**case["reading"]), expectation_of(case))
    expected = case["verdict"]
    assert said.fits == expected["fits"]
    assert said.odds == pytest.approx(expected["odds"], rel=1e-9, abs=1e-280)
    shares = {one.kind: one.share for one in said.explanations if one.share > 1e-12}
    assert list(shares) == list(expected["shares"])
    assert shares == pytest.approx(expected["shares"], rel=1e-9, abs=1e-13)


def test_the_file_of_shared_cases_is_what_its_script_makes():
    made = json.loads(json.dumps(make_reading_check.document()))
    assert [case["name"] for case in made["cases"]] == [case["name"] for case in CASES]
    for new, old in zip(made["cases"], CASES, strict=True):
        assert new["reading"] == old["reading"]
        assert new["verdict"]["fits"] == old["verdict"]["fits"]
        assert new["verdict"]["odds"] == pytest.approx(old["verdict"]["odds"], rel=1e-9, abs=1e-280)


def test_what_was_meant_is_said_in_the_unit_of_what_was_typed():
    expected = Expectation("girth", "cm", "plain", (Good(94.2, 2.0, 0.96),), (INCHES, SLIP))
    first = check(Reading("37.1", "girth", "cm"), expected).explanations[0]
    assert (first.kind, first.about) == ("unit", "inches as centimetres")
    assert first.meant == pytest.approx(37.1 * 2.54)
    in_metres = check(Reading("0.371", "girth", "m"), expected).explanations[0]
    assert in_metres.meant == pytest.approx(0.371 * 2.54)


def test_the_range_that_was_to_be_expected_holds_99_of_100_in_the_unit_that_was_typed():
    expected = Expectation("girth", "cm", "plain", (Good(94.2, 2.0, 0.96),), (SLIP,))
    said = check(Reading("30", "diameter", "cm"), expected)
    assert (said.low, said.high) == pytest.approx(
        ((94.2 - 2 * 2.575829) / math.pi, (94.2 + 2 * 2.575829) / math.pi), abs=1e-4
    )


def test_swapping_twice_gives_the_number_again():
    assert swaps("94.2") == ["49.2", "92.4"]
    assert swaps("44") == []
    assert swaps("7") == []
    assert swaps("10") == []
    assert all("94.2" in swaps(other) for other in swaps("94.2"))


@pytest.mark.parametrize("typed", ["", "abc", "0", "-3", "nan", "inf", "1e999"])
def test_what_is_no_size_is_refused(typed):
    expected = Expectation("girth", "cm", "plain", (Good(94.2, 2.0, 0.96),), (SLIP,))
    with pytest.raises(OutsideDomain):
        check(Reading(typed, "girth", "cm"), expected)


@given(st.floats(20, 300), st.floats(0.005, 0.2), st.floats(-2.0, 2.0))
def test_a_reading_within_two_deviations_fits(mean, share, away):
    deviation = share * mean
    slip = Explanation("slip", "", 1.0, 0.0, 0.3 * mean, 0.003)
    expected = Expectation("girth", "cm", "plain", (Good(mean, deviation, 0.96),), (slip,))
    assert check(Reading(repr(mean + away * deviation), "girth", "cm"), expected).fits


@given(st.floats(20, 300), st.floats(0.005, 0.05), st.floats(4.5, 60.0), st.sampled_from([-1, 1]))
def test_the_odds_grow_with_the_distance(mean, share, away, side):
    deviation = share * mean
    typed = mean + side * away * deviation
    slip = Explanation("slip", "", 1.0, 0.0, 0.3 * mean, 0.003)
    expected = Expectation("girth", "cm", "plain", (Good(mean, deviation, 0.96),), (slip,))
    if typed - deviation > 0:
        near = check(Reading(repr(mean + side * (away - 0.3) * deviation), "girth", "cm"), expected)
        far = check(Reading(repr(typed), "girth", "cm"), expected)
        assert far.odds >= near.odds
        assert not far.fits


@given(
    st.floats(1, 500), st.floats(0.01, 50), st.sampled_from(["plain", "log"]), st.sampled_from(["cm", "in"])
)
def test_an_expectation_survives_its_json(mean, deviation, scale, unit):
    expected = Expectation("girth", unit, scale, (Good(mean, deviation, 0.96),), (INCHES, SLIP))
    assert from_json(to_json(expected)) == expected
