"""What measuring days taught: guesses, agreement and growth against arithmetic by hand and known chances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers.class_learning import (
    LEAST,
    agreement_of,
    change_words,
    grown_until,
    guesses_of,
    middle_of,
    round_sizes,
    sides_of,
)
from layers.growth_words import GROWING, SMALLER, TOO_SMALL
from layers.repeatability import repeatability
from tests.builders import make_reading, make_records, make_site
from tests.growth_builders import histories
from tests.stand_builders import stem_rows, tree_rows

RNG = np.random.default_rng(3)
SITE = make_site()


def round_of(*said, **same):
    """A round R: one reading of 100 cm a stem, changed by what is said of each."""
    readings = [
        make_reading(
            **{"reading_id": f"r{n:04}", "fid": n + 1, "stem_id": f"s{n}", "round_id": "R", **same, **one}
        )
        for n, one in enumerate(said)
    ]
    stems = 1 + max(int(each["stem_id"][1:]) for each in readings)
    return make_records(trees=tree_rows(stems), stems=stem_rows(stems), readings=readings)


def guessed(ratios, **same):
    said = [{"first_guess": 100.0 * ratio} for ratio in ratios]
    return guesses_of(round_sizes(round_of(*said, **same), SITE, "R"))


def test_the_middle_and_the_half_of_five_numbers_by_hand():
    got = middle_of([3.0, 1.0, np.nan, 2.0, 5.0, 4.0])
    assert (got.count, got.low, got.middle, got.high) == (5, 2.0, 3.0, 4.0)


def test_fewer_than_five_numbers_have_no_middle():
    assert middle_of([1.0] * (LEAST - 1)) is None
    assert middle_of([]) is None


@given(st.lists(st.floats(-1e6, 1e6), min_size=LEAST, max_size=60))
def test_half_of_the_numbers_lie_in_the_half_and_half_on_each_side_of_the_middle(values):
    got = middle_of(values)
    inside = sum(got.low <= value <= got.high for value in values)
    assert 2 * inside >= len(values)
    assert 2 * sum(value <= got.middle for value in values) >= len(values)
    assert 2 * sum(value >= got.middle for value in values) >= len(values)


@pytest.mark.parametrize(
    ("below", "above", "lean"),
    # two-sided chances of a fair coin: 1 of 8 is 18/256 = 7 %, 0 of 6 is 2/64 = 3.1 %, 0 of 5 is 2/32 = 6.3 %
    [(7, 1, "neither"), (6, 0, "below"), (0, 6, "above"), (5, 0, "neither"), (0, 0, "neither")],
)
def test_a_lean_is_called_where_a_coin_would_seldom_do_it(below, above, lean):
    got = sides_of([0.9] * below + [1.1] * above + [1.0] * 3)
    assert (got.below, got.above, got.lean) == (below, above, lean)


def test_guesses_are_told_by_their_ratio_whatever_was_read_and_in_which_unit():
    got = guessed([0.8, 0.9, 1.0, 1.1, 1.5])
    assert got.ratio.middle == pytest.approx(1.0)
    assert (got.off.middle, got.off.high) == (pytest.approx(0.1), pytest.approx(0.2))
    assert got.rows["read_cm"].tolist() == pytest.approx([100.0] * 5)
    said = [{"first_guess": 40.0 * ratio} for ratio in (0.8, 0.9, 1.0, 1.1, 1.5)]
    inches = guesses_of(round_sizes(round_of(*said, value=40.0, unit="in"), SITE, "R"))
    assert inches.rows["ratio"].tolist() == pytest.approx(got.rows["ratio"].tolist())
    assert inches.rows["guess_cm"].tolist() == pytest.approx([101.6 * r for r in inches.rows["ratio"]])


def test_a_guess_of_a_width_is_shown_round_the_trunk():
    got = guessed([0.5] * 5, quantity="diameter")
    assert got.rows["read_cm"].tolist() == pytest.approx([100.0 * np.pi] * 5)
    assert got.rows["guess_cm"].tolist() == pytest.approx([50.0 * np.pi] * 5)


def test_a_reading_that_was_crossed_out_or_corrected_is_no_guess():
    records = round_of(
        {"first_guess": 90.0}, {"first_guess": 80.0}, {"stem_id": "s0", "supersedes": "r0000", "value": 95.0}
    )
    got = guesses_of(round_sizes(records, SITE, "R"))
    assert got.rows["stem_id"].tolist() == ["s1"]


def test_without_a_guess_nothing_is_told():
    got = guesses_of(round_sizes(round_of({}, {}), SITE, "R"))
    assert (len(got.rows), got.ratio, got.off, got.course, got.early) == (0, None, None, "too few", None)


def at(minute):
    return f"2024-05-14T{8 + minute // 60:02}:{minute % 60:02}:00Z"


def timed(away, **same):
    said = [
        {"first_guess": 100.0 * (1.0 + off * (-1) ** n), "recorded_at": at(n)} for n, off in enumerate(away)
    ]
    return guesses_of(round_sizes(round_of(*said, **same), SITE, "R"))


def test_guesses_that_come_nearer_minute_by_minute_got_better():
    got = timed(np.linspace(0.5, 0.05, 20))
    assert (got.course, got.by_day) == ("closer", False)
    assert got.early == pytest.approx(np.median(np.linspace(0.5, 0.05, 20)[:10]))
    assert got.late == pytest.approx(np.median(np.linspace(0.5, 0.05, 20)[10:]))
    assert timed(np.linspace(0.05, 0.5, 20)).course == "farther"


def test_guesses_without_a_course_are_called_better_or_worse_about_once_in_twenty():
    called = [timed(RNG.uniform(0.05, 0.5, 20)).course != "not told" for _ in range(150)]
    assert 0 < sum(called) < 20  # 7.5 expected; 20 or more has a chance of 1 in 20,000


def test_the_clock_of_one_team_that_is_hours_off_does_not_make_a_course():
    """Both teams guess alike all day; the second one's clock is ahead and its guesses are worse."""
    said = [
        {"first_guess": 100.0 + off, "crew": crew, "recorded_at": at(n + 400 * (crew == "B"))}
        for crew, off in (("A", 5.0), ("B", 40.0))
        for n in range(12)
    ]
    got = guesses_of(round_sizes(round_of(*said), SITE, "R"))
    assert got.course == "not told"


