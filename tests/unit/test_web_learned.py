"""The learning page: both samples in full, one team at a time, few measurements, words that children read."""

import html
import re

import pytest

from layers.caution import CAUTION
from layers.growth_words import SAYS_NOTHING
from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.edit import add_crews, add_rounds
from service.entry import enter_readings
from service.sample import SAMPLES, load_samples
from service.settings import Settings
from service.store.migrating import open_store
from service.view import view_of
from service.web.learned_facts import learned_of
from tests.readability import reading_ease, sentences, syllables
from tests.web_forms import words
from tests.web_site import SLUG, make_web_site, new_id

SCHOOL, PARK = "sample-school", "sample-park"
LONG = pytest.mark.slow  # years like others; the short form has the first, the one with hands and the last
SCHOOL_YEARS = (2021, 2023, 2026, *(pytest.param(year, marks=LONG) for year in (2022, 2024, 2025)))
PARK_YEARS = (2026, *(pytest.param(year, marks=LONG) for year in (2018, 2022)))
PICTURES = ("guesses", "hands", "teams", "trees")


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    """A client of both samples, and their views."""
    folder = tmp_path_factory.mktemp("learned")
    store = open_store(str(folder / "store.sqlite"))
    load_samples(store, LOCAL_MANAGER)
    app = create_app(store, Settings(data_folder=folder, log_level="error"))
    yield app.test_client(), {slug: view_of(store, slug, LOCAL_MANAGER) for slug in SAMPLES}
    store.close()


def round_named(views, slug, part):
    rounds = views[slug].records.rounds
    return rounds.loc[rounds["name"].str.contains(part), "id"].iloc[0]


def learned(client, slug, round_id, status=200, query=""):
    answer = client.get(f"/sites/{slug}/rounds/{round_id}/learned{query}")
    assert answer.status_code == status
    return answer.text


def inside(text):
    """The page without its head and the box of dangers, which names who reported one."""
    return text[text.index('id="h-learned"') : text.index("</main>")]


def pictures_of(client, text):
    """Every picture of a page, fetched: {name: SVG}."""
    found = {}
    for address in re.findall(r'(?:src|srcset)="(/sites/[^"]+\.svg[^"]*)"', text):
        answer = client.get(html.unescape(address))
        assert answer.status_code == 200
        assert answer.content_type.startswith("image/svg+xml")
        found[re.search(r"learned/([\w-]+)\.svg", address)[1]] = answer.text
    return found


@pytest.mark.parametrize("year", SCHOOL_YEARS)
def test_every_yearly_round_of_the_school_tells_guesses_hands_teams_and_trees(samples, year):
    client, views = samples
    text = learned(client, SCHOOL, round_named(views, SCHOOL, str(year)))
    said = words(text)
    assert "Half of the guesses were off by less than" in said
    assert "In the middle, hands said" in said
    assert "Half of the pairs lie within" in said
    assert ("The trunks got thicker" in said) == (year > 2021)  # the list of 2020 is not a year old in 2021
    assert ("nobody can tell yet how they grew" in said) == (year == 2021)
    assert ("Nobody counted in hands on these days" in said) == (year != 2023)
    assert said.count(SAYS_NOTHING) == (1 if year > 2021 else 0)
    assert CAUTION.split(".")[0] in said
    shown = set(re.findall(r'<img src="[^"]+/learned/([\w-]+)\.svg"', text))
    assert shown == set(PICTURES if year > 2021 else PICTURES[:3])


@pytest.mark.parametrize("year", PARK_YEARS)
def test_every_round_of_the_park_tells_guesses_teams_and_trees_and_says_that_nobody_used_hands(samples, year):
    client, views = samples
    said = words(learned(client, PARK, round_named(views, PARK, str(year))))
    assert "Half of the guesses were off by less than" in said
    assert "Nobody has counted a trunk in hands here yet." in said
    assert re.search(r"Half of the pairs lie within \d\.\d in of each other", said)
    assert re.search(
        r"On average the distance round a trunk grew by \d\.\d+ inches a year, give or take \d\.\d+", said
    )
    assert "It is 40 in round at 4 ft 6 in" in said


