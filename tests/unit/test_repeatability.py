"""Repeatability of a round against analysis of variance by hand and a published library's REML."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from layers.growth_rates import least_change_told
from layers.learning import learned_from, repeats
from layers.repeatability import in_round, repeatability
from layers.tolerance import national_tolerance_cm
from tests.builders import make_site
from tests.unit.test_learning import records_of

RNG = np.random.default_rng(5)


def crossed(crews, stems, own_sd, crew_sd, keep=1.0):
    """Readings of 15 cm stems by several crews: (stem, size, said); each crew misses some stems."""
    off = RNG.normal(0.0, crew_sd, crews)
    return [
        (stem, 15.0 + off[crew] + own_sd * RNG.normal(), {"crew": f"C{crew:02}", "round_id": "R"})
        for stem in range(stems)
        for crew in range(crews)
        if RNG.random() < keep
    ]


def found(rows, round_id="R", **terms):
    return repeatability(records_of(rows), make_site(**terms), round_id)


def test_one_crew_reading_twice_is_the_variance_within_by_hand():
    rows = [(0, 15.0, {}), (0, 15.4, {}), (1, 15.0, {}), (1, 14.8, {}), (2, 15.3, {}), (2, 15.3, {})]
    got = found([(stem, size, {"round_id": "R"}) for stem, size, _ in rows])
    within = (0.4**2 + 0.2**2 + 0.0) / 2.0 / 3.0  # sum of squares within, three degrees of freedom
    assert got.own.sd_cm**2 == pytest.approx(within, rel=0.01)
    assert got.own.df == pytest.approx(3.0, rel=0.02)
    low, high = np.sqrt(3.0 * within / stats.chi2.ppf([0.975, 0.025], 3.0))
    assert (got.own.low_cm, got.own.high_cm) == pytest.approx((low, high), rel=0.02)
    assert (got.crew.df, got.crew.sd_cm) == (None, pytest.approx(0.1))  # one crew: as assumed


def test_balanced_crews_agree_with_analysis_of_variance_by_hand():
    rows = crossed(6, 40, 0.25, 0.3)
    table = np.array([size for _, size, _ in rows]).reshape(40, 6)
    residual = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
    within = np.sum(residual**2) / (39 * 5)
    between = (40 * np.var(table.mean(axis=0), ddof=1) - within) / 40
    got = found(rows)
    assert got.own.sd_cm**2 == pytest.approx(within, rel=5e-3)
    assert got.crew.sd_cm**2 == pytest.approx(between, rel=5e-3)
    assert got.own.df == pytest.approx(39 * 5, rel=0.02)
    assert got.crew.low_cm < got.crew.sd_cm < got.crew.high_cm


def test_unbalanced_crews_agree_with_the_reml_of_a_published_library():
    rows = crossed(7, 30, 0.3, 0.25, keep=0.7)
    got = found(rows)
    table = pd.DataFrame([{"stem": s, "d": d, "crew": said["crew"]} for s, d, said in rows])
    table = table[table.groupby("stem")["d"].transform("size") > 1]
    model = smf.mixedlm("d ~ C(stem)", table, groups=np.ones(len(table)), vc_formula={"crew": "0 + C(crew)"})
    fit = model.fit(reml=True)
    assert got.own.sd_cm**2 == pytest.approx(fit.scale, rel=5e-3)
    assert got.crew.sd_cm**2 == pytest.approx(fit.vcomp[0], rel=2e-2)


def test_crews_that_cannot_be_told_apart_have_no_bounded_deviation():
    rows = [
        (s, 15.0 + (0.3 if s % 2 else -0.3) * c, {"crew": f"C{c}", "round_id": "R"})
        for s in range(20)
        for c in (0, 1)
    ]
    got = found(rows)
    assert got.crew.sd_cm < 0.02
    assert (got.crew.low_cm, got.crew.high_cm) == (None, None)


def test_slips_are_shown_first_and_left_out_of_the_components():
    rows = [*crossed(2, 30, 0.3, 0.0), (30, 15.0, {"crew": "C00", "round_id": "R"})]
    rows.append((30, 15.0 * np.pi, {"crew": "C01", "round_id": "R"}))
    got = found(rows)
    assert got.trunks["stem_id"].iloc[0] == "s30"
    assert got.trunks["left_out"].tolist() == [True, *[False] * 30]
    assert len(got.left_out) == 2
    assert got.own.sd_cm < 0.5
    assert got.within_volunteer_window == pytest.approx(30 / 31)


def test_the_bias_is_against_trained_staff_on_the_trunks_that_both_read():
    rows = []
    for stem in range(8):
        truth = 20.0 + stem
        staff = {"crew": "staff", "crew_kind": "trained staff", "round_id": "R"}
        pupils = {"crew": "class", "crew_kind": "pupils", "round_id": "R", "instrument": "string and ruler"}
        rows += [(stem, truth, staff), (stem, truth + 0.5 + 0.1 * (-1) ** stem, pupils)]
        rows += [(stem + 8, truth, pupils)]
    got = found(rows)
    assert got.reference == "staff"
    bias = got.biases.iloc[0]
    assert (bias["crew"], bias["instrument"], bias["stems"]) == ("class", "string and ruler", 8)
    half = stats.t.ppf(0.975, 7) * np.std([0.1, -0.1] * 4, ddof=1) / np.sqrt(8)
    assert bias["bias_cm"] == pytest.approx(0.5)
    assert (bias["low_cm"], bias["high_cm"]) == pytest.approx((0.5 - half, 0.5 + half))
    whole = got.biases.iloc[1]
    assert whole["crew"] is None
    assert whole["bias_cm"] == pytest.approx(0.5)


def test_without_trained_staff_the_crew_with_most_readings_is_the_reference():
    rows = [*crossed(2, 6, 0.1, 0.0), (9, 15.0, {"crew": "C01", "round_id": "R"})]
    assert found(rows).reference == "C01"


def test_shares_within_the_tolerances_count_pairs_of_readings():
    sizes = [(15.0, 15.2), (15.0, 17.0), (15.0, 17.54), (15.0, 18.0)]
    rows = [
        (s, d, {"crew": f"C{c}", "round_id": "R"}) for s, two in enumerate(sizes) for c, d in enumerate(two)
    ]
    got = found(rows)
    assert (got.pairs, got.within_volunteer_window, got.within_survey_rule) == (4, 0.75, 0.25)


# Field guide of the US national forest inventory, from memory: 0.1 in per 20 in of diameter or part of it.
@pytest.mark.parametrize(("inches", "tolerance"), [(5.0, 0.1), (20.0, 0.1), (20.1, 0.2), (41.0, 0.3)])
def test_the_survey_rule_steps_every_twenty_inches(inches, tolerance):
    assert national_tolerance_cm(inches * 2.54) == pytest.approx(tolerance * 2.54)


def test_the_smallest_change_of_two_readings():
    """1.96 sd sqrt(2), with the deviation of 0.3 cm of Luoma et al. 2017, Forests 8(2):38."""
    assert least_change_told(0.3) == pytest.approx(0.8316, abs=1e-4)


def test_what_one_trunk_and_the_mean_of_all_could_show():
    got = found(crossed(4, 50, 0.3, 0.2))
    of_one = np.hypot(got.own.sd_cm, got.crew.sd_cm)
    of_mean = np.sqrt(got.own.sd_cm**2 / 50 + got.crew.sd_cm**2 / 4)
    assert got.least_change_stem_cm == pytest.approx(least_change_told(of_one))
    assert got.least_change_mean_cm == pytest.approx(least_change_told(of_mean))


def test_guesses_are_compared_with_readings_by_crew():
    rows = [
        (n, 20.0, {"crew": crew, "round_id": "R", "first_guess": guess})
        for n, (crew, guess) in enumerate([("A", 10.0), ("A", 40.0), ("B", 22.0), ("B", None)])
    ]
    table = found(rows).guesses.set_index("crew")
    assert table["guesses"].to_dict() == {"A": 2, "B": 1}
    assert table["ratio"].to_dict() == pytest.approx({"A": 1.0, "B": 1.1})


def test_a_round_without_repeated_readings_says_what_is_assumed():
    got = found([(0, 15.0, {"round_id": "R"}), (1, 15.0, {"round_id": "R"})])
    assert (got.repeated_stems, got.pairs, got.within_volunteer_window, got.reference) == (0, 0, None, None)
    assert (got.own.df, got.own.sd_cm) == (None, pytest.approx(0.3))
    assert got.biases.empty
    assert got.trunks.empty


def test_a_round_without_sizes_has_no_repeatability():
    assert found([(0, 15.0, {"round_id": "other"})]) is None


def test_only_readings_of_the_round_that_hold_are_looked_at():
    rows = [
        (0, 15.0, {"round_id": "R"}),
        (0, 15.2, {"round_id": "R", "supersedes": "r00000"}),
        (0, 15.4, {"round_id": "R", "crew": "B"}),
        (0, 25.0, {"round_id": "other"}),
    ]
    records = in_round(records_of(rows), "R")
    assert records.readings["reading_id"].tolist() == ["r00001", "r00002"]
    assert len(repeats(records, make_site())) == 1


def test_restricted_likelihood_without_a_prior_bears_a_component_of_nothing():
    rows = [(s, 15.0, {"crew": f"C{c}", "round_id": "R"}) for s in range(5) for c in (0, 1)]
    model = learned_from(repeats(records_of(rows), make_site()), prior_df=0.0)
    assert model.own.value < 1e-3
    assert model.crew.df == 0.0
