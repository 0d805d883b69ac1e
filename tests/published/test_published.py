"""Printed numbers: each computed here to within half a unit of its last printed digit."""

import tomllib
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from tests.published.worked import WORKED

HERE = Path(__file__).parent
SOURCES = tomllib.loads((HERE / "sources.toml").read_text(encoding="utf-8"))
CASES = [
    case
    for path in sorted(HERE.glob("values_*.toml"))
    for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]
]
KINDS = {"published", "definition", "independent arithmetic", "from memory"}


def half_unit(printed: str) -> float:
    return 0.5 * 10.0 ** int(Decimal(printed).as_tuple().exponent)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['of']}: {case['where']}")
def test_the_printed_value_is_met_to_its_last_digit(case):
    printed = case["printed"] if isinstance(case["printed"], list) else [case["printed"]]
    computed = np.atleast_1d(WORKED[case["of"]](**case["given"]))
    assert len(computed) == len(printed)
    for value, text in zip(computed, printed, strict=True):
        tolerance = case.get("wider", {}).get("by", half_unit(text))
        assert abs(float(value) - float(text)) <= tolerance * (1 + 1e-9), (
            f"{value} is not {text} {case['unit']}"
        )


def test_every_source_has_a_case_and_every_case_a_source():
    assert {case["source"] for case in CASES} == set(SOURCES)


def test_everything_that_can_be_worked_out_has_a_case():
    assert {case["of"] for case in CASES} == set(WORKED)


def test_every_case_says_what_it_is_where_it_stands_and_who_read_it():
    for case in CASES:
        said = set(case)
        assert said - {"wider"} == {"of", "given", "printed", "unit", "source", "where", "read_by"}
        assert set(case.get("wider", {"by", "because"})) == {"by", "because"}
    assert {source["kind"] for source in SOURCES.values()} <= KINDS


def test_at_most_one_case_in_ten_is_given_more_room():
    assert sum("wider" in case for case in CASES) * 10 <= len(CASES)


def test_a_value_that_is_off_by_one_printed_digit_is_refused():
    assert abs(81.5 - 81.8) > half_unit("81.8")
    assert half_unit("7.853981634e-05") == pytest.approx(0.5e-14)
