import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import linalg, stats

from layers.combining import at_mean_size
from layers.girth import standardised
from layers.growth import growth_of, mean_growth
from layers.line_fit import Shared, covariance, fit_lines
from layers.site_model import Effect, Factor, SiteModel
from tests.builders import make_records, make_site
from tests.growth_builders import dense_covariance, growth_by, histories

SITE = make_site()
AS_OF = "2030-01-01"
HELPERS = {"crew_kind": "pupils", "crew": "B", "round_id": "spring"}


def sizes_of(records, terms=SITE):
    return standardised(records.readings, records.stems, records.trees, terms)


def slope_by_hand(sizes, rows, when):
    """Slope, its weights and their covariance, by whitening and the normal equations."""
    known = dense_covariance(sizes, rows)
    root = linalg.cholesky(known, lower=True)
    years = (when - when.min()) / 365.25
    design = np.column_stack([np.ones(len(rows)), years])
    white = linalg.solve_triangular(root, design, lower=True)
    solve = linalg.pinv(white) @ linalg.inv(root)
    return solve[1], known


def by_hand(records, stem, terms=SITE, left_out=()):
    """Slope and standard error of one stem, its errors taken at its mean size."""
    sizes = sizes_of(records, terms)
    at = (sizes.readings["stem_id"] == stem) & ~sizes.readings["reading_id"].isin(left_out)
    rows = np.flatnonzero(at.to_numpy())
    alike = at_mean_size(sizes, rows, np.zeros(len(rows), dtype=np.int64), records, terms)
    when = pd.to_datetime(sizes.readings["measured_on"].iloc[rows]).to_numpy().astype("datetime64[D]")
    weights, known = slope_by_hand(alike, range(len(rows)), when.astype(int))
    size = sizes.readings["dbh_cm"].to_numpy()[rows]
    return weights @ size, np.sqrt(weights @ known @ weights)


def told(records, terms=SITE, as_of=AS_OF):
    return growth_of(records, terms, as_of).stems.set_index("stem_id")


readings_of_a_stem = st.lists(
    st.tuples(
        st.integers(0, 4000),
        st.floats(5, 120),
        st.sampled_from([0.6096, 1.0, 1.3, float("nan")]),
        st.sampled_from(["girth tape", "string and ruler", "sighting"]),
        st.sampled_from([("A", "trained staff", "one"), ("B", "pupils", "two"), ("C", None, None)]),
    ),
    min_size=2,
    max_size=7,
)


@settings(max_examples=60, deadline=None)
@given(readings_of_a_stem)
def test_the_slope_is_that_of_generalised_least_squares_written_out(said):
    first = np.datetime64("2010-01-01")
    records = histories(
        [
            (
                str(first + day),
                size,
                {"height_m": h, "instrument": tool, "crew": c[0], "crew_kind": c[1], "round_id": c[2]},
            )
            for day, size, h, tool, c in said
        ]
    )
    stems = told(records)
    span = max(day for day, *_ in said) - min(day for day, *_ in said)
    assert (len(stems) == 1) == (span >= 292)
    if len(stems) and np.isfinite(stems.loc["s0", "growth_cm_per_yr"]):
        questioned = stems.loc["s0", "questioned_reading"]
        slope, se = by_hand(records, "s0", left_out=(questioned,))
        assert stems.loc["s0", "growth_cm_per_yr"] == pytest.approx(slope, rel=1e-9, abs=1e-9)
        assert stems.loc["s0", "se"] == pytest.approx(se, rel=1e-9)


