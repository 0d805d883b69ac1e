"""Hands beside tapes: which tape counts, how far off hands are, and with what breadth they would agree."""

import json

import pandas as pd
import pytest

from layers.hands_against_tape import BETWEEN, SAME, hands_beside_tapes, hands_of
from tests.builders import make_reading, make_records, make_site
from tests.stand_builders import stem_rows, tree_rows

SITE = make_site()


def records_of(*readings, calibrations=()):
    said = [make_reading(**{"reading_id": f"r{n}", "fid": n + 1, **one}) for n, one in enumerate(readings)]
    stems = 1 + max(int(one["stem_id"][1:]) for one in said)
    records = make_records(trees=tree_rows(stems), stems=stem_rows(stems), readings=said)
    if calibrations:
        object.__setattr__(records, "calibrations", pd.DataFrame(calibrations))
    return records


def tape(value, day="2024-05-14", stem=0, **more):
    return {"stem_id": f"s{stem}", "value": value, "measured_on": day, **more}


def hand(value, day="2024-05-14", stem=0, **more):
    return tape(value, day, stem, instrument="hand breadths", crew="H", crew_kind="pupils", **more)


def beside(*readings, **more):
    return hands_beside_tapes(records_of(*readings, **more), SITE)


def test_a_tape_of_the_same_days_counts_and_several_as_their_mean():
    got = beside(tape(100.0), tape(104.0, "2024-06-01"), tape(140.0, "2020-05-01"), hand(96.9))
    assert got["tape_cm"].tolist() == pytest.approx([102.0])
    assert got["ratio"].tolist() == pytest.approx([0.95])
    assert got["how"].tolist() == [SAME]


def test_else_the_straight_line_between_the_tapes_before_and_after():
    got = beside(tape(100.0, "2023-05-14"), tape(104.0, "2025-05-13"), hand(110.0, "2024-05-13"))
    assert got["tape_cm"].tolist() == pytest.approx([102.0])  # 365 of 730 days
    assert got["how"].tolist() == [BETWEEN]


@pytest.mark.parametrize(
    "tapes",
    [
        [],
        [tape(100.0, "2023-05-14")],
        [tape(100.0, "2025-05-14")],
        [tape(100.0, "2021-01-01"), tape(104.0, "2024-12-01")],
        [tape(100.0, stem=1)],
        [tape(100.0, instrument="eye")],
    ],
)
def test_without_a_tape_on_both_sides_near_enough_a_count_in_hands_is_left_out(tapes):
    assert len(beside(*tapes, hand(110.0), tape(50.0, stem=2))) == 0


def test_a_tape_that_was_crossed_out_does_not_count():
    gone = tape(100.0, supersedes="r0", void=True)
    assert len(beside(tape(100.0), gone, hand(110.0))) == 0


def test_counts_in_usual_hands_say_with_what_breadth_they_would_agree():
    """Ten hands of 8 cm are 80 cm where the tape says 88: the hands are 8.8 cm broad."""
    said = [each for n in range(6) for each in (tape(88.0, stem=n), hand(10.0, stem=n, unit="hands"))]
    got = hands_of(beside(*said))
    assert got.ratio.middle == pytest.approx(80.0 / 88.0)
    assert (got.sides.below, got.sides.lean) == (6, "below")
    one = got.by_hand[0]
    assert (one.crew, one.breadth_cm, one.measured, one.trunks) == ("H", 8.0, False, 6)
    assert one.agreeing_cm == pytest.approx(8.8)


def test_a_hand_that_the_team_measured_stands_by_itself():
    calibration = {"id": "c1", "crew": "H", "instrument": "hand breadths", "counts": 10, "void": 0}
    calibration |= {"totals_cm": json.dumps([90.0, 91.0, 89.0, 90.0, 90.0]), "calibrated_on": "2024-05-01"}
    calibration |= {"supersedes": None, "recorded_at": None, "received_at": "2024-05-01T08:00:00Z"}
    counted = {"unit": "hands", "calibration_id": "c1"}
    said = [each for n in range(5) for each in (tape(90.0, stem=n), hand(10.0, stem=n, **counted))]
    got = hands_of(beside(*said, calibrations=[calibration]))
    assert [(one.breadth_cm, one.measured, one.trunks) for one in got.by_hand] == [(9.0, True, 5)]
    assert got.ratio.middle == pytest.approx(1.0)
    assert got.sides.lean == "neither"


def test_a_length_in_hands_has_no_breadth_and_few_trunks_have_no_middle():
    got = hands_of(beside(tape(100.0), hand(104.0)))
    assert got.ratio is None
    assert [(one.breadth_cm, one.ratio, one.agreeing_cm) for one in got.by_hand] == [(None, None, None)]


def test_nothing_counted_in_hands_is_nothing():
    got = hands_of(beside(tape(100.0)))
    assert (len(got.rows), got.ratio, got.by_hand) == (0, None, ())
