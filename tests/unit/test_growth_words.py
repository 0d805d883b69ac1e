import numpy as np
import pytest

from layers.growth import growth_of
from layers.growth_words import GROWING, SMALLER, TOO_SMALL, Verdicts, chance_of_nothing, verdicts
from tests.builders import make_records, make_site
from tests.growth_builders import histories

AS_OF = "2030-01-01"


def site_of(*changes_cm):
    """Stems of 20 cm that changed by so much in four years."""
    return growth_of(
        histories(*[[("2020-05-01", 20.0), ("2024-05-01", 20.0 + change)] for change in changes_cm]),
        make_site(),
        AS_OF,
    )


def words_of(of):
    stems = of.stems
    return verdicts(of).words(stems["growth_cm_per_yr"], stems["se"], stems["df"]).tolist()


def test_the_three_verdicts():
    assert words_of(site_of(3.0, 0.2, -3.0)) == [GROWING, TOO_SMALL, SMALLER]


def test_a_change_that_one_tree_alone_would_be_called_by_is_not_called_among_many():
    error = site_of(0.0).stems.loc[0, "se"] * 1461 / 365.25
    assert words_of(site_of(2.1 * error)) == [GROWING]
    assert words_of(site_of(2.1 * error, *[0.0] * 30))[0] == TOO_SMALL
    assert words_of(site_of(2.1 * error, *[5.0] * 30))[0] == GROWING


def test_of_trees_that_do_not_change_few_sites_call_any():
    rng = np.random.default_rng(5)
    error = site_of(0.0).stems.loc[0, "se"] * 1461 / 365.25
    called = [verdicts(site_of(*rng.normal(0, error, 60))).calls > 0 for _ in range(40)]
    assert np.mean(called) < 0.2  # the rule says 0.05; 8 or more of 40 happen once in 1,000 times


def test_the_number_of_false_calls_to_expect_is_a_twentieth_of_the_calls():
    found = verdicts(site_of(*[5.0] * 40, *[0.0] * 10))
    assert found.stems == 50
    assert found.calls >= 40
    assert found.false_calls == pytest.approx(0.05 * found.calls)


def test_every_call_leaves_nothing_out_of_its_95_percent_interval():
    of = site_of(*np.linspace(-2, 4, 25))
    for word, low, high in zip(words_of(of), of.stems["lo"], of.stems["hi"], strict=True):
        assert (word == TOO_SMALL) or (low > 0 if word == GROWING else high < 0)


def test_the_chance_is_students():
    # Student's t, two-sided 5 %: 12.706 with 1 degree of freedom, 1.960 with infinitely many (any table)
    assert chance_of_nothing([12.706, 1.96], [1, 1], [1, np.inf]) == pytest.approx(0.05, abs=1e-5)


def test_nothing_is_called_where_nothing_is_known():
    assert verdicts(growth_of(make_records(), make_site(), AS_OF)) == Verdicts(0.0, 0, 0.0, 0)
    assert Verdicts(0.05, 1, 0.05, 1).words([np.nan], [np.nan], [np.inf]).tolist() == [None]
