"""Pages of the error model and of measuring days: what is learned, adopting it, going back."""

import re

import pytest

from layers.learning import repeats
from service.actors import LOCAL_MANAGER
from service.edit import add_crews, add_rounds
from service.entry import enter_readings
from service.site_models import adoptions, figures_with
from service.view import view_of
from tests.web_forms import form_values, told, words
from tests.web_site import SLUG, make_web_site, new_id

PAIRS = 12


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


@pytest.fixture
def round_id(store, view):
    """Measuring days on which two teams measured the same trunks, one of them low on the trunk."""
    id = new_id()
    days = {"id": id, "name": "May days <b>", "from_on": "2026-05-18", "to_on": "2026-05-22"}
    add_rounds(store, SLUG, LOCAL_MANAGER, [days])
    stems = view.records.stems["stem_id"].tolist()[1 : PAIRS + 1]
    girths = dict(
        zip(view.state.stem_state["stem_id"], view.state.stem_state["dbh_cm"] * 3.14159, strict=True)
    )
    rows = []
    for n, stem in enumerate(stems):
        girth = girths[stem] if girths[stem] == girths[stem] else 80.0
        shared = {"stem_id": stem, "unit": "cm", "measured_on": "2026-05-19", "round_id": id}
        shared |= {"instrument": "girth tape", "crew_kind": "pupils"}
        rows.append({**shared, "value": round(girth, 1), "height_m": 1.3, "crew": "A", "first_guess": 90.0})
        rows.append({**shared, "value": round(girth * 1.1 + n % 3, 1), "height_m": 0.6, "crew": "B"})
    far = {**rows[0], "value": 12.0, "crew": "C"}
    enter_readings(store, SLUG, LOCAL_MANAGER, [*rows, far])
    return id


def page(client, path):
    answer = client.get(f"/sites/{SLUG}{path}")
    assert answer.status_code == 200, answer.text
    return answer.text