def test_lines_of_random_rows_are_those_of_a_library_that_whitens_them():
    rng = np.random.default_rng(8)
    at = np.sort(rng.uniform(0, 9, (40, 5)), axis=1)
    number = rng.normal(30, 5, (40, 5))
    shared = [Shared(0, rng.integers(-1, 3, (40, 5)), rng.normal(0, 1, (40, 5))) for _ in range(2)]
    own, departure = rng.uniform(0.1, 1, (40, 5)), rng.uniform(0, 1, (40, 5))
    known = covariance(own, departure, rng.integers(0, 2, (40, 5)), shared)
    lines = fit_lines(at, number, known, 4)
    for m in range(40):
        root = linalg.sqrtm(linalg.inv(known[m])).real
        design = np.column_stack([np.ones(5), at[m] - lines.at[m]])
        (level, slope), *_ = linalg.lstsq(root @ design, root @ number[m])
        of_both = linalg.inv(design.T @ linalg.inv(known[m]) @ design)
        assert lines.slope_weight[m] @ number[m] == pytest.approx(slope, rel=1e-9, abs=1e-9)
        assert lines.level[m] == pytest.approx(level, rel=1e-9)
        assert lines.level_var[m] == pytest.approx(of_both[0, 0], rel=1e-9)
        assert of_both[0, 1] == pytest.approx(0, abs=1e-9)
        away = []
        for j in range(5):
            others = np.delete(np.arange(5), j)
            away.append(_from_the_others(at[m], number[m], known[m], j, others))
        assert lines.residual[m] == pytest.approx(max(away), rel=1e-8)
        assert lines.doubtful[m] == int(np.argmax(away))


def _from_the_others(at, number, known, j, others):
    """How far number j is from what the line through the others and their errors let expect of it."""
    inverse = linalg.inv(known[np.ix_(others, others)])
    design = np.column_stack([np.ones(len(others)), at[others]])
    of_line = linalg.inv(design.T @ inverse @ design)
    line = of_line @ design.T @ inverse @ number[others]
    with_others = inverse @ known[others, j]
    expected = np.array([1, at[j]]) @ line + with_others @ (number[others] - design @ line)
    gap = np.array([1, at[j]]) - design.T @ with_others
    variance = known[j, j] - known[j, others] @ with_others + gap @ of_line @ gap
    return abs(number[j] - expected) / np.sqrt(variance)


def test_two_readings_grow_by_their_difference_and_what_both_share_cancels():
    stems = told(histories([("2020-05-01", 30.0), ("2024-05-01", 32.0)]))
    years = 1461 / 365.25
    row = stems.loc["s0"]
    assert row["growth_cm_per_yr"] == pytest.approx(2 / years, rel=1e-12)
    assert row["se"] == pytest.approx(np.sqrt(2) * 0.015 * 31.0 / years, rel=2e-2)
    assert row["lo"] == pytest.approx(row["growth_cm_per_yr"] - 1.959964 * row["se"], rel=1e-6)
    assert (row["readings"], row["days"]) == (2, 1461)


def test_a_shared_effect_of_any_size_leaves_slope_and_error_as_they_are():
    said = [("2018-05-01", 30.0), ("2021-05-01", 31.0), ("2024-05-01", 33.0)]
    records = histories(said, round_id="all")
    wild = SiteModel(
        effects={
            f"instrument:{SITE.site_id}:girth tape": Effect(0.0, 400.0),
            "crew:all:A:girth tape": Effect(0.0, 900.0),
        }
    )
    calm, stormy = told(records), told(records, dataclasses.replace(SITE, model=wild))
    for name in ("growth_cm_per_yr", "se"):
        assert stormy.loc["s0", name] == pytest.approx(calm.loc["s0", name], rel=1e-6)
    assert len(growth_of(records, SITE, AS_OF).parts.cause) == 0


def test_another_crew_at_the_end_is_part_of_the_error():
    one = told(histories([("2018-05-01", 30.0), ("2024-05-01", 33.0)], round_id="a"))
    last = {"round_id": "b"}
    two = told(histories([("2018-05-01", 30.0, {"round_id": "a"}), ("2024-05-01", 33.0, last)]))
    years = 2192 / 365.25
    more = two.loc["s0", "se"] ** 2 - one.loc["s0", "se"] ** 2
    assert more == pytest.approx(2 * 0.1**2 / years**2, rel=1e-9)


