"""What is said of a record that cannot be taken: a sentence for each fault, with its place."""

import pytest

from service.errors import InvalidRequest
from service.records import ReadingIn, parsed
from tests.builders import STEM_ID


@pytest.mark.parametrize(
    ("sent", "where", "words"),
    [
        ({"instrument": "laser"}, "/instrument", "'laser' is not known here; use one of these: 'girth tape'"),
        ({"unit": "ell"}, "/unit", "'ell' is not known here; use one of these: 'cm'"),
        ({"height_m": 11}, "/height_m", "11 is out of range; it has to be at most 10"),
        ({"value": "thick"}, "/value", "'thick' is no number that can be used here; send a plain number."),
        ({"value": float("nan")}, "/value", "nan is no number that can be used here; send a plain number."),
        ({"girht": 3}, "/girht", "There is no such word here; leave it out, or check its spelling."),
        ({"stem_id": None}, "/stem_id", "None is no text; send text in quotes."),
        ({"parts": [30, 12.5]}, "/parts", "[30, 12.5] is no text; send text in quotes."),
        ({"void": "perhaps"}, "/void", "'perhaps' is neither true nor false; send one of the two."),
        (
            {"value_2": 31.0},
            "/",
            "Only a diameter by caliper has a second axis; leave value_2 out.",
        ),
    ],
)
def test_a_fault_says_what_it_is_and_what_to_do(sent, where, words):
    with pytest.raises(InvalidRequest) as refused:
        parsed(ReadingIn, {"stem_id": STEM_ID, "value": 30.0, **sent})
    [(place, sentence)] = refused.value.faults
    assert place == where and sentence.startswith(words)


def test_what_is_needed_and_absent_is_asked_for():
    with pytest.raises(InvalidRequest) as refused:
        parsed(ReadingIn, {"value": 30.0})
    assert refused.value.faults == [("/stem_id", "This is needed; send it.")]