def test_each_number_says_from_how_many_measurements_and_by_which_rule(samples):
    client, views = samples
    id = round_named(views, SCHOOL, "2026")
    of = learned_of(views[SCHOOL], id)
    text = learned(client, SCHOOL, id)
    said = words(text)
    assert text.count("How do you know?") == 5
    assert f"From {len(of.guesses.rows)} guesses." in said
    assert f"From {len(of.hands.rows)} counts in hands." in said
    assert f"From {len(of.agreement.pairs)} pairs." in said
    assert f"From {of.grown.all.stems} trunks" in said
    assert "sign test" in said
    assert "complete elliptic integral" in said


def test_every_picture_is_drawn_for_a_desk_and_a_phone_and_is_also_a_table(samples):
    client, views = samples
    id = round_named(views, SCHOOL, "2026")
    of = learned_of(views[SCHOOL], id)
    text = learned(client, SCHOOL, id)
    assert set(pictures_of(client, text)) == {f"{name}{end}" for name in PICTURES for end in ("", "-narrow")}
    sections = re.split(r"<section", text)
    rows = {name: part.count("<tr") for part in sections for name in re.findall(r'id="h-(\w+)"', part)[:1]}
    assert rows["guess"] >= len(of.guesses.rows)
    assert rows["hands"] >= len(of.hands.rows)
    assert rows["teams"] >= len(of.agreement.pairs)
    assert rows["trees"] == len(of.groups) + 1
    assert rows["tape"] > 10


@pytest.mark.parametrize(("year", "team"), [("2026", "class 5"), pytest.param("2023", "class 3", marks=LONG)])
def test_a_team_sees_its_own_code_only(samples, year, team):
    client, views = samples
    id = round_named(views, SCHOOL, year)
    others = set(views[SCHOOL].records.readings["crew"].dropna()) - {team}
    text = learned(client, SCHOOL, id, query=f"?team={team}")
    drawn = pictures_of(client, text)
    for part in (words(inside(text)), *drawn.values()):
        assert [code for code in others if re.search(rf"\b{code}\b", part)] == []
    assert "another team" in drawn["guesses"]
    assert team in words(inside(text))
    of = learned_of(views[SCHOOL], id, team)
    assert f"From {len(of.by_team[0].of.rows)} guess" in words(text)
    assert set(of.agreement.pairs["crew"]) <= {team}


def test_what_is_not_there_is_not_found(samples):
    client, views = samples
    id = round_named(views, SCHOOL, "2026")
    learned(client, SCHOOL, id, 404, "?team=class%2099")
    learned(client, SCHOOL, new_id(), 404)
    base = f"/sites/{SCHOOL}/rounds/{id}/learned"
    assert client.get(f"{base}/secrets.svg").status_code == 404
    assert (
        client.get(f"/sites/{PARK}/rounds/{round_named(views, PARK, '2026')}/learned/hands.svg").status_code
        == 404
    )


def test_the_tape_is_worked_out_for_a_trunk_of_a_hundred_centimetres(samples):
    client, views = samples
    said = words(learned(client, SCHOOL, round_named(views, SCHOOL, "2026")))
    assert "slanted by 10° 100.8 +0.8" in said  # 1.00772807 by the table of reading errors
    assert "slanted by 30° 107.9 +7.9" in said
    assert "off the trunk at one place by 2.0 cm 101.3 +1.3" in said


def text_to_read(text):
    """The paragraphs of a page that are written by us, without the caution and the words of sliders."""
    paragraphs = re.findall(r"<p(?: class=\"(?:lead|small)\")?>(.*?)</p>", inside(text), flags=re.S)
    said = [words(each) for each in paragraphs if "<input" not in each and "<label" not in each]
    return " ".join(each for each in said if each not in CAUTION and "caution" not in each)


