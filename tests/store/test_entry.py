"""What people say is kept once, whatever the order and however often it is sent."""

import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest

from layers.history import live_readings
from service.actors import LOCAL_MANAGER, Actor
from service.edit import add_trees
from service.entry import enter_inspections, enter_observations, enter_readings, enter_statuses
from service.errors import NotFound, NotPermitted
from service.store.frames import records_of
from service.store.site_rows import create_site, find_site

TREE = "7c9e6679-7425-40de-944b-e07fc1f90a01"
OTHER_TREE = "7c9e6679-7425-40de-944b-e07fc1f90a02"
STEM = str(uuid.uuid5(uuid.UUID(TREE), "1"))
OTHER_STEM = str(uuid.uuid5(uuid.UUID(OTHER_TREE), "1"))


def _id(number):
    return str(uuid.UUID(int=number))


def _reading(number, **said):
    return {"id": _id(number), "stem_id": STEM, "value": 94.2, "measured_on": "2024-05-14", **said}


def _records(store):
    with store.read() as connection:
        return records_of(connection, find_site(connection, "school").fid)


def _change_no(store):
    with store.read() as connection:
        return find_site(connection, "school").change_no


@pytest.fixture
def school(store):
    create_site(store, "school", name="School", actor=LOCAL_MANAGER, time_zone="Europe/Berlin")
    trees = [
        {"id": id, "tag": tag, "lon_deg": 9.1, "lat_deg": 47.7}
        for id, tag in ((TREE, "1"), (OTHER_TREE, "2"))
    ]
    add_trees(store, "school", LOCAL_MANAGER, trees)
    return store


def test_a_reading_is_kept_as_it_was_said(school):
    said = _reading(1, value=37.1, unit="in", instrument="string and ruler", height_m=0.61, crew="blue 2")
    assert [a.outcome for a in enter_readings(school, "school", LOCAL_MANAGER, [said])] == ["taken"]
    kept = _records(school).readings.iloc[0]
    assert {name: kept[name] for name in ("value", "unit", "instrument", "height_m", "crew")} == {
        "value": 37.1,
        "unit": "in",
        "instrument": "string and ruler",
        "height_m": 0.61,
        "crew": "blue 2",
    }
    assert kept["measured_on"] == "2024-05-14"
    assert kept["received_at"].endswith("Z")


def test_sending_a_batch_twice_changes_nothing(school):
    batch = [_reading(1), _reading(2, value=95.0)]
    enter_readings(school, "school", LOCAL_MANAGER, batch)
    before = _change_no(school)
    again = enter_readings(school, "school", LOCAL_MANAGER, batch)
    assert [a.outcome for a in again] == ["already there", "already there"]
    assert _change_no(school) == before
    assert len(_records(school).readings) == 2


def test_a_known_id_with_other_content_is_refused_and_both_are_shown(school):
    enter_readings(school, "school", LOCAL_MANAGER, [_reading(1)])
    answer = enter_readings(school, "school", LOCAL_MANAGER, [_reading(1, value=99.0)])[0]
    assert answer.outcome == "refused"
    assert (answer.sent["value"], answer.known["value"]) == (99.0, 94.2)
    assert _records(school).readings["value"].tolist() == [94.2]


def test_each_item_of_a_batch_is_answered_and_a_bad_one_takes_no_good_one_with_it(school):
    batch = [
        _reading(1),
        _reading(2, value=-5),
        _reading(3, value=9000),
        _reading(4, value=1500),
        _reading(5, stem_id=_id(99)),
        _reading(6, measured_on="2999-01-01"),
        {"id": _id(7), "stem_id": STEM, "value": float("nan")},
        _reading(8, note="a \x00 b"),
        _reading(9, note="half \ud800"),
    ]
    answers = enter_readings(school, "school", LOCAL_MANAGER, batch)
    outcomes = [answer.outcome for answer in answers]
    assert outcomes == ["taken", "refused", "refused", "questioned", *["refused"] * 5]
    assert all(answer.why for answer in answers[1:])
    assert len(_records(school).readings) == 2


