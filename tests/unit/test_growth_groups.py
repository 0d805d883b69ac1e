import numpy as np
import pytest

from layers import growth_groups
from layers.growth import growth_of
from layers.growth_groups import OF_ALL, OF_GENUS, OF_GENUS_AND_CLASS, between_stems, forecast, peers_of
from layers.growth_of_trees import groups_growth, trees_growth
from layers.growth_words import GROWING, TOO_SMALL
from layers.history import state_at
from layers.tree_table import tree_table
from tests.builders import make_records, make_site, make_stem
from tests.growth_builders import histories
from tests.stand_builders import tree_rows

SITE = make_site()
AS_OF = "2025-01-01"
YEARS = 1461 / 365.25


def site_of(changes_cm, first_cm=20.0, **same):
    records = histories(
        *[[("2020-05-01", first_cm), ("2024-05-01", first_cm + change)] for change in changes_cm], **same
    )
    return growth_of(records, SITE, AS_OF)


def peers(of, of_genus, genus=("Tilia",), dbh_cm=(22.0,), stem=(-1,)):
    return peers_of(of, of_genus, list(genus), np.array(dbh_cm), np.array(stem), SITE)


def test_peers_are_those_of_genus_and_class_else_of_the_genus_else_all():
    of = site_of([2.0] * 20)
    genera = ["Tilia"] * 9 + ["Acer"] * 11
    assert peers(of, genera).who.tolist() == [OF_GENUS_AND_CLASS]
    assert peers(of, genera, dbh_cm=(70.0,)).who.tolist() == [OF_GENUS]
    assert peers(of, genera, genus=("Ginkgo",)).who.tolist() == [OF_ALL]
    found = peers(of, genera, genus=("Tilia", None), dbh_cm=(22.0, 5.0), stem=(0, -1))
    assert found.who.tolist() == [OF_GENUS_AND_CLASS, OF_ALL]
    assert found.number.tolist() == [9, 20]


def test_too_few_anywhere_are_no_peers_and_a_stem_keeps_its_own_growth():
    of = site_of([2.0, 1.0])
    found = peers(of, ["Tilia"] * 2, genus=("Tilia", "Tilia"), dbh_cm=(20.0, 20.0), stem=(0, -1))
    assert found.who.tolist() == [None, None]
    assert found.growth[0] == pytest.approx(of.stems.loc[0, "growth_cm_per_yr"])
    assert found.se[0] == pytest.approx(of.stems.loc[0, "se"])
    assert np.isnan(found.growth[1]) and np.isnan(found.se[1])


def test_the_variance_between_stems_by_moments_is_that_of_the_text():
    # by hand: equal variances v give s^2 - v, with s^2 the sample variance
    rate = np.array([0.1, 0.4, 0.2, 0.7])
    assert between_stems(rate, np.full(4, 0.01)) == pytest.approx(np.var(rate, ddof=1) - 0.01, rel=1e-12)
    assert between_stems(np.full(4, 0.3), np.full(4, 0.01)) == 0.0


def test_an_estimate_is_drawn_toward_its_peers_by_variances():
    rng = np.random.default_rng(3)
    of = site_of(rng.normal(2.0, 1.5, 60))
    found = peers(of, ["Tilia"] * 60, genus=["Tilia"] * 60, dbh_cm=[22.0] * 60, stem=range(60))
    own = of.stems["growth_cm_per_yr"].to_numpy()
    variance = of.stems["own_var"].to_numpy()
    share = found.between[0] / (found.between[0] + variance)
    assert found.growth == pytest.approx(share * own + (1 - share) * found.mean[0], rel=1e-12)
    assert (found.se < of.stems["se"].to_numpy()).all()
    assert np.std(found.growth) < np.std(own)


def test_where_all_grow_alike_the_estimate_is_the_peers_mean_and_where_errors_are_nothing_ones_own():
    of = site_of([2.0] * 10)
    found = peers(of, ["Tilia"] * 10, stem=(3,))
    assert found.between[0] == 0
    assert found.growth[0] == pytest.approx(found.mean[0])
    wild = site_of(np.linspace(-40, 80, 10), first_cm=60.0)
    found = peers(wild, ["Tilia"] * 10, dbh_cm=(60.0,), stem=(9,))
    assert found.growth[0] == pytest.approx(wild.stems.loc[9, "growth_cm_per_yr"], rel=0.02)


def test_drawn_estimates_are_nearer_to_the_truth_and_their_errors_honest():
    rng = np.random.default_rng(11)
    inside, nearer = [], []
    for _ in range(20):
        true = rng.normal(0.4, 0.15, 80)
        first = rng.normal(0, 0.3, 80)
        of = site_of(true * YEARS + rng.normal(0, 0.3, 80) - first, first_cm=18.0)
        true = true[of.stems["stem_id"].str[1:].astype(int)]
        found = peers(of, ["Tilia"] * 80, genus=["Tilia"] * 80, dbh_cm=[18.0] * 80, stem=range(80))
        inside += (np.abs(found.growth - true) < 1.96 * found.se).tolist()
        own = of.stems["growth_cm_per_yr"].to_numpy()
        nearer.append(np.mean((found.growth - true) ** 2) / np.mean((own - true) ** 2))
    assert 0.93 < np.mean(inside) < 0.97
    assert np.mean(nearer) < 0.9


