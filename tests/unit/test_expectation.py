"""What is to be expected of a reading: from what came before alone; what was settled is not asked again."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from layers.expectation import GOOD_WEIGHT, WEIGHTS, as_typed, expected_of, packed
from layers.hands import MEASURED_LATER, MEASURED_TOO_LATE, NOT_ENTERED, OF_OTHERS, OTHER_PART
from layers.questioned import (
    AHEAD,
    FORK,
    GONE,
    HIGH_UP,
    LONG_AGO,
    PLANTED,
    UNLIKE,
    questioned,
    verdicts,
)
from layers.reading_check import check
from layers.usual_sizes import usual
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree, row

TERMS = make_site(frame="local")
AS_OF = "2030-01-01"


def reading(n, value, day, stem="s1", **more):
    given = {"reading_id": f"r{n}", "stem_id": stem, "value": value, "measured_on": day}
    return make_reading(**{**given, "received_at": f"{day}T10:00:00Z", **more})


def site(readings, trees=None, stems=None, **more):
    trees = trees or [make_tree(tree_id="t1", x_m=0.0, y_m=0.0, lon_deg=None, lat_deg=None)]
    return make_records(
        trees=trees, stems=stems or [make_stem(stem_id="s1", tree_id="t1")], readings=readings, **more
    )


def two_trees(apart_m):
    places = [("t1", 0.0), ("t2", apart_m)]
    trees = [
        make_tree(tree_id=id, fid=n, tag=id, x_m=x, y_m=0.0, lon_deg=None, lat_deg=None)
        for n, (id, x) in enumerate(places)
    ]
    stems = [make_stem(stem_id=f"s{n}", tree_id=f"t{n}", fid=n) for n in (1, 2)]
    return {"trees": trees, "stems": stems}


def asked(records, **terms):
    found = questioned(records, replace(TERMS, **terms), AS_OF)
    return list(zip(found["reading_id"], found["what"], strict=True))


def first_of(records, reading_id):
    found = questioned(records, TERMS, AS_OF).set_index("reading_id")
    return found.loc[reading_id, "verdict"].explanations[0]


def test_the_weights_of_all_ways_add_up_to_one():
    assert GOOD_WEIGHT + sum(WEIGHTS.values()) == pytest.approx(1.0)
    assert all(weight > 0 for weight in WEIGHTS.values())


def test_a_second_reading_is_expected_near_the_first_and_a_little_larger():
    records = site([reading(1, 94.2, "2020-06-01"), reading(2, 94.2, "2024-06-01")])
    expected = expected_of(records, TERMS)
    assert expected.forecast.earlier.tolist() == [0, 1]
    (later,) = packed(expected, [1])
    main = later.good[0]
    grown = math.pi * usual("Tilia").growth_cm_per_yr * 4
    assert main.mean == pytest.approx(94.2 + grown, abs=0.6)
    own = math.pi * 0.45  # max(0.3 cm, 1.5 % of 30 cm), twice independent, and growth
    growth = math.pi * math.hypot(0.45 * 4, 0.2 * 2)
    shared = math.pi * math.hypot(0.1, 0.1) * math.sqrt(2)  # at most: the crew and instrument of both
    assert math.hypot(own * math.sqrt(2), growth) * 0.97 < main.deviation
    assert main.deviation < math.hypot(math.hypot(own * math.sqrt(2), growth), shared) * 1.05


def test_what_two_readings_share_makes_the_next_one_no_less_sure():
    """An instrument of 7 % shared by both cancels; another instrument leaves it in."""
    hands = {"instrument": "hand breadths", "unit": "cm"}
    same = [reading(1, 94.2, "2020-06-01", **hands), reading(2, 94.2, "2020-09-01", **hands)]
    other = [reading(1, 94.2, "2020-06-01", **hands), reading(2, 94.2, "2020-09-01")]
    near, far = (packed(expected_of(site(readings), TERMS), [1])[0].good[0] for readings in (same, other))
    assert near.deviation < 0.5 * far.deviation


def test_a_later_reading_changes_nothing_of_what_was_to_be_expected_before():
    readings = [reading(1, 94.2, "2020-06-01"), reading(2, 96.0, "2022-06-01")]
    later = [*readings, reading(3, 300.0, "2024-06-01")]
    before = packed(expected_of(site(readings), TERMS), [0, 1])
    after = packed(expected_of(site(later), TERMS), [0, 1])
    assert before == after


def test_where_nothing_was_ever_measured_the_usual_sizes_are_expected():
    to_come = site([reading(1, 94.2, "2026-05-01")]).readings
    (expected,) = packed(expected_of(site([], **two_trees(2.0)), TERMS, to_come=to_come), [0])
    assert expected.scale == "log"


def test_no_order_of_the_records_changes_a_question():
    readings = [reading(1, 94.2, "2020-06-01"), reading(2, 37.5, "2022-06-01"), reading(3, 99, "2024-06-01")]
    records = site(readings)
    turned = replace(records, readings=records.readings.iloc[::-1].reset_index(drop=True))
    assert asked(records) == asked(turned) == [("r2", UNLIKE)]


def test_inches_typed_as_centimetres():
    records = site([reading(1, 94.2, "2020-06-01"), reading(2, 38.0, "2023-06-01")])
    said = first_of(records, "r2")
    assert (said.kind, said.about) == ("unit", "inches as centimetres")
    assert said.meant == pytest.approx(38.0 * 2.54)


def test_width_typed_as_girth():
    records = site([reading(1, 94.2, "2020-06-01"), reading(2, 31.0, "2023-06-01")])
    assert first_of(records, "r2").kind == "girth or width"


def test_digits_swapped():
    records = site([reading(1, 94.2, "2020-06-01"), reading(2, 69.5, "2020-09-01")])
    said = first_of(records, "r2")
    assert (said.kind, said.meant) == ("digits swapped", 96.5)


def test_the_number_of_a_tree_close_by():
    readings = [
        reading(1, 94.2, "2020-06-01"),
        reading(2, 166.0, "2020-06-01", stem="s2"),
        reading(3, 168.0, "2022-06-01"),
    ]
    said = first_of(site(readings, **two_trees(15.0)), "r3")
    assert (said.kind, said.about) == ("neighbour", "s2")
    assert first_of(site(readings, **two_trees(25.0)), "r3").kind == "earlier"


def test_a_neighbour_that_was_measured_later_explains_nothing():
    readings = [
        reading(1, 94.2, "2020-06-01"),
        reading(2, 168.0, "2022-06-01"),
        reading(3, 166.0, "2024-06-01", stem="s2"),
    ]
    assert first_of(site(readings, **two_trees(15.0)), "r2").kind != "neighbour"


def test_another_stem_of_the_tree():
    stems = [make_stem(stem_id=f"s{n}", tree_id="t1", number=n, fid=n) for n in (1, 2)]
    readings = [
        reading(1, 94.2, "2020-06-01"),
        reading(2, 51.0, "2020-06-01", stem="s2"),
        reading(3, 52.0, "2022-06-01"),
    ]
    said = first_of(site(readings, stems=stems), "r3")
    assert (said.kind, said.about) == ("another stem", "s2")


def test_another_height_that_is_in_use():
    tall = [make_stem(stem_id=f"s{n}", tree_id="t1", number=n, fid=n) for n in (1, 2)]
    low = reading(9, 60.0, "2019-06-01", stem="s2", height_m=0.3)
    readings = [low, reading(1, 94.2, "2020-06-01"), reading(2, 112.5, "2020-09-01")]
    said = first_of(site(readings, stems=tall), "r2")
    assert (said.kind, said.about) == ("another height", "0.3")


def test_a_girth_of_nine_metres_is_questioned_at_its_first_reading():
    records = site([reading(1, 940, "2020-06-01")])
    assert asked(records) == [("r1", UNLIKE)]
    assert first_of(records, "r1").about == "ten times too big"
    assert asked(site([reading(1, 94, "2020-06-01")])) == []


@pytest.mark.parametrize("girth_cm", [8, 12, 30, 94, 200, 330])
def test_first_readings_of_young_and_old_trees_are_left_alone(girth_cm):
    assert asked(site([reading(1, girth_cm, "2020-06-01")])) == []


def test_after_a_mistake_good_readings_are_left_alone():
    readings = [
        reading(1, 94.2, "2016-06-01"),
        reading(2, 95.8, "2018-06-01"),
        reading(3, 38.0, "2020-06-01"),
        reading(4, 99.0, "2022-06-01"),
        reading(5, 100.6, "2024-06-01"),
    ]
    assert asked(site(readings)) == [("r3", UNLIKE)]


def test_after_a_first_reading_that_was_wrong_the_third_agrees_with_the_second():
    readings = [
        reading(1, 38.0, "2018-06-01"),
        reading(2, 96.0, "2020-06-01"),
        reading(3, 98.0, "2022-06-01"),
    ]
    assert asked(site(readings)) == [("r2", UNLIKE)]


def test_a_trunk_that_became_smaller_is_asked_about_once():
    readings = [
        reading(n, value, f"{2014 + 2 * n}-06-01") for n, value in enumerate((120, 122, 105, 106, 107))
    ]
    assert asked(site(readings)) == [("r2", UNLIKE)]
    assert first_of(site(readings), "r2").kind == "shrinkage"


def settled(records, *answers):
    names = ("subject", "subject_id", "what", "answer")
    return replace(records, settlings=pd.DataFrame(answers, columns=names))


def test_a_settled_question_is_not_asked_again():
    records = site([reading(1, 94.2, "2020-06-01"), reading(2, 38.0, "2023-06-01")])
    assert asked(settled(records, ("reading", "r2", UNLIKE, "accept"))) == []
    assert asked(settled(records, ("reading", "r1", UNLIKE, "accept"))) == [("r2", UNLIKE)]
    assert asked(settled(records, ("tree", "r2", UNLIKE, "accept"))) == [("r2", UNLIKE)]


def test_what_a_person_accepted_is_what_later_readings_are_judged_by():
    readings = [
        reading(1, 94.2, "2018-06-01"),
        reading(2, 128.0, "2020-06-01"),
        reading(3, 97.5, "2022-06-01"),
    ]
    records = site(readings)
    assert asked(records) == [("r2", UNLIKE)]
    assert asked(settled(records, ("reading", "r2", UNLIKE, "accept"))) == [("r3", UNLIKE)]


def test_a_correction_that_settled_a_question_is_settled_with_it_and_another_one_is_not():
    first = [reading(1, 94.2, "2020-06-01"), reading(2, 38.0, "2023-06-01")]
    corrected = [*first, reading(3, 50.0, "2023-06-01", supersedes="r2")]
    assert asked(site(corrected)) == [("r3", UNLIKE)]
    assert asked(settled(site(corrected), ("reading", "r2", UNLIKE, "supersede"))) == []
    assert asked(settled(site(corrected), ("reading", "r2", UNLIKE, "accept"))) == [("r3", UNLIKE)]


def test_crossed_out_readings_are_neither_asked_about_nor_judged_by():
    void = [
        reading(1, 94.2, "2020-06-01"),
        reading(2, 38.0, "2021-06-01"),
        reading(3, 38.0, "2021-06-01", supersedes="r2", void=True),
        reading(4, 97.0, "2023-06-01"),
    ]
    assert asked(site(void)) == []


def test_two_corrections_of_one_reading_are_listed_with_what_the_other_says():
    readings = [
        reading(1, 94.2, "2020-06-01"),
        reading(2, 94.6, "2020-06-01", supersedes="r1", recorded_at="2020-06-02T10:00:00Z"),
        reading(3, 94.9, "2020-06-01", supersedes="r1", recorded_at="2020-06-03T10:00:00Z"),
    ]
    records = site(readings)
    assert asked(records) == [("r3", FORK)]
    assert questioned(records, TERMS, AS_OF)["detail"].tolist() == ["94.6 cm"]
    assert asked(settled(records, ("reading", "r3", FORK, "accept"))) == []


def test_days_that_do_not_go_with_the_tree_are_questioned_with_that_day():
    tree = make_tree(tree_id="t1", planted_on="2021-04-02", x_m=0.0, y_m=0.0, lon_deg=None, lat_deg=None)
    readings = [reading(1, 20, "2020-06-01"), reading(2, 21, "2021-06-01")]
    found = questioned(site(readings, trees=[tree]), TERMS, AS_OF)
    assert found[["reading_id", "what", "detail"]].values.tolist() == [["r1", PLANTED, "2021-04-02"]]
    year_only = {**tree, "planted_on": "2020-07-02"}
    assert asked(site(readings, trees=[year_only])) == []

    gone = row(
        "status_event",
        status_event_id="e1",
        subject="tree",
        subject_id="t1",
        status="removed",
        happened_on="2021-01-10",
    )
    assert asked(site(readings, status_events=[gone])) == [("r2", GONE)]
    doubtful = {**gone, "in_doubt": True}
    assert asked(site(readings, status_events=[doubtful])) == []


def test_a_reading_dated_after_it_was_received_is_questioned():
    ahead = reading(1, 94, "2020-06-10", received_at="2020-06-01T10:00:00Z")
    assert asked(site([ahead])) == [("r1", AHEAD)]
    assert asked(site([reading(1, 94, "2020-06-02", received_at="2020-06-01T10:00:00Z")])) == []


@pytest.mark.parametrize(
    ("day", "planted", "what"),
    [
        ("1899-12-31", None, [("r1", LONG_AGO)]),
        ("1900-01-01", None, []),
        ("1899-12-31", "1850-03-01", []),
        ("1726-05-04", "1850-03-01", [("r1", PLANTED)]),
    ],
)
def test_a_day_before_living_memory_is_questioned_where_no_planting_is_known(day, planted, what):
    tree = make_tree(tree_id="t1", x_m=0.0, y_m=0.0, lon_deg=None, lat_deg=None, planted_on=planted)
    assert asked(site([reading(1, 94, day, received_at="2020-06-01T10:00:00Z")], trees=[tree])) == what


def hand_of(crew="A", instrument="hand breadths", on="2021-01-01"):
    said = ("c1", crew, instrument, 10, "[85, 86, 85, 84, 85]", on, None, 0)
    names = ("id", "crew", "instrument", "counts", "totals_cm", "calibrated_on", "supersedes", "void")
    return pd.DataFrame([dict(zip(names, said, strict=True))])


def asked_of_hands(*calibrations, **said):
    counted = {"instrument": "hand breadths", "unit": "hands", "crew": "A", **said}
    readings = [reading(1, 11, "2020-06-01", **counted), reading(2, 11.5, "2021-06-01", **counted)]
    found = questioned(replace(site(readings), calibrations=pd.concat(calibrations)), TERMS, AS_OF)
    return list(zip(found["reading_id"], found["what"], found["detail"], strict=True))


def test_a_hand_that_was_measured_after_the_reading_is_questioned():
    assert asked_of_hands(hand_of(), calibration_id="c1") == [("r1", MEASURED_LATER, "2021-01-01")]
    assert asked_of_hands(hand_of()) == [("r1", MEASURED_TOO_LATE, "2021-01-01")]
    assert asked_of_hands(hand_of(on="2020-01-01")) == []
    assert asked_of_hands(hand_of(crew="B")) == []


def test_a_hand_that_is_not_that_of_the_reading_is_questioned():
    def asked_about(*calibrations, **said):
        return {row[1:] for row in asked_of_hands(*calibrations, **said)}

    early = hand_of(on="2020-01-01")
    assert asked_about(early, calibration_id="c1") == set()
    assert asked_about(early, calibration_id="c1", crew="B") == {(OF_OTHERS, "A")}
    assert asked_about(early, calibration_id="c1", crew=None) == set()
    assert asked_about(early, calibration_id="c9") == {(NOT_ENTERED, None)}
    spans = hand_of(instrument="hand spans", on="2020-01-01")
    assert asked_about(spans, calibration_id="c1") == {(OTHER_PART, None)}


def test_a_height_that_is_never_brought_down_is_questioned_unless_the_trunk_is_awkward():
    high = {"height_m": 4.5}
    assert asked(site([reading(1, 94.2, "2020-06-01", **high)])) == [("r1", HIGH_UP)]
    assert asked(site([reading(1, 94.2, "2020-06-01", awkward="buttress", **high)])) == []
    assert asked(site([reading(1, 94.2, "2020-06-01", height_m=1.53)])) == []
    assert asked(site([reading(1, 0.0, "2020-06-01", **high)])) == []
    settled_once = settled(
        site([reading(1, 94.2, "2020-06-01", **high)]), ("reading", "r1", HIGH_UP, "accept")
    )
    assert asked(settled_once) == []


def test_what_cannot_be_brought_to_breast_height_is_not_judged():
    readings = [reading(1, 94.2, "2020-06-01"), reading(2, 300, "2022-06-01", height_m=0.05)]
    readings.append(reading(3, None, "2023-06-01", quantity="class", class_from_cm=20, class_to_cm=40))
    assert asked(site(readings)) == []


def test_an_empty_site_asks_nothing():
    assert asked(make_records()) == []


def many(dice, stems=40):
    trees = [
        make_tree(tree_id=f"t{n}", fid=n, x_m=float(dice.uniform(0, 80)), y_m=float(dice.uniform(0, 80)))
        for n in range(stems)
    ]
    stem_rows = [make_stem(stem_id=f"s{n}", tree_id=f"t{n}", fid=n) for n in range(stems)]
    rows = []
    for n in range(stems):
        size = math.exp(dice.normal(4.5, 0.4))
        for k in range(int(dice.integers(1, 5))):
            factor = dice.choice([1, 1, 1, 1.05, 0.93, 1.1, 1 / 2.54, 10, 0.8])
            rows.append(reading(len(rows), round(size * factor, 1), f"{2010 + 2 * k}-06-01", stem=f"s{n}"))
    return make_records(trees=trees, stems=stem_rows, readings=rows)


def test_readings_that_are_left_unlooked_at_are_none_that_would_be_questioned():
    dice = np.random.default_rng(4)
    for _ in range(5):
        records = many(dice)
        expected = expected_of(records, TERMS)
        every = packed(expected, range(len(expected.rows)))
        rows = expected.of.readings.iloc[expected.rows]
        slow = {
            said["reading_id"]
            for (_, said), numbers in zip(rows.iterrows(), every, strict=True)
            if not check(as_typed(said), numbers).fits
        }
        assert {id for id, _verdict in verdicts(expected)} == slow
        assert len(slow) > 5


def test_readings_to_come_are_expected_in_their_unit_whatever_stands_in_their_value():
    records = site([reading(1, 94.2, "2020-06-01"), reading(2, 96.0, "2022-06-01")])
    columns = {"reading_id": "new", "measured_on": "2024-06-01", "unit": "in", "resolution": 0.125}
    to_come = [make_records(readings=[reading(9, v, "2024-06-01", **columns)]).readings for v in (1.0, 500.0)]
    small, large = (packed(expected_of(records, TERMS, to_come=rows), [0])[0] for rows in to_come)
    assert small.unit == "in"
    assert small.good[0].mean == pytest.approx(large.good[0].mean)
    assert small.good[0].mean * 2.54 == pytest.approx(99.5, abs=1.0)
    assert {one.about for one in small.explanations if one.kind == "unit"} >= {"centimetres as inches"}