def test_a_correction_may_come_before_what_it_corrects(school):
    correction = _reading(2, value=96.0, supersedes=_id(1))
    enter_readings(school, "school", LOCAL_MANAGER, [correction])
    assert live_readings(_records(school).readings)["state"].tolist() == ["waiting"]
    enter_readings(school, "school", LOCAL_MANAGER, [_reading(1)])
    states = live_readings(_records(school).readings).set_index("reading_id")["state"].to_dict()
    assert states == {_id(1): "superseded", _id(2): "live"}


def test_a_record_that_closes_a_cycle_is_refused(school):
    enter_readings(school, "school", LOCAL_MANAGER, [_reading(2, supersedes=_id(3))])
    answer = enter_readings(school, "school", LOCAL_MANAGER, [_reading(3, supersedes=_id(2))])[0]
    assert answer.outcome == "refused"


def test_a_correction_of_another_stem_is_refused(school):
    enter_readings(school, "school", LOCAL_MANAGER, [_reading(1)])
    answer = enter_readings(
        school, "school", LOCAL_MANAGER, [_reading(2, stem_id=OTHER_STEM, supersedes=_id(1))]
    )[0]
    assert answer.outcome == "refused"


def test_a_look_at_a_zone_keeps_an_answer_for_each_tree(school):
    look = {
        "inspected_on": "2024-06-01",
        "level": "formal",
        "organisation": "invented inspectors",
        "qualified": True,
        "answers": {
            TREE: {"answer": "nothing recorded"},
            OTHER_TREE: {"answer": "not reached", "note": "ivy"},
        },
    }
    assert enter_inspections(school, "school", LOCAL_MANAGER, [look])[0].outcome == "taken"
    kept = _records(school).inspections.set_index("tree_id")
    assert kept.loc[TREE, "answer"] == "nothing recorded"
    assert kept.loc[OTHER_TREE, "note"] == "ivy"
    assert kept["qualified"].tolist() == [True, True]


def test_a_crew_may_measure_and_see_but_not_manage(school):
    crew = Actor("crew", "blue 2")
    assert enter_readings(school, "school", crew, [_reading(1)])[0].outcome == "taken"
    seen = [{"tree_id": TREE, "what": "fungus", "observed_on": "2024-05-14"}]
    assert enter_observations(school, "school", crew, seen)[0].outcome == "taken"
    with pytest.raises(NotPermitted):
        enter_inspections(school, "school", crew, [])


def test_an_unknown_site_is_said(store):
    with pytest.raises(NotFound, match="no site 'nowhere'"):
        enter_readings(store, "nowhere", LOCAL_MANAGER, [_reading(1)])


def test_one_batch_sent_by_two_at_once_is_kept_once(school):
    batch = [_reading(number, value=90.0 + number) for number in range(1, 40)]
    with ThreadPoolExecutor(4) as pool:
        sent = list(pool.map(lambda _: enter_readings(school, "school", LOCAL_MANAGER, batch), range(4)))
    outcomes = [[answer.outcome for answer in answers] for answers in sent]
    assert sorted(set(map(tuple, outcomes))) == [("already there",) * 39, ("taken",) * 39]
    assert outcomes.count(["taken"] * 39) == 1
    assert len(_records(school).readings) == 39


def _look(number, **said):
    return {
        "id": _id(number),
        "inspected_on": "2025-05-14",
        "level": "formal",
        "organisation": "Tree care",
        "qualified": True,
        "answers": {TREE: {"answer": "nothing recorded"}},
        **said,
    }


def test_an_inspection_is_corrected_crossed_out_and_said_again(school):
    enter_inspections(school, "school", LOCAL_MANAGER, [_look(1)])
    later = _look(2, supersedes=_id(1), inspected_on="2025-06-02")
    assert enter_inspections(school, "school", LOCAL_MANAGER, [later])[0].outcome == "taken"
    assert _records(school).inspections["inspected_on"].tolist() == ["2025-06-02"]
    crossed_out = _look(3, supersedes=_id(2), void=True)
    assert enter_inspections(school, "school", LOCAL_MANAGER, [crossed_out])[0].outcome == "taken"
    assert _records(school).inspections.empty
    again = _look(4, supersedes=_id(3), inspected_on="2025-06-03")
    assert enter_inspections(school, "school", LOCAL_MANAGER, [again])[0].outcome == "taken"
    assert _records(school).inspections["inspected_on"].tolist() == ["2025-06-03"]