def test_a_misread_stem_is_no_peer():
    rng = np.random.default_rng(6)
    changes = [*rng.normal(2.0, 0.5, 20), 60.0]
    found = peers(site_of(changes), ["Tilia"] * 21)
    assert found.number[0] == 20
    assert found.mean[0] == pytest.approx(0.5, abs=0.1)
    assert found.between[0] < 0.1


def test_a_forecast_goes_on_from_the_line_and_its_error_grows():
    of = site_of([2.0] * 10)
    found = peers(of, ["Tilia"] * 10, stem=(0,))
    level = [of.stems[name].to_numpy()[:1] for name in ("level_cm", "level_var_cm2", "level_on")]
    ahead = [forecast(*level, found, day) for day in ("2024-05-01", "2030-05-01")]
    assert ahead[0].dbh_cm[0] == pytest.approx(22.0, abs=1e-9)
    assert ahead[1].dbh_cm[0] == pytest.approx(22.0 + 0.5 * 2191 / 365.25, abs=1e-9)
    years = (np.datetime64("2030-05-01").astype(int) - level[2][0]) / 365.25
    assert ahead[1].se_cm[0] == pytest.approx(np.hypot(np.sqrt(level[1][0]), years * found.se[0]))
    assert ahead[1].se_cm[0] > ahead[0].se_cm[0]


def test_a_stem_measured_once_is_expected_to_grow_like_its_peers_with_their_spread():
    rng = np.random.default_rng(4)
    found = peers(site_of(rng.normal(2.0, 1.5, 40)), ["Tilia"] * 40)
    assert found.growth[0] == pytest.approx(found.mean[0])
    assert found.se[0] ** 2 >= found.between[0] > 0


def test_a_tree_of_two_stems_grows_by_both_with_what_they_share():
    first, last = {"round_id": "a"}, {"round_id": "b"}
    records = histories(
        [("2020-05-01", 30.0, first), ("2024-05-01", 33.0, last)],
        [("2020-05-01", 40.0, first), ("2024-05-01", 41.0, last)],
        [("2020-05-01", 20.0), ("2024-05-01", 20.1)],
    )
    stems = [make_stem(stem_id=f"s{n}", fid=n + 1, tree_id=t, number=k) for n, t, k in
             ((0, "t0", 1), (1, "t0", 2), (2, "t1", 1))]  # fmt: skip
    records = make_records(trees=tree_rows(2), stems=stems, readings=records.readings.to_dict("records"))
    of = growth_of(records, SITE, AS_OF)
    found = trees_growth(of, state_at(records, SITE, AS_OF).stem_state, SITE).set_index("tree_id")
    whole = np.hypot(33.0, 41.0)
    a = np.array([33.0, 41.0]) / whole
    assert found.loc["t0", "growth_cm_per_yr"] == pytest.approx((a * [3.0, 1.0]).sum() / YEARS, rel=1e-12)
    own = a**2 @ of.stems["own_var"].to_numpy()[:2]
    crews = 2 * 0.1**2 * a.sum() ** 2 / YEARS**2
    assert found.loc["t0", "growth_se_cm_per_yr"] ** 2 == pytest.approx(own + crews, rel=1e-9)
    assert found["growth_words"].tolist() == [GROWING, TOO_SMALL]
    table = tree_table(records, state_at(records, SITE, AS_OF), SITE, AS_OF).set_index("tree_id")
    assert table.loc["t0", "growth_cm_per_yr"] == found.loc["t0", "growth_cm_per_yr"]
    assert table["growth_words"].tolist() == [GROWING, TOO_SMALL]


def test_a_tree_with_a_stem_that_was_measured_once_has_no_growth():
    records = histories([("2020-05-01", 30.0), ("2024-05-01", 33.0)], [("2024-05-01", 41.0)])
    stems = [make_stem(stem_id=f"s{n}", fid=n + 1, tree_id="t0", number=n + 1) for n in range(2)]
    records = make_records(trees=tree_rows(1), stems=stems, readings=records.readings.to_dict("records"))
    table = tree_table(records, state_at(records, SITE, AS_OF), SITE, AS_OF)
    assert table["growth_cm_per_yr"].isna().all()
    assert table["growth_words"].tolist() == [None]


def test_groups_have_the_mean_of_their_living_stems():
    of = site_of([2.0, 4.0, 6.0])
    names = [("all", "a"), ("all", "a"), ("all", "b")]
    found = groups_growth(of, np.array([True, True, False]), names, SITE)
    assert [(each.name, each.stems) for each in found] == [("a", 2), ("all", 2)]
    assert found[0].growth_cm_per_yr == pytest.approx(3.0 / YEARS, rel=1e-9)
    assert found[0].lo < found[0].growth_cm_per_yr < found[0].hi
    assert growth_groups.LEAST_PEERS == 8