def test_the_same_low_height_at_both_ends_adds_nothing_and_another_does():
    low, high = {"height_m": 0.6}, {"height_m": 1.3}
    said = [("2018-05-01", 30.0, low), ("2024-05-01", 33.0, low)]
    same = told(histories(said))
    mixed = told(histories([said[0], ("2024-05-01", 33.0, high)]))
    assert mixed.loc["s0", "se"] > 1.5 * same.loc["s0", "se"]


def test_readings_less_than_292_days_apart_say_nothing_and_less_than_640_only_in_a_group():
    records = histories(
        [("2020-01-01", 30.0), ("2020-10-18", 31.0)],  # 291 days
        [("2020-01-01", 30.0), ("2020-10-19", 31.0)],
        [("2020-01-01", 30.0), ("2021-10-01", 31.0)],  # 639 days
        [("2020-01-01", 30.0), ("2021-10-02", 31.0)],
    )
    of = growth_of(records, SITE, AS_OF)
    assert of.stems["stem_id"].tolist() == ["s1", "s2", "s3"]
    assert of.stems["days"].tolist() == [292, 639, 640]
    assert of.can_be_told.tolist() == [False, False, True]


def test_readings_without_a_day_or_size_and_corrected_ones_take_no_part():
    plain = [("2018-05-01", 30.0), ("2024-05-01", 33.0)]
    no_size = ("2022-05-01", 40.0, {"quantity": "class"})
    no_day = (None, 50.0, {"date_precision": "unknown"})
    wrong = ("2021-05-01", 90.0, {"reading_id": "slip"})
    gone = ("2021-05-01", 1.0, {"supersedes": "slip", "void": True})
    full = told(histories([*plain, no_size, no_day, wrong, gone]))
    bare = told(histories(plain))
    pd.testing.assert_frame_equal(full, bare)


def test_readings_after_the_day_are_not_known_yet():
    records = histories([("2018-05-01", 30.0), ("2021-05-01", 31.0), ("2024-05-01", 40.0)])
    early = told(records, as_of="2021-05-01")
    assert early.loc["s0", "readings"] == 2
    assert told(records, as_of="2018-12-31").empty


@settings(max_examples=30, deadline=None)
@given(st.permutations(range(9)))
def test_the_order_of_readings_does_not_matter(order):
    records = histories(
        [("2015-05-01", 30.0), ("2018-05-01", 31.0, HELPERS), ("2018-05-01", 30.4), ("2024-05-01", 33.0)],
        [("2015-05-01", 10.0, {"height_m": 0.6}), ("2019-05-01", 11.0), ("2020-05-01", 11.2)],
        [("2015-05-01", 50.0), ("2016-05-01", 50.5)],
    )
    shuffled = dataclasses.replace(records, readings=records.readings.iloc[list(order)])
    pd.testing.assert_frame_equal(
        growth_of(shuffled, SITE, AS_OF).stems.sort_values("stem_id", ignore_index=True),
        growth_of(records, SITE, AS_OF).stems.sort_values("stem_id", ignore_index=True),
        check_exact=True,
    )


OUTLIER = [("2014-05-01", 30.0), ("2016-05-01", 30.6), ("2018-05-01", 41.2), ("2020-05-01", 31.8)]


def test_one_of_four_readings_far_from_the_others_gets_no_weight_and_is_questioned():
    stems = told(histories(OUTLIER))
    row = stems.loc["s0"]
    assert row["questioned_reading"] == "r0-2"
    assert row["questioned_by_se"] > 4
    assert row["readings"] == 3
    assert row["growth_cm_per_yr"] == pytest.approx(0.3, abs=2e-3)
    assert row["se"] == pytest.approx(by_hand(histories(OUTLIER), "s0", left_out=("r0-2",))[1], rel=1e-9)


def test_one_of_three_readings_is_never_left_out():
    row = told(histories([OUTLIER[0], OUTLIER[2], OUTLIER[3]])).loc["s0"]
    assert row["questioned_reading"] is None
    assert row["readings"] == 3


