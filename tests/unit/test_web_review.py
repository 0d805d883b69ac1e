"""The review page: what is asked with its history, settled by a form, not asked again."""

import re

import pytest

from layers.expectation import WEIGHTS
from layers.questioned import UNLIKE
from service.actors import LOCAL_MANAGER, Actor
from service.entry import enter_readings
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.sample import SAMPLES, load_samples
from service.view import view_of
from service.web.review_pages import ITEMS_A_PAGE
from tests.web_forms import told
from tests.web_site import HOSTILE_TAG, SLUG, make_web_site

PAGE = f"/sites/{SLUG}/check"
TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def odd(store, view, row=1, value=20.0):
    stem = view.records.stems.iloc[row]["stem_id"]
    said = {"stem_id": stem, "value": value, "measured_on": "2024-09-01", "height_m": 1.3}
    (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    return answer.id


def post(client, **values):
    token = TOKEN.search(client.get(PAGE).text).group(1)
    said = {"csrf_token": token, "subject": "reading", "what": UNLIKE, **values}
    return client.post(PAGE, data=said)


def test_a_questioned_reading_stands_with_its_expectation_explanation_and_picture(client, store, view):
    odd(store, view)
    page = client.get(PAGE).text
    assert "20 cm round, at 1.30 m." in page
    assert "was to be expected. Were these inches?" in page
    assert re.search(r'<option value="in" selected', page)
    assert page.count('<svg class="trunk"') == 1
    assert 'class="expected"' in page
    assert re.search(r'aria-label="Widths of the trunk: 14 May 2024: 16.2 cm; 1 Sept? 2024: 6.4 cm"', page)


def test_the_first_page_and_the_data_page_count_it_and_lead_here(client, store, view):
    odd(store, view)
    for path in ("", "/data"):
        page = client.get(f"/sites/{SLUG}{path}").text
        assert re.search(rf'<a href="{PAGE}">1 measurement or name to check</a>', page)


def test_the_page_of_the_tree_marks_the_reading_that_is_asked_about(client, store, view):
    tree = view.records.stems.iloc[1]["tree_id"]
    mark = f'<a href="{PAGE}">please check</a>'
    assert mark not in client.get(f"/sites/{SLUG}/trees/{tree}").text
    odd(store, view)
    assert client.get(f"/sites/{SLUG}/trees/{tree}").text.count(mark) == 1


def test_the_page_of_the_tree_says_where_its_size_rests_on_a_reading_in_question(client, store, view):
    tree = view.records.stems.iloc[1]["tree_id"]
    said = "the give or take does not allow for a mistake"
    assert said not in client.get(f"/sites/{SLUG}/trees/{tree}").text
    odd(store, view)
    assert said in client.get(f"/sites/{SLUG}/trees/{tree}").text
    good = {"stem_id": view.records.stems.iloc[1]["stem_id"], "value": 51.5, "height_m": 1.3}
    enter_readings(store, SLUG, LOCAL_MANAGER, [{**good, "measured_on": "2025-09-01"}])
    assert said not in client.get(f"/sites/{SLUG}/trees/{tree}").text  # a later one that fits stands for it


def test_a_page_of_words_that_judge_the_reading_never_the_tree(client, store, view):
    odd(store, view)
    page = client.get(PAGE).text.lower().split("</main>")[0]
    for word in ("wrong", "safe", "sound", "fine"):
        assert not re.search(rf"\b{word}\b", page)


def test_the_trunk_of_a_tree_with_a_hostile_number_is_shown_as_it_was_typed(client, store, view):
    odd(store, view, row=7, value=33.0)
    page = client.get(PAGE).text
    assert HOSTILE_TAG not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ({"answer": "accept"}, "It stays as it is, and is not asked again."),
        ({"answer": "supersede", "value": "20", "unit": "in"}, "The measurement was corrected."),
        ({"answer": "supersede", "value": "50,8"}, "The measurement was corrected."),
        ({"answer": "void"}, "The measurement was crossed out."),
    ],
)
def test_an_answer_settles_it_and_leads_to_the_next(client, store, view, answer, said):
    id = odd(store, view)
    sent = post(client, subject_id=id, at="3", **answer)
    assert (sent.status_code, sent.headers["Location"]) == (303, f"{PAGE}#item-3")
    assert told(client, "/check") == [said]
    assert not len(now(store).questioned)
    assert "Nothing is to check." in client.get(PAGE).text


