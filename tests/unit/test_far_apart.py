"""Slips among repeated readings teach nothing; ordinary errors all do."""

import numpy as np
import pytest

from layers.far_apart import learned, without_far_apart
from layers.learning import learn, learned_from, repeats
from tests.builders import make_site
from tests.unit.test_learning import pairs, records_of


def kept_of(rows):
    return without_far_apart(repeats(records_of(rows), make_site()))


def test_nothing_is_left_out_of_readings_that_differ_by_ordinary_errors():
    rows = pairs(60, 0.3)
    kept, gone = kept_of(rows)
    assert (len(kept), gone) == (60, ())
    assert learned(records_of(rows), make_site()).model == learn(records_of(rows), make_site())


def test_nothing_is_left_out_where_every_reading_of_a_ground_is_worse_than_assumed():
    assert kept_of(pairs(60, 0.9))[1] == ()


def test_both_of_two_readings_far_apart_are_left_out():
    rows = [*pairs(30, 0.3), (30, 15.0, {}), (30, 15.0 / 2.54, {})]
    kept, gone = kept_of(rows)
    assert len(kept) == 30
    assert set(gone) == {"r00060", "r00061"}


def test_of_three_readings_only_the_slip_is_left_out():
    kept, gone = kept_of([*pairs(30, 0.3), (30, 15.1, {}), (30, 47.1, {}), (30, 14.9, {})])
    assert (len(kept), gone) == (31, ("r00061",))
    assert kept.sizes.readings["dbh_cm"].max() < 17.0


def test_the_parts_of_what_is_kept_belong_to_its_rows():
    kept, _ = kept_of([(0, 15.0, {}), (0, 47.1, {}), *((s + 1, d, o) for s, d, o in pairs(20, 0.3))])
    ids = kept.sizes.readings["reading_id"].to_numpy()
    parts = kept.sizes.parts
    assert (ids[parts["row"]] == parts["reading_id"].to_numpy()).all()
    assert kept.occasion.tolist() == sorted(kept.occasion.tolist())
    assert np.unique(kept.occasion).tolist() == list(range(20))


def test_one_slip_in_twenty_does_not_move_the_own_factor():
    clean = pairs(60, 0.3)
    slips = [(stem + 60, size, {}) for stem in range(3) for size in (15.0, 15.0 * np.pi)]
    among = learned(records_of([*clean, *slips]), make_site()).model.own.value
    assert among == pytest.approx(learn(records_of(clean), make_site()).own.value, rel=0.02)
    assert learned_from(repeats(records_of([*clean, *slips]), make_site())).own.value > 50


def test_a_ground_without_repeated_readings_has_nothing_to_leave_out():
    found = learned(records_of([(0, 30.0, {}), (1, 40.0, {})]), make_site())
    assert (len(found.kept), found.left_out) == (0, ())
