"""Taking back: what was said before holds again, whatever was taken back."""

import pytest

from service.actors import LOCAL_MANAGER
from service.edit import add_trees
from service.entry import enter_readings, enter_statuses
from service.errors import NotFound
from service.store.site_rows import create_site
from service.undo import last_by_hand, undo_last
from service.view import view_of

SITE = "taking-back"


@pytest.fixture
def stem(store):
    create_site(store, SITE, actor=LOCAL_MANAGER)
    add_trees(store, SITE, LOCAL_MANAGER, [{"tag": "1"}])
    return view_of(store, SITE, LOCAL_MANAGER).records.stems.iloc[0].stem_id


def enter(store, **said):
    (answer,) = enter_readings(store, SITE, LOCAL_MANAGER, [said])
    assert answer.outcome == "taken", answer.why
    return answer.id


def width(store):
    return view_of(store, SITE, LOCAL_MANAGER).state.stem_state["as_measured_cm"].iloc[0] * 3.141592653589793


def test_a_correction_taken_back_gives_way_to_what_it_corrected(store, stem):
    first = enter(store, stem_id=stem, value=90, measured_on="2026-05-01", crew="5b")
    enter(store, stem_id=stem, value=95, measured_on="2026-05-01", supersedes=first, reason="misread")
    assert width(store) == pytest.approx(95)
    assert undo_last(store, SITE, LOCAL_MANAGER) == 1
    assert width(store) == pytest.approx(90)
    assert view_of(store, SITE, LOCAL_MANAGER).records.readings.iloc[-1].crew == "5b"


def test_a_crossing_out_taken_back_lets_the_measurement_hold_again(store, stem):
    first = enter(store, stem_id=stem, value=90, measured_on="2026-05-01")
    enter(store, stem_id=stem, supersedes=first, void=True, reason="another tree")
    assert width(store) != width(store)
    undo_last(store, SITE, LOCAL_MANAGER)
    assert width(store) == pytest.approx(90)


def test_everything_is_taken_back_step_by_step(store, stem):
    first = enter(store, stem_id=stem, value=90, measured_on="2026-05-01")
    second = enter(store, stem_id=stem, value=95, measured_on="2026-05-01", supersedes=first)
    enter(store, stem_id=stem, value=96, measured_on="2026-05-01", supersedes=second)
    seen = []
    for _ in range(2):
        undo_last(store, SITE, LOCAL_MANAGER)
        seen.append(round(width(store)))
    undo_last(store, SITE, LOCAL_MANAGER)
    assert seen == [95, 90]
    assert width(store) != width(store)


def test_of_two_corrections_of_one_measurement_the_other_one_holds_when_one_is_taken_back(store, stem):
    first = enter(store, stem_id=stem, value=90, measured_on="2026-05-01")
    enter(store, stem_id=stem, value=95, measured_on="2026-05-01", supersedes=first)
    late = "2026-05-02T10:00:00Z"
    enter(store, stem_id=stem, value=80, measured_on="2026-05-01", supersedes=first, recorded_at=late)
    assert width(store) == pytest.approx(80)
    undo_last(store, SITE, LOCAL_MANAGER)
    assert width(store) == pytest.approx(95)


def test_what_became_of_a_tree_is_taken_back_too(store, stem):
    tree = view_of(store, SITE, LOCAL_MANAGER).records.trees.iloc[0].tree_id
    enter_statuses(store, SITE, LOCAL_MANAGER, [{"subject_id": tree, "status": "removed"}])
    assert view_of(store, SITE, LOCAL_MANAGER).figures[0]["trees"] == 0
    undo_last(store, SITE, LOCAL_MANAGER)
    assert view_of(store, SITE, LOCAL_MANAGER).figures[0]["trees"] == 1


def test_what_would_be_taken_back_is_known_until_nothing_is_left(store, stem):
    enter(store, stem_id=stem, value=90)
    last = last_by_hand(store, SITE, LOCAL_MANAGER)
    assert (last.note, last.change_no) == ("reading", 3)
    undo_last(store, SITE, LOCAL_MANAGER)
    assert last_by_hand(store, SITE, LOCAL_MANAGER).note == "tree"
    undo_last(store, SITE, LOCAL_MANAGER)
    assert last_by_hand(store, SITE, LOCAL_MANAGER) is None
    with pytest.raises(NotFound):
        undo_last(store, SITE, LOCAL_MANAGER)