def test_the_suggestion_that_is_filled_in_is_what_is_kept(client, store, view):
    id = odd(store, view)
    page = client.get(PAGE).text
    value = re.search(r'name="value" size="8" value="([^"]*)"', page).group(1)
    unit = re.search(r'<option value="(\w+)" selected', page).group(1)
    post(client, subject_id=id, answer="supersede", value=value, unit=unit)
    kept = now(store).records.readings.iloc[-1]
    assert (kept.value, kept.unit, kept.first_entry, kept.supersedes) == (20.0, "in", 20.0, id)


def test_another_height_is_suggested_and_kept(client, store, view):
    tall = {"stem_id": view.records.stems.iloc[3]["stem_id"], "value": 90.0, "height_m": 0.3}
    odd_one = {"stem_id": view.records.stems.iloc[9]["stem_id"], "value": 171.0, "height_m": 1.3}
    for said in (tall, odd_one):
        (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [{**said, "measured_on": "2024-09-01"}])
    page = client.get(PAGE).text
    assert "Was it measured at 0.30 m?" in page
    height = re.search(r'name="height_m" size="8" value="([^"]*)"', page).group(1)
    sent = post(client, subject_id=answer.id, answer="supersede", value="171", unit="cm", height_m=height)
    assert sent.status_code == 303
    kept = now(store).records.readings.iloc[-1]
    assert (kept.value, kept.height_m, kept.supersedes) == (171.0, 0.3, answer.id)


@pytest.mark.parametrize(
    ("answer", "fault"),
    [
        ({"answer": "supersede", "value": "abc"}, "is not a number"),
        ({"answer": "supersede", "value": "-4"}, "Zero is no size"),
        ({"answer": "supersede", "value": "0"}, "Zero is no size"),
        ({"answer": "supersede", "value": "99999"}, "more than 45 m round the trunk"),
        ({"answer": "supersede", "value": "20", "unit": "furlong"}, "is not known here"),
        ({"answer": "supersede"}, "Say what it should be"),
        ({"answer": "supersede", "value": "20", "unit": "cm", "quantity": "girth"}, "This is what was read."),
        ({"answer": "supersede", "value": "20", "height_m": "high"}, "was not understood"),
        ({"answer": "maybe"}, "is not known here"),
    ],
)
def test_what_cannot_be_kept_is_said_and_nothing_is_lost(client, store, view, answer, fault):
    id = odd(store, view)
    sent = post(client, subject_id=id, **answer)
    assert sent.status_code == 422
    assert fault in sent.text
    assert list(now(store).questioned["reading_id"]) == [id]
    assert not len(now(store).records.settlings)


def test_a_reading_that_is_not_there_is_not_found(client, store, view):
    odd(store, view)
    assert post(client, subject_id="nothing", answer="accept").status_code == 404


def test_many_questions_come_in_pages(client, store, view):
    for row in range(5):
        odd(store, view, row=row, value=400 + row)
    from service.web import review_pages

    before, review_pages.ITEMS_A_PAGE = review_pages.ITEMS_A_PAGE, 2
    try:
        pages = [client.get(f"{PAGE}?page={n}").text for n in (1, 2, 3, 99)]
    finally:
        review_pages.ITEMS_A_PAGE = before
    assert [page.count("data-item ") for page in pages] == [2, 2, 1, 1]
    assert "page 1 of 3" in pages[0]


