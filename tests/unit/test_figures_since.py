"""Figures with what changed since an earlier day, by the command and by the API."""

import pytest

from service.actors import LOCAL_MANAGER
from service.sample import load_samples
from tests.command_line import boleward, done

SITE = "sample-park"


@pytest.fixture
def sampled(store):
    load_samples(store, LOCAL_MANAGER)
    return store


@pytest.fixture
def days(sampled):
    """A day between the first and the last measurement of the sample, and one after all of them."""
    rows = done("figures", "--site", SITE, "--json", store=sampled.address).json
    return "2021-06-30", rows[0]["as_of"]


def test_the_command_adds_increment_and_components_for_every_row_with_trees(sampled, days):
    rows = done("figures", "--site", SITE, "--since", days[0], "--json", store=sampled.address).json
    plain = done("figures", "--site", SITE, "--json", store=sampled.address).json
    then = done("figures", "--site", SITE, "--as-of", days[0], "--json", store=sampled.address).json
    whole = rows[0]["components"]
    assert whole["since"] == days[0]
    assert whole["change_m2"] == pytest.approx(
        plain[0]["basal_area_m2"] - (then[0]["basal_area_m2"] or 0.0), abs=1e-12
    )
    for row in rows:
        for key in ("increment", "components"):
            assert (row[key] is None) == (key in row["why"])
    for row in plain:
        assert row["increment"] is None and row["components"] is None


def test_the_table_has_two_more_columns(sampled, days):
    out = done("figures", "--site", SITE, "--since", days[0], store=sampled.address).out.splitlines()
    assert out[0].split("  ")[-2].strip() == "growth cm/yr"
    assert len({len(line) for line in out if line.strip()}) == 1


@pytest.mark.parametrize("since", ["2999-01-01", "soon"])
def test_a_day_that_is_not_before_or_is_none_ends_with_2(sampled, since):
    ran = boleward("figures", "--site", SITE, "--since", since, store=sampled.address)
    assert ran.code == 2
    assert since in ran.err


def test_the_api_says_the_same(sampled, days, client):
    by_command = done("figures", "--site", SITE, "--since", days[0], "--json", store=sampled.address).json
    answer = client.get(f"/api/sites/{SITE}/figures?since={days[0]}")
    assert answer.json == by_command
    assert answer.get_etag() != client.get(f"/api/sites/{SITE}/figures").get_etag()
    wrong = client.get(f"/api/sites/{SITE}/figures?since=2999-01-01")
    assert wrong.status_code == 400
    assert "since" in str(wrong.json["errors"])
