"""SQLite and PostgreSQL give equal figures: every number to its last bit, every sentence."""

import json

import pytest

from service.actors import LOCAL_MANAGER
from service.sample import SAMPLES, load_samples
from service.view import view_of
from tests.command_line import done

DAYS = ("2022-12-31", "2026-06-30")


@pytest.fixture
def both(sqlite_store, postgresql_store):
    for store in (sqlite_store, postgresql_store):
        load_samples(store, LOCAL_MANAGER)
    return sqlite_store, postgresql_store


def test_figures_trees_and_flags_of_the_sample_sites_are_equal_on_both_databases(both):
    for slug in SAMPLES:
        for day in DAYS:
            ours, theirs = (view_of(store, slug, LOCAL_MANAGER, day) for store in both)
            assert len(ours.figures) > 5
            assert ours.figures[0]["measured_stems"] > 80
            assert ours.figures == theirs.figures
            for name in ("trees", "flags", "membership"):
                assert getattr(ours, name).equals(getattr(theirs, name)), (slug, day, name)


def test_the_command_prints_the_same_on_both_databases(both):
    for slug in SAMPLES:
        for form in ("--json", "--csv", "--geojson"):
            words = ("figures", "--site", slug, "--as-of", DAYS[-1], form)
            ours, theirs = (done(*words, store=store.address).out for store in both)
            assert ours == theirs
            assert form != "--json" or json.loads(ours)[0]["basal_area_m2"] > 1.0