def test_days_tell_the_course_where_no_time_was_kept_and_one_day_tells_none():
    days = [f"2024-05-{13 + n // 4:02}" for n in range(20)]
    said = [{"first_guess": 100.0 * (1.5 - 0.02 * n), "measured_on": day} for n, day in enumerate(days)]
    got = guesses_of(round_sizes(round_of(*said), SITE, "R"))
    assert (got.course, got.by_day) == ("closer", True)
    assert guessed(np.linspace(1.5, 1.0, 20)).course == "no times"
    assert guessed(np.linspace(1.5, 1.0, 11)).course == "too few"


def two_teams(*pairs, far=()):
    """A round in which each stem was read by A and B (and more); girths at breast height."""
    said = [
        {"stem_id": f"s{n}", "crew": crew, "value": value}
        for n, each in enumerate(pairs)
        for crew, value in each.items()
    ]
    return repeatability(round_of(*said), SITE, "R")


def test_pairs_of_teams_are_apart_by_their_girths_the_nearest_first():
    of = two_teams(
        {"A": 100, "B": 103}, {"A": 80, "B": 79}, {"A": 60, "B": 60}, {"A": 90, "C": 95}, {"B": 50, "C": 52}
    )
    got = agreement_of(of)
    assert got.pairs["apart_cm"].tolist() == pytest.approx([0, 1, 2, 3, 5])
    assert got.apart.middle == pytest.approx(2.0)
    assert got.pairs.iloc[-1][["crew", "other"]].tolist() == ["A", "C"]