def seen(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def adopt(client, text=None, **typed):
    values = {**form_values(text or page(client, "/model")), **typed}
    return client.post(f"/sites/{SLUG}/model", data=values)


def learned_form(client):
    """What the button of the model learned now sends."""
    text = page(client, "/model")
    start = text.rindex("<form", 0, text.index('value="learned"'))
    return text[start : text.index("</form>", start) + len("</form>")]


def test_a_ground_that_teaches_nothing_says_so(view, client):
    said = words(page(client, "/model"))
    assert "In use: version 0, published values and assumptions." in said
    assert "Nothing to learn from yet" in said
    assert 'value="learned"' not in page(client, "/model")


def test_a_first_day_is_advised_to_measure_ten_trunks_at_two_heights(view, client):
    assert "To begin with, measure 10 trunks twice, at 0.61 m and at 1.30 m" in words(page(client, "/model"))


def test_the_model_learned_is_shown_beside_the_one_in_use(store, client, round_id):
    said = words(page(client, "/model"))
    assert f"{len(seen(store).learned.kept)} trunks were measured more than once" in said
    assert "cut face of all trunks together" in said
    assert "please check" in said
    assert "To begin with" not in said


def test_adopting_changes_the_figures_but_no_reading(store, client, round_id):
    before = seen(store)
    expected = figures_with(before, before.learned.model)
    answer = adopt(client, learned_form(client))
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/sites/{SLUG}/model")
    assert told(client, "/model") == [
        "Version 1 of the error model is in use now. No measurement was changed."
    ]
    now = seen(store)
    assert now.terms.model.version == 1
    assert now.figures[0]["model"] == "1"
    assert now.figures[0]["basal_area_se_m2"] == pytest.approx(expected["basal_area_se_m2"])
    assert now.figures[0]["basal_area_se_m2"] != before.figures[0]["basal_area_se_m2"]
    assert now.records.readings.equals(before.records.readings)
    assert f"change {now.known_at}" in words(page(client, "/model"))


def test_going_back_to_version_0_gives_the_first_figures_again(store, client, round_id):
    first = seen(store).figures[0]
    adopt(client, learned_form(client))
    text = page(client, "/model")
    assert adopt(client, text[text.index('class="tools"') - 30 :], choice="0").status_code == 303
    assert {**seen(store).figures[0], "known_at": 0} == {**first, "known_at": 0}


def test_taking_back_says_that_a_model_came_into_use_since_and_where_that_is_changed(store, client, round_id):
    said = "Version 1 of the error model was put into use since the last entry."
    assert said not in words(page(client, "/undo"))
    adopt(client, learned_form(client))
    taking_back = page(client, "/undo")
    assert said in words(taking_back) and f'href="/sites/{SLUG}/model"' in taking_back
    add_crews(store, SLUG, LOCAL_MANAGER, [{"code": "Z", "kind": "pupils"}])
    assert said not in words(page(client, "/undo"))


def test_a_model_looked_at_before_something_was_entered_is_not_adopted(store, client, round_id):
    form = learned_form(client)
    stem = seen(store).records.stems["stem_id"].iloc[0]
    enter_readings(store, SLUG, LOCAL_MANAGER, [{"stem_id": stem, "value": 60.0}])
    answer = adopt(client, form)
    assert answer.status_code == 409
    assert "Something was entered meanwhile" in words(answer.text)
    assert adoptions(store, SLUG, LOCAL_MANAGER) == []


@pytest.mark.parametrize(("choice", "status"), [("", 422), ("nonsense", 422), ("9", 404)])
def test_a_choice_that_is_none_is_refused(client, round_id, choice, status):
    form = learned_form(client)
    answer = adopt(client, form, choice=choice, seen="0")
    assert answer.status_code == status


def test_adopting_needs_the_token_of_the_form(client, round_id):
    assert client.post(f"/sites/{SLUG}/model", data={"choice": "0", "seen": "0"}).status_code == 400


def test_measuring_days_are_listed_with_what_was_measured_twice(client, round_id):
    text = page(client, "/rounds")
    assert "May days &lt;b&gt;" in text
    row = words(
        re.search(r"<tr><th scope=\"row\"><a href=\"/sites/yard/rounds/.*?</tr>", text, re.DOTALL).group()
    )
    assert row.split()[-4:] == [str(PAIRS), str(PAIRS), str(2 * PAIRS + 1), "3"]


def test_a_round_says_how_well_it_could_be_repeated(client, round_id):
    said = words(page(client, f"/rounds/{round_id}"))
    assert "12 trunks were measured, 12 of them more than once." in said
    assert "Smallest change of one trunk that the next measuring could see" in said
    assert "Reference: " in said
    assert "please check" in said
    assert "Nobody wrote down a guess" not in said


def test_days_without_measurements_and_days_that_are_not_there(store, view, client):
    empty = {"id": new_id(), "name": "Nothing", "from_on": "2026-06-01"}
    add_rounds(store, SLUG, LOCAL_MANAGER, [empty])
    assert "No measurement of these days has a size." in words(page(client, f"/rounds/{empty['id']}"))
    assert client.get(f"/sites/{SLUG}/rounds/{new_id()}").status_code == 404


def test_the_profile_is_drawn_for_kinds_with_pairs(store, client, round_id):
    text = page(client, "/model")
    numbers = re.findall(r"model/profile-(\d+)\.svg", text)
    assert numbers
    answer = client.get(f"/sites/{SLUG}/model/profile-{numbers[0]}.svg")
    assert (answer.status_code, answer.mimetype) == (200, "image/svg+xml")
    assert client.get(f"/sites/{SLUG}/model/profile-99.svg").status_code == 404


def test_figures_and_today_point_to_the_model_in_use(client, round_id):
    for path in ("", "/figures"):
        assert "Errors: published values and assumptions" in words(page(client, path))
    adopt(client, learned_form(client))
    for path in ("", "/figures"):
        assert "Errors: learned on this ground, version 1" in words(page(client, path))


def test_the_slip_of_a_round_teaches_nothing(store, client, round_id):
    view = seen(store)
    assert len(view.learned.left_out) == 1
    assert len(view.learned.kept.occasion) == len(repeats(view.records, view.terms).occasion) - 1