def test_what_remains_beside_a_questioned_reading_may_be_too_close_together():
    said = [("2014-05-01", 30.0), ("2014-06-01", 30.1), ("2014-07-01", 30.2), ("2024-05-01", 130.0)]
    of = growth_of(histories(said), SITE, AS_OF)
    # the last reading alone tells the slope, so that nothing checks it
    assert of.stems["questioned_reading"].isna().all()
    said.insert(3, ("2024-04-01", 33.0))
    of = growth_of(histories(said), SITE, AS_OF)
    assert of.stems.loc[0, "questioned_reading"] == "r0-4"
    assert of.stems.loc[0, "growth_cm_per_yr"] == pytest.approx(0.3, abs=0.02)


def test_errors_that_grow_with_the_size_do_not_favour_the_smaller_of_two_readings_of_a_day():
    said = [("2014-05-01", 60.0), ("2024-05-01", 66.0), ("2024-05-01", 70.0)]
    row = told(histories(said)).loc["s0"]
    assert row["growth_cm_per_yr"] == pytest.approx(8 / (3653 / 365.25), rel=1e-9)


def test_estimated_variances_widen_the_interval_by_students_t():
    model = SiteModel(version=1, own=Factor(1.0, 5.0))
    records = histories([("2018-05-01", 30.0), ("2024-05-01", 33.0)])
    known, learned = told(records), told(records, dataclasses.replace(SITE, model=model))
    assert learned.loc["s0", "df"] == pytest.approx(5.0)
    ratio = (learned.loc["s0", "hi"] - learned.loc["s0", "lo"]) / (
        known.loc["s0", "hi"] - known.loc["s0", "lo"]
    )
    assert ratio == pytest.approx(stats.t.ppf(0.975, 5) / stats.norm.ppf(0.975), rel=1e-9)


def test_the_variance_of_a_mean_is_that_of_all_readings_written_out():
    low = {"height_m": 0.6, "round_id": "one"}
    records = histories(
        [("2015-05-01", 30.0, low), ("2018-05-01", 31.0, HELPERS), ("2024-05-01", 33.0)],
        [("2015-05-01", 10.0, low), ("2019-05-01", 11.0), ("2020-05-01", 11.2, HELPERS)],
        [("2015-05-01", 50.0, low), ("2016-05-01", 50.5, low)],
        [("2015-05-01", 70.0)],
    )
    sizes = sizes_of(records)
    of = growth_by(sizes, records)
    rows = of.weights["row"].to_numpy()
    stem = of.weights["stem"].to_numpy()
    alike = at_mean_size(sizes, rows, stem, records, SITE)
    a = of.weights["weight"].to_numpy() / 3
    expected = a @ dense_covariance(alike, range(len(rows))) @ a
    found = mean_growth(of, np.zeros(3, dtype=int), np.arange(3), 2, SITE)
    slopes = of.stems["growth_cm_per_yr"]
    assert found.groups.loc[0, "growth_cm_per_yr"] == pytest.approx(slopes.mean(), rel=1e-12)
    assert found.groups.loc[0, "se"] ** 2 == pytest.approx(expected, rel=1e-9)
    assert found.variances[0].sum() == pytest.approx(expected, rel=1e-9)
    assert found.kinds[0] == "own"
    assert found.groups["stems"].tolist() == [3, 0]
    assert found.groups.loc[1].drop(["stems", "df"]).isna().all()


def test_a_crew_in_common_does_not_shrink_with_the_number_of_trees():
    ends = [("2018-05-01", 30.0, {"round_id": "a"}), ("2024-05-01", 33.0, {"round_id": "b"})]
    of = growth_of(histories(*[ends] * 400), SITE, AS_OF)
    found = mean_growth(of, np.zeros(400, dtype=int), np.arange(400), 1, SITE)
    of_crews = dict(zip(found.kinds, found.variances[0], strict=True))["crew"]
    assert of_crews == pytest.approx(2 * 0.1**2 / (2192 / 365.25) ** 2, rel=1e-9)


def test_nothing_gives_empty_frames():
    of = growth_of(make_records(), SITE, AS_OF)
    assert of.stems.empty
    assert mean_growth(of, np.zeros(0, dtype=int), np.zeros(0, dtype=int), 1, SITE).groups["stems"][0] == 0