def test_a_team_sees_its_own_pairs_and_stands_first_in_them():
    of = two_teams({"A": 100, "B": 103}, {"A": 80, "C": 79}, {"B": 60, "C": 61})
    got = agreement_of(of, "C")
    assert got.pairs[["crew", "other"]].to_numpy().tolist() == [["C", "A"], ["C", "B"]]
    assert got.pairs["round_cm"].tolist() == pytest.approx([79, 61])
    assert got.apart is None  # two pairs are too few
    assert len(agreement_of(None).pairs) == 0


def test_three_teams_make_three_pairs_and_two_readings_of_one_team_count_as_their_mean():
    said = [
        {"crew": crew, "value": value, "stem_id": "s0"}
        for crew, value in (("A", 99), ("A", 101), ("B", 103), ("C", 110))
    ]
    got = agreement_of(repeatability(round_of(*said), SITE, "R"))
    assert sorted(got.pairs["apart_cm"]) == pytest.approx([3.0, 7.0, 10.0])


def test_a_pair_that_is_too_far_apart_for_errors_of_measuring_is_marked_but_counts():
    of = two_teams(*({"A": 100, "B": 101} for _ in range(6)), {"A": 100, "B": 160})
    got = agreement_of(of)
    assert got.pairs["far"].tolist() == [False] * 6 + [True]
    assert got.apart.count == 7


def grown(rates, first="2020-05-01", last="2024-05-01", stems=None, **terms):
    records = histories(*([(first, 30.0), (last, 30.0 + 4.0 * rate)] for rate in rates), tilt_deg=0.0)
    ids = {f"s{n}" for n in range(len(rates))} if stems is None else stems
    return grown_until(records, make_site(**terms), ids, last, {f"s{n}": "Tilia" for n in range(8)})


def test_the_growth_of_a_group_is_the_mean_of_its_trunks_and_kinds_need_eight():
    rates = [0.3, 0.5, 0.4, 0.6, 0.2, 0.4, 0.5, 0.3, 0.4]
    got = grown(rates)
    years = 4.0 * 365.25 / 1461.0
    assert got.all.growth_cm_per_yr == pytest.approx(np.mean(rates) / years, rel=1e-6)
    assert (got.all.stems, got.left_out) == (9, 0)
    assert [(kind.name, kind.stems) for kind in got.kinds] == [("Tilia", 8)]
    assert grown(rates[:7]).kinds == ()


def test_trunks_that_the_round_did_not_measure_do_not_count():
    got = grown([0.3, 0.5, 9.0], stems={"s0", "s1"})
    assert (got.all.stems, got.all.growth_cm_per_yr) == (2, pytest.approx(0.4, rel=1e-3))


def test_a_trunk_that_a_mistake_made_grow_is_left_out_and_counted():
    got = grown([0.3, 0.5, 0.4, 0.6, 0.2, 0.4, 0.5, 0.3, 12.0])
    assert (got.all.stems, got.left_out) == (8, 1)


def test_without_an_earlier_measurement_far_enough_there_is_no_growth():
    assert grown([0.3] * 5, first="2024-01-01").all is None
    assert grown([0.3], stems=set()).all is None


def test_readings_after_the_round_tell_nothing_of_it():
    records = histories([("2020-05-01", 30.0), ("2022-05-01", 31.0), ("2026-05-01", 60.0)], tilt_deg=0.0)
    got = grown_until(records, SITE, {"s0"}, "2022-12-31", {})
    assert got.all.growth_cm_per_yr == pytest.approx(0.5, rel=1e-3)


def test_the_change_is_called_by_whether_give_or_take_leaves_out_none():
    up, flat, down = (grown([rate] * 6).all for rate in (0.6, 0.0, -0.6))
    assert [change_words(group) for group in (up, flat, down)] == [GROWING, TOO_SMALL, SMALLER]