def test_an_inspection_that_is_known_with_other_answers_is_refused_with_both(school):
    enter_inspections(school, "school", LOCAL_MANAGER, [_look(1)])
    assert enter_inspections(school, "school", LOCAL_MANAGER, [_look(1)])[0].outcome == "already there"
    other = _look(1, answers={TREE: {"answer": "recorded", "note": "a crack"}})
    answer = enter_inspections(school, "school", LOCAL_MANAGER, [other])[0]
    assert (answer.outcome, answer.known["answers"][TREE]["answer"]) == ("refused", "nothing recorded")
    assert answer.sent["answers"][TREE] == {"answer": "recorded", "note": "a crack"}


def test_a_correction_of_an_inspection_that_has_not_come_waits(school):
    correction = _look(2, supersedes=_id(1), inspected_on="2025-06-02")
    enter_inspections(school, "school", LOCAL_MANAGER, [correction])
    assert _records(school).inspections.empty
    enter_inspections(school, "school", LOCAL_MANAGER, [_look(1)])
    assert _records(school).inspections["inspected_on"].tolist() == ["2025-06-02"]


def test_what_is_said_of_a_tree_or_zone_that_is_not_there_is_refused(school):
    nothing = _id(99)
    answers = [
        *enter_statuses(school, "school", LOCAL_MANAGER, [{"subject_id": nothing, "status": "dead"}]),
        *enter_inspections(
            school,
            "school",
            LOCAL_MANAGER,
            [_look(1, answers={nothing: {"answer": "recorded"}}), _look(2, area_id=nothing)],
        ),
    ]
    assert [answer.outcome for answer in answers] == ["refused"] * 3
    assert [answer.why.split()[3] for answer in answers] == ["tree", "tree", "area"]
    stem = {"subject": "stem", "subject_id": STEM, "status": "dead"}
    assert enter_statuses(school, "school", LOCAL_MANAGER, [stem])[0].outcome == "taken"


def test_an_id_that_is_known_on_another_ground_is_refused(school):
    enter_readings(school, "school", LOCAL_MANAGER, [_reading(1)])
    create_site(school, "park", actor=LOCAL_MANAGER)
    tree = _id(50)
    add_trees(school, "park", LOCAL_MANAGER, [{"id": tree}])
    there = _reading(1, stem_id=str(uuid.uuid5(uuid.UUID(tree), "1")))
    answer = enter_readings(school, "park", LOCAL_MANAGER, [there])[0]
    assert (answer.outcome, "another ground" in answer.why) == ("refused", True)


def test_a_time_that_is_none_is_refused(school):
    answer = enter_readings(school, "school", LOCAL_MANAGER, [_reading(1, recorded_at="soon")])[0]
    assert (answer.outcome, "is not a time" in answer.why) == ("refused", True)


@pytest.mark.parametrize("second", [-1.0, 90_000.0])
def test_a_second_axis_that_cannot_be_is_refused(school, second):
    said = _reading(1, quantity="diameter", instrument="caliper", value=30, value_2=second)
    assert enter_readings(school, "school", LOCAL_MANAGER, [said])[0].outcome == "refused"


@pytest.mark.parametrize("value", [-5.0, 9_000.0])
def test_a_girth_that_cannot_be_is_refused(school, value):
    said = _reading(1, value=value)
    assert enter_readings(school, "school", LOCAL_MANAGER, [said])[0].outcome == "refused"


@pytest.mark.parametrize(
    ("precision", "kept"), [("year", "2024-07-02"), ("month", "2024-01-15"), ("day", "2024-01-01")]
)
def test_of_a_month_or_a_year_the_middle_day_is_kept(school, precision, kept):
    said = _reading(1, measured_on="2024-01-01", date_precision=precision)
    for outcome in ("taken", "already there"):
        assert enter_readings(school, "school", LOCAL_MANAGER, [said])[0].outcome == outcome
    assert _records(school).readings["measured_on"].tolist() == [kept]


def test_a_class_that_holds_nothing_is_refused_and_one_is_crossed_out_without_bounds(school):
    said = _reading(1, quantity="class", value=None, class_from_cm=40, class_to_cm=20)
    assert enter_readings(school, "school", LOCAL_MANAGER, [said])[0].outcome == "refused"
    void = _reading(2, quantity="class", value=None, void=True, supersedes=_id(1))
    assert enter_readings(school, "school", LOCAL_MANAGER, [void])[0].outcome == "taken"
