"""The sample grounds in a store: all of them taken, twice the same, believable when computed."""

import pytest

from layers.history import live_readings, state_at
from sample_sites import generate
from service.actors import LOCAL_MANAGER, Actor
from service.errors import Conflict, NotPermitted
from service.sample import SAMPLES, load_samples
from service.store.frames import records_of, terms_of
from service.store.migrating import open_store
from service.store.site_rows import create_site, find_site


@pytest.fixture
def loaded(store):
    load_samples(store, LOCAL_MANAGER)
    return store


def read(store, slug):
    with store.read() as connection:
        row = find_site(connection, slug)
        return row, terms_of(row), records_of(connection, row.fid)


@pytest.mark.parametrize(("recipe", "slug"), [("school", "sample-school"), ("park", "sample-park")])
def test_every_record_of_the_files_is_there(loaded, recipe, slug):
    made = generate.Sample(recipe)
    row, terms, records = read(loaded, slug)
    said = made.recipe["list"]
    assert row.invented == 1
    assert (terms.units, terms.phone) == (made.site["units"], made.site["phone"])
    assert terms.breast_height_m == made.site["breast_height_m"]
    assert len(records.trees) == len(made.trees)
    gaps = records.places[records.places["kind"].isin(["stump", "gap", "vacant"])]
    assert len(gaps) == said["stumps"] + said["vacant"]
    entered = records.readings["source"].str.startswith("readings.csv")
    assert entered.sum() == len(made.readings)
    assert len(records.rounds) == len(made.recipe["rounds"]) + 1
    assert records.rounds["plan"].notna().sum() == 1
    assert len(records.areas) == len(made.recipe["areas"])
    assert len(records.targets) == len(made.recipe["targets"])
    assert len(records.inspections) == len(generate.inspections(made))
    assert records.observations["crew"].notna().sum() == len(generate.observations(made))


def test_loading_twice_changes_nothing(store):
    first = load_samples(store, LOCAL_MANAGER)
    numbers = [read(store, slug)[0].change_no for slug in SAMPLES]
    second = load_samples(store, LOCAL_MANAGER)
    assert [read(store, slug)[0].change_no for slug in SAMPLES] == numbers
    assert all("readings" in line for line in first)
    assert all("nothing was changed" in line for line in second)


def test_ids_are_the_same_in_every_store(loaded, tmp_path):
    other = open_store(str(tmp_path / "other.sqlite"))
    try:
        load_samples(other, LOCAL_MANAGER)
        for slug in SAMPLES:
            here, there = read(loaded, slug)[2], read(other, slug)[2]
            assert set(here.trees["tree_id"]) == set(there.trees["tree_id"])
            assert set(here.readings["reading_id"]) == set(there.readings["reading_id"])
            assert set(here.observations["observation_id"]) == set(there.observations["observation_id"])
    finally:
        other.close()


def test_the_sizes_computed_from_the_crews_readings_are_near_the_truth(loaded):
    made = generate.Sample("school")
    _, terms, records = read(loaded, "sample-school")
    state = state_at(records, terms, "2026-06-30").stem_state
    number = {f"S-{tree.number:04d}": tree for tree in made.trees}
    external = dict(zip(records.trees["tree_id"], records.trees["external_id"], strict=True))
    day = generate.dt.date(2026, 5, 20)
    mistaken = {(r.tree, r.round_id) for r in made.readings if r.mistake}
    off = []
    for row in state.itertuples():
        tree = number[external[row.tree_id]]
        clean = (tree.number, "2026") not in mistaken and len(tree.stems) == 1 and not tree.ivy_cm
        if clean and row.measured_on is not None and row.measured_on >= "2026-05-01":
            off.append(row.dbh_cm / tree.dbh_cm(0, day) - 1.0)
    assert len(off) > 90
    assert sorted(off)[len(off) // 2] == pytest.approx(0.0, abs=0.03)
    assert sum(abs(share) < 0.15 for share in off) > 0.95 * len(off)


def test_corrections_join_what_they_correct(loaded):
    for slug in SAMPLES:
        readings = live_readings(read(loaded, slug)[2].readings)
        assert {"live", "superseded"} <= set(readings["state"])
        assert not {"waiting", "cycle"} & set(readings["state"])


def test_a_site_of_ones_own_with_that_name_is_never_touched(store):
    create_site(store, "sample-school", actor=LOCAL_MANAGER, name="Ours")
    with pytest.raises(Conflict):
        load_samples(store, LOCAL_MANAGER)
    assert len(read(store, "sample-school")[2].trees) == 0


def test_only_a_manager_may_load_them(store):
    with pytest.raises(NotPermitted):
        load_samples(store, Actor("crew", "class 5"))


def test_progress_says_what_is_being_done(store):
    said = []
    load_samples(store, LOCAL_MANAGER, said.append)
    assert len(said) == 18
    assert any("trees" in words for words in said)
