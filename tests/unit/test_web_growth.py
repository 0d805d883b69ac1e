"""The page of growth: groups first, verdicts in words, what to expect; hostile words drawn as text."""

import re

import pytest

from layers.growth_words import GROWING, SAYS_NOTHING, SMALLER, TOO_SMALL
from service.actors import LOCAL_MANAGER
from service.entry import enter_readings
from service.sample import load_samples
from service.view import view_of
from tests.web_site import HOSTILE_TAG, SLUG, make_web_site, new_id


@pytest.fixture
def grown(store, tmp_path):
    """The yard, measured again two and a half years later: most trunks are thicker, one reads smaller."""
    view = make_web_site(store, tmp_path)
    first = view.records.readings.drop_duplicates("stem_id")
    said = [
        {
            "id": new_id(),
            "stem_id": row.stem_id,
            "quantity": "girth",
            "value": row.value + (-12.0 if n == 3 else 0.2 if n == 4 else 9.0 + n / 10),
            "unit": "cm",
            "height_m": row.height_m if row.height_m == row.height_m else None,
            "measured_on": "2026-10-14",
        }
        for n, row in enumerate(first.itertuples())
        if row.value > 0
    ]
    enter_readings(store, SLUG, LOCAL_MANAGER, said)
    return view_of(store, SLUG, LOCAL_MANAGER)


def page(client, query="", slug=SLUG):
    answer = client.get(f"/sites/{slug}/growth{query}")
    assert answer.status_code == 200
    return answer.text


def test_groups_come_before_trees_and_every_growth_has_its_error(client, grown):
    text = page(client)
    assert text.index("By size class") < text.index("By kind") < text.index("Tree by tree")
    assert text.count('<svg class="whisker"') >= text.count("±") / 3
    assert "Quercus" in text and "Front yard" in text
    told = grown.trees["growth_words"].dropna()
    assert {GROWING, TOO_SMALL, SMALLER} == set(told)
    for word in (GROWING, TOO_SMALL, SMALLER):
        assert text.count(f"<td>{word}</td>") == (told == word).sum()


def test_it_says_once_what_growth_does_not_say_and_how_many_calls_may_be_false(client, grown):
    text = page(client)
    assert text.count(SAYS_NOTHING) == 1
    calls = int((grown.trees["growth_words"].isin([GROWING, SMALLER])).sum())
    said = re.search(r"can be told: (\d+)\. Called .*?: (\d+)\.\s+By error alone at most ([\d.]+) of", text)
    assert said and int(said[2]) == calls
    assert float(said[3]) == pytest.approx(0.05 * calls, abs=0.05)


def test_the_verdict_of_the_page_of_a_tree_and_of_the_data_is_the_same(client, grown):
    for tree in grown.trees.dropna(subset=["growth_words"]).head(6).itertuples():
        assert tree.growth_words in client.get(f"/sites/{SLUG}/trees/{tree.tree_id}").text
    rows = client.get(f"/api/sites/{SLUG}/trees").json
    assert [row["growth_words"] for row in rows] == grown.trees["growth_words"].tolist()


def test_a_verdict_can_be_picked_and_hostile_words_stay_text(client, grown):
    text = page(client, f"?growth_words={SMALLER}")
    assert text.count(f"<td>{SMALLER}</td>") == 1
    assert f"<td>{GROWING}</td>" not in text
    assert HOSTILE_TAG not in page(client)


def test_looking_farther_ahead_expects_more_with_a_larger_error(client, grown):
    def expected(until):
        found = re.findall(
            r'<td class="n">([\d.]+) <span class="small">± ([\d.]+)</span></td>\s*<td class="n">',
            page(client, f"?until={until}&sort=tag"),
        )
        return [tuple(map(float, each)) for each in found]

    soon, late = expected("2028-01-01"), expected("2048-01-01")
    assert len(soon) == len(late) > 10
    assert [b[1] > a[1] for a, b in zip(soon, late, strict=True)] == [True] * len(soon), (soon, late)


@pytest.mark.parametrize("until", ["soon", "1999-01-01", "9999-12-31"])
def test_a_day_to_look_ahead_to_that_is_none_is_refused_with_a_reason(client, grown, until):
    answer = client.get(f"/sites/{SLUG}/growth?until={until}")
    assert answer.status_code == 400
    assert until in answer.text


def test_what_came_and_went_since_a_day_adds_up(client, grown):
    text = page(client, "?since=2024-12-31")
    whole = grown.figures_since("2024-12-31")[0]
    assert "trunks that stayed" in text
    assert f'data-v="{whole["components"]["change_m2"]}"' in text
    assert f'data-v="{whole["increment"]["growth_cm_per_yr"]}"' in text
    assert client.get(f"/sites/{SLUG}/growth?since=2999-01-01").status_code == 400


def test_the_page_of_a_tree_says_what_is_to_be_expected_and_draws_it(client, grown):
    tree = grown.trees.dropna(subset=["growth_words"]).iloc[0].tree_id
    text = client.get(f"/sites/{SLUG}/trees/{tree}").text
    assert "To be expected" in text and "no measurement" in text
    picture = client.get(f"/sites/{SLUG}/trees/{tree}/chart.svg").text
    assert "To be expected on" in picture and "trees like it here" in picture


def test_a_curve_is_told_of_or_why_not(client, store):
    load_samples(store, LOCAL_MANAGER)
    view = view_of(store, "sample-park", LOCAL_MANAGER)
    stems = view.growth.stems
    tree = view.records.stems.set_index("stem_id")["tree_id"]
    often = tree[stems.loc[stems["readings"] >= 4, "stem_id"]].iloc[0]
    text = client.get(f"/sites/sample-park/trees/{often}").text
    assert "Where will its growth end?" in text
    assert ("would end at" in text) != ("do not tell where growth will end" in text or "No curve" in text)


def test_a_ground_measured_once_says_what_it_takes(client, store, tmp_path):
    make_web_site(store, tmp_path)
    assert "measured twice" in page(client)


def test_the_samples_have_the_page(client, store):
    load_samples(store, LOCAL_MANAGER)
    for slug in ("sample-park",):
        assert SAYS_NOTHING in page(client, slug=slug)