def test_the_table_of_all_questions_has_the_computed_ones_too(client, store, view):
    odd(store, view)
    rows = client.get(f"/sites/{SLUG}/data/check.csv").get_data(as_text=True).split("\r\n")
    assert len(rows) == 3
    assert "Were these inches?" in rows[1]


def test_the_api_says_that_a_reading_is_questioned_and_why_and_takes_it(client, store, view):
    stem = view.records.stems.iloc[1]["stem_id"]
    said = {"stem_id": stem, "value": 20.0, "measured_on": "2024-09-01", "height_m": 1.3}
    answer = client.post(f"/api/sites/{SLUG}/readings", json=said)
    assert (answer.status_code, answer.json["outcome"]) == (201, "questioned")
    assert "Were these inches?" in answer.json["why"]
    assert len(now(store).questioned) == 1


def test_who_may_measure_but_not_look_is_not_told_what_was_read_before(client, store, view, monkeypatch):
    monkeypatch.setattr("service.web.access.LOCAL_MANAGER", Actor("crew", "team 3"))
    stem = view.records.stems.iloc[1]["stem_id"]
    said = {"stem_id": stem, "value": 20.0, "measured_on": "2024-09-01", "height_m": 1.3}
    answer = client.post(f"/api/sites/{SLUG}/readings", json=said)
    assert (answer.status_code, answer.json["outcome"]) == (201, "taken")
    assert "why" not in answer.json
    assert len(now(store).questioned) == 1


@pytest.mark.parametrize("slug", SAMPLES)
def test_every_question_of_the_samples_is_said_and_every_explanation_has_its_words(client, store, slug):
    load_samples(store, LOCAL_MANAGER)
    view = view_of(store, slug, LOCAL_MANAGER)
    assert len(view.questioned) > 20
    kinds = {one.kind for verdict in view.questioned["verdict"] for one in verdict.explanations}
    assert kinds == set(WEIGHTS)
    for page in range(1, -(-len(view.questioned) // ITEMS_A_PAGE) + 1):
        answer = client.get(f"/sites/{slug}/check?page={page}")
        assert answer.status_code == 200
        assert answer.text.count("data-item ") == answer.text.count('<svg class="trunk"') > 0
    rows = client.get(f"/sites/{slug}/data/check.csv").get_data(as_text=True).split("\r\n")
    assert len(rows) >= len(view.questioned) + 2


def test_a_tree_without_a_tag_stands_among_what_is_to_check_as_one_without(client, store, tmp_path):
    (tmp_path / "two.csv").write_text("Tag,Species,Girth cm\n7,Oak,1100\n,Lime,1200\n", encoding="utf-8")
    import_file(store, tmp_path / "two.csv", "untagged", ImportOptions(), LOCAL_MANAGER)
    listed = client.get("/sites/untagged/data/check").text
    shown = re.findall(r'<th scope="row"><a href="[^"]+">([^<]+)</a>', listed)
    assert sorted(shown) == ["7", "no number"]
    rows = client.get("/sites/untagged/data/check.csv").get_data(as_text=True)
    assert "nan" not in rows


def test_a_caliper_reading_settled_as_a_girth_leaves_its_second_axis(client, store, view):
    said = {"stem_id": view.records.stems.iloc[1]["stem_id"], "measured_on": "2024-09-01", "height_m": 1.3}
    said |= {"quantity": "diameter", "instrument": "caliper", "value": 51.0, "value_2": 50.0}
    (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    sent = post(client, subject_id=answer.id, answer="supersede", value="51", unit="cm", quantity="girth")
    assert sent.status_code == 303
    kept = now(store).records.readings.iloc[-1]
    assert (kept.quantity, kept.value, kept.value_2 == kept.value_2) == ("girth", 51.0, False)


def test_a_reading_from_before_living_memory_is_asked_about_in_words(client, store, view):
    said = {"stem_id": view.records.stems.iloc[1]["stem_id"], "value": 51.0, "measured_on": "1726-05-04"}
    enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    assert (
        "Its day lies before 1900, and nothing says that the tree was there by then." in client.get(PAGE).text
    )
