"""Adopting an error model: one change, found again at its change number, and version 0 brings all back."""

import dataclasses

import pytest

from layers.site_model import PUBLISHED, Effect, Factor, SiteModel
from service.actors import LOCAL_MANAGER, Actor
from service.edit import add_trees
from service.entry import enter_readings
from service.errors import NotFound, NotPermitted, StaleVersion
from service.site_models import adopt_fitted, adopt_version, adoptions
from service.store.frames import records_of
from service.store.site_rows import create_site, find_site
from service.undo import last_by_hand
from service.view import view_of
from tests.store.test_edit import LIME
from tests.store.test_entry import STEM

AS_OF = "2024-06-01"
LEARNED = SiteModel(
    own=Factor(1.7, 43.21),
    crew=Factor(0.4, 12.0),
    effects={"taper:mixed hardwood": Effect(-0.013, 0.0001)},
)


@pytest.fixture
def school(store):
    create_site(store, "school", name="School", actor=LOCAL_MANAGER)
    add_trees(store, "school", LOCAL_MANAGER, [LIME])
    said = {"stem_id": STEM, "value": 94.2, "height_m": 0.61, "measured_on": "2024-05-14"}
    enter_readings(store, "school", LOCAL_MANAGER, [said])
    return store


def seen(store, known_at=None):
    return view_of(store, "school", LOCAL_MANAGER, AS_OF, known_at)


def adopted(store, model=LEARNED):
    return adopt_fitted(store, "school", LOCAL_MANAGER, model, seen(store).known_at)


def test_a_ground_begins_with_the_published_model(school):
    assert adoptions(school, "school", LOCAL_MANAGER) == []
    assert seen(school).terms.model == PUBLISHED
    assert {row["model"] for row in seen(school).figures} == {"0"}


def test_adopting_is_one_change_that_says_who_and_from_what(school):
    before = seen(school).known_at
    assert adopted(school) == 1
    found = adoptions(school, "school", LOCAL_MANAGER)
    assert [(one.change_no, one.model.version, one.model.fitted_at) for one in found] == [
        (before + 1, 1, before)
    ]
    assert found[0].model.adopted_by == LOCAL_MANAGER.handle
    assert found[0].model.adopted_at.startswith("20")
    kept = dataclasses.replace(found[0].model, version=0, fitted_at=None, adopted_by=None, adopted_at=None)
    assert kept == LEARNED
    assert {row["model"] for row in seen(school).figures} == {"1"}


def test_what_was_known_before_is_said_with_the_model_of_then(school):
    before = seen(school)
    first = before.figures
    adopted(school)
    assert seen(school).figures[0]["basal_area_se_m2"] != first[0]["basal_area_se_m2"]
    assert seen(school, before.known_at).figures == first
    adopted(school, dataclasses.replace(LEARNED, own=Factor(3.0, 50.0)))
    assert seen(school, before.known_at + 1).terms.model.own == LEARNED.own
    assert seen(school).terms.model.version == 2


def test_version_0_put_into_use_again_gives_the_first_figures_back_exactly(school):
    first = seen(school).figures
    adopted(school)
    adopt_version(school, "school", LOCAL_MANAGER, 0, 1)
    again = seen(school).figures
    assert [{**row, "known_at": None} for row in again] == [{**row, "known_at": None} for row in first]
    assert adopt_version(school, "school", LOCAL_MANAGER, 1, 0) == seen(school).known_at
    assert seen(school).terms.model.version == 1
    assert adopted(school) == 2


def test_adopting_changes_no_reading(school):
    def readings():
        with school.read() as connection:
            return records_of(connection, find_site(connection, "school").fid).readings

    before = readings()
    adopted(school)
    assert readings().equals(before)


def test_a_model_fitted_before_something_was_entered_is_refused(school):
    number = seen(school).known_at
    enter_readings(school, "school", LOCAL_MANAGER, [{"stem_id": STEM, "value": 94.6}])
    with pytest.raises(StaleVersion):
        adopt_fitted(school, "school", LOCAL_MANAGER, LEARNED, number)
    assert seen(school).terms.model == PUBLISHED


def test_a_version_chosen_beside_another_adoption_is_refused(school):
    adopted(school)
    with pytest.raises(StaleVersion):
        adopt_version(school, "school", LOCAL_MANAGER, 0, 0)


def test_a_version_that_nobody_adopted_is_not_there(school):
    with pytest.raises(NotFound):
        adopt_version(school, "school", LOCAL_MANAGER, 7, 0)


def test_only_a_manager_adopts(school):
    crew = Actor("crew", "class 4")
    with pytest.raises(NotPermitted):
        adopt_fitted(school, "school", crew, LEARNED, seen(school).known_at)
    with pytest.raises(NotPermitted):
        adopt_version(school, "school", crew, 0, 0)


def test_an_adoption_is_no_entry_that_is_taken_back(school):
    before = last_by_hand(school, "school", LOCAL_MANAGER)
    adopted(school)
    assert last_by_hand(school, "school", LOCAL_MANAGER) == before