def test_the_measure_of_reading_is_that_of_a_sentence_counted_by_hand():
    """Four words, four syllables, one sentence: 206.835 - 4.06 - 84.6."""
    assert reading_ease("The cat sat down.") == pytest.approx(118.175)
    assert [syllables(word) for word in ("measured", "guesses", "table", "the", "elliptic")] == [
        2,
        2,
        2,
        1,
        3,
    ]
    assert sentences("One two. Three! 4.") == [["One", "two"], ["Three"]]


@pytest.mark.parametrize(
    ("slug", "year"), [(SCHOOL, "2021"), (SCHOOL, "2023"), (SCHOOL, "2026"), (PARK, "2026")]
)
def test_a_child_of_ten_can_read_the_page(samples, slug, year):
    client, views = samples
    said = text_to_read(learned(client, slug, round_named(views, slug, year)))
    assert len(sentences(said)) > 25
    assert reading_ease(said) >= 70
    assert [" ".join(each) for each in sentences(said) if len(each) > 26] == []


# few measurements


@pytest.fixture
def small(store, tmp_path, app):
    make_web_site(store, tmp_path)
    (id,) = add_rounds(store, SLUG, LOCAL_MANAGER, [{"name": "Day <b>", "from_on": "2026-05-20"}])
    add_crews(store, SLUG, LOCAL_MANAGER, [{"round_id": id, "code": "T9", "kind": "pupils"}])
    return store, id


def measure(store, id, *said):
    stems = view_of(store, SLUG, LOCAL_MANAGER).records.stems["stem_id"].tolist()
    same = {"unit": "cm", "instrument": "girth tape", "height_m": 1.3, "measured_on": "2026-05-20"}
    same |= {"round_id": id, "crew_kind": "pupils"}
    rows = [{**same, "stem_id": stems[n], **one} for n, one in said]
    enter_readings(store, SLUG, LOCAL_MANAGER, rows)


def test_days_without_a_measurement_say_what_is_missing_and_show_no_picture(client, small):
    _store, id = small
    for query in ("", "?team=T9"):
        text = learned(client, SLUG, id, query=query)
        said = words(text)
        assert "Nobody wrote down a guess. Next time guess first, then measure." in said
        assert "No trunk was measured by two teams." in said
        assert "Nobody has counted a trunk in hands here yet." in said
        assert "nobody can tell yet how they grew" in said
        assert "<img" not in text
        assert "{" not in inside(text).replace("{shows} {unit}", "").replace("{more} {unit}", "").replace(
            "{value}", ""
        )


def test_one_or_two_measurements_are_counted_and_no_middle_is_told(client, small):
    store, id = small
    measure(
        store, id, (0, {"value": 60, "first_guess": 50, "crew": "T<i>"}), (0, {"value": 61, "crew": "T2"})
    )
    text = learned(client, SLUG, id)
    said = words(text)
    assert "There is only 1 guess. It takes 5 or more to find a middle." in said
    assert "There is only 1 pair of teams that measured the same trunk." in said
    assert "Half of the guesses were off" not in said
    assert "Half of the pairs" not in said
    assert "T<i>" not in text
    assert "T&lt;i&gt;" in text


def test_hands_without_a_tape_near_say_so(client, small):
    store, id = small
    measure(store, id, (3, {"value": 12, "unit": "hands", "instrument": "hand breadths", "crew": "T1"}))
    assert "no tape went round the same trunks at about that time" in words(learned(client, SLUG, id))


def test_the_page_is_reached_from_how_well_a_round_was_measured(client, small):
    store, id = small
    measure(store, id, (0, {"value": 60, "crew": "T1"}))
    assert f'href="/sites/{SLUG}/rounds/{id}/learned"' in client.get(f"/sites/{SLUG}/rounds/{id}").text
