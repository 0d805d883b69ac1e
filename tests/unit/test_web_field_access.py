"""Phones come in by their crew's word, and what they are given opens nothing but what is for phones."""

import json
import re
import uuid

import pytest

from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.crew_words import make_words
from service.edit import add_trees
from service.rounds import plan_round
from service.settings import Settings
from service.store.migrating import open_store
from service.store.site_rows import create_site
from service.web import current
from service.web.access import RIGHTS
from service.web.only_field import is_of_field, only_field

SLUG = "school"
ASKED = {"name": "Spring", "from_on": "2999-05-04", "to_on": "2999-05-06", "height_m": 1.3, "pupils": 2}
ASKED |= {"lon_deg": 9.0, "lat_deg": 49.9999, "meeting_words": "at the gate", "practice": 1}
PHONE = str(uuid.UUID(int=1))
ELSEWHERE = {"REMOTE_ADDR": "192.0.2.50"}


@pytest.fixture(scope="module")
def ground(tmp_path_factory):
    """A ground with a round of two teams: the store, the id of the round, a word by team."""
    folder = tmp_path_factory.mktemp("field")
    store = open_store(str(folder / "store.sqlite"))
    create_site(store, SLUG, actor=LOCAL_MANAGER, name="The school")
    add_trees(
        store,
        SLUG,
        LOCAL_MANAGER,
        [{"tag": str(n), "lon_deg": 9.0 + n * 1e-4, "lat_deg": 50} for n in range(6)],
    )
    round_id = plan_round(store, SLUG, LOCAL_MANAGER, ASKED)
    yield store, round_id
    store.close()


@pytest.fixture
def words(ground):
    return make_words(ground[0], SLUG, LOCAL_MANAGER, ground[1])


@pytest.fixture
def app(ground, tmp_path):
    return create_app(ground[0], Settings(data_folder=tmp_path, public_address="https://trees.example"))


def join(client, word, **more):
    more = {"environ_overrides": ELSEWHERE, **more}
    return client.post("/field/api/join", json={"word": word, "phone": PHONE}, **more)


def test_a_word_is_given_for_a_token_with_what_the_phone_says_to_its_team(client, ground, words):
    crew_id, word = next(iter(words.items()))
    answer = join(client, word.upper())
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"
    assert "Set-Cookie" not in answer.headers
    said = answer.json
    assert len(said.pop("token")) == 43
    assert said == {
        "ends_at": "2999-05-07T00:00:00.000000Z",
        "crew": {"id": crew_id, "code": "team 1", "kind": "pupils"},
        "round": {"id": ground[1], "name": "Spring"},
        "site": {"slug": SLUG, "name": "The school"},
    }


def test_a_wrong_word_is_told_so_and_after_ten_the_address_waits_while_others_come_in(client, words):
    for _ in range(10):
        answer = join(client, "no word")
        assert (answer.status_code, answer.json["type"]) == (401, "/problems/not-a-word")
        assert answer.headers["WWW-Authenticate"] == "Bearer"
    word = next(iter(words.values()))
    answer = join(client, word)
    assert (answer.status_code, answer.json["type"]) == (429, "/problems/too-often")
    assert 590 <= int(answer.headers["Retry-After"]) <= 600
    assert "Wait 10 minutes" in answer.json["detail"]
    assert join(client, word, environ_overrides={"REMOTE_ADDR": "192.0.2.51"}).status_code == 200


def test_behind_a_proxy_each_phone_is_counted_for_itself_and_cannot_choose_its_address(client, words):
    def through(*said):
        headers = {"X-Forwarded-For": ", ".join(said), "Host": "trees.example"}
        return join(client, "no word", environ_overrides={}, headers=headers).status_code

    assert [through(f"198.51.100.{n}", "192.0.2.7") for n in range(11)] == [401] * 10 + [429]
    assert through("192.0.2.8") == 401
    headers = {"X-Forwarded-For": "192.0.2.9"}  # from somewhere else than this computer it says nothing
    statuses = [join(client, "no word", headers=headers).status_code for _ in range(11)]
    assert statuses[-1] == 429


@pytest.mark.parametrize(
    "sent", [None, [], {}, {"word": "", "phone": PHONE}, {"word": "a b", "phone": "x"}, {"word": 1}]
)
def test_what_is_no_word_or_no_phone_is_told_where(client, sent):
    body = {"data": json.dumps(sent), "content_type": "application/json"}
    answer = client.post("/field/api/join", **body, environ_overrides=ELSEWHERE)
    assert answer.status_code == 422
    assert answer.json["detail"]


def test_joining_takes_json_only_from_our_own_page_and_little_of_it(client, words):
    word = next(iter(words.values()))
    assert client.post("/field/api/join", data={"word": word, "phone": PHONE}).status_code == 415
    assert join(client, word, headers={"Origin": "https://evil.example"}).status_code == 403
    assert join(client, "x" * 20_000).status_code == 413


def test_the_time_is_told_to_anybody(client):
    answer = client.post("/field/api/hello", json={}, environ_overrides=ELSEWHERE)
    assert answer.status_code == 200
    assert set(answer.json) == {"now", "program", "unsent_ok"}


def rules(app):
    """Every address with a method that it takes, with what stands for its parts."""
    for rule in app.url_map.iter_rules():
        path = re.sub(r"<any\(([^,)]+)[^)]*\):\w+>", lambda found: found.group(1).strip("'"), rule.rule)
        path = re.sub(r"<int:\w+>", "1", path.replace("<slug>", SLUG))
        for method in sorted(rule.methods - {"OPTIONS"}):
            yield rule.rule, method, re.sub(r"<[^>]+>", "x", path)


def ask(client, method, path, token=None, **more):
    headers = {"Authorization": f"Bearer {token}"} if token else {}
    headers |= more.pop("headers", {})
    body = {"json": {}} if method in ("POST", "PUT", "PATCH") else {}
    with client.open(path, method=method, headers=headers, **body, **more) as answer:
        return answer.status_code


@pytest.mark.parametrize(
    "more",
    [
        {"environ_overrides": ELSEWHERE},
        {"headers": {"X-Forwarded-For": "192.0.2.60"}},
        {"headers": {"Forwarded": "for=192.0.2.60"}},
        {"headers": {"X-Real-IP": "192.0.2.60"}},
    ],
    ids=["elsewhere", "X-Forwarded-For", "Forwarded", "X-Real-IP"],
)
def test_no_page_of_the_manager_opens_to_others_with_or_without_a_token_nor_through_a_proxy(app, words, more):
    app.config["WTF_CSRF_ENABLED"] = False  # so that it is this lock that holds
    client = app.test_client()
    token = join(client, next(iter(words.values()))).json["token"]
    walked = 0
    for rule, method, path in rules(app):
        if not is_of_field(rule):
            walked += 1
            for said in (None, token):
                headers = dict(more.get("headers", {}))
                status = ask(client, method, path, said, **{**more, "headers": headers})
                assert status == 403, f"{method} {path}: {status}"
    assert walked > 150


def test_below_field_what_anybody_may_open_is_on_the_list_and_the_rest_needs_a_token(app, words):
    anybody = {rule for (rule, _), right in RIGHTS.items() if right == "enter"}
    assert anybody == {
        *("/field", "/field/", "/field/sw.js", "/field/manifest.webmanifest"),
        *("/field/api/join", "/field/api/hello"),
        *("/t/<code>", "/T/<code>"),
    }
    client = app.test_client()
    for rule, method, path in rules(app):
        if is_of_field(rule) and rule not in anybody:
            for token in (None, "x" * 43):
                assert ask(client, method, path, token) == 401, f"{method} {path}"
    assert {RIGHTS[rule, method] for rule, method in RIGHTS if is_of_field(rule)} <= {"enter", "measure"}


def test_whoever_sits_at_the_computer_is_no_crew_below_field(client):
    answer = client.get("/field/", headers={"Accept": "text/html"})
    assert answer.status_code == 200
    assert "Set-Cookie" not in answer.headers


def test_files_of_the_page_for_phones_are_open_and_no_others(app):
    client = app.test_client()
    assert ask(client, "GET", "/static/field/app.js", environ_overrides=ELSEWHERE) == 200
    assert ask(client, "GET", "/static/mark.svg", environ_overrides=ELSEWHERE) == 200
    for path in ("/static/site.css", "/static/field/../site.css", "/static/field/%2e%2e/site.css"):
        assert ask(client, "GET", path, environ_overrides=ELSEWHERE) == 403, path


def test_the_door_to_the_network_lets_only_field_through_whoever_knocks(app):
    door = only_field(app.wsgi_app)
    app.wsgi_app = door
    client = app.test_client()  # from 127.0.0.1
    for rule, _method, path in rules(app):
        if not is_of_field(rule) and rule not in ("/", "/static/<path:filename>"):
            with client.get(path) as answer:
                assert answer.status_code == 404, path
                assert "/field/" in answer.text
    assert client.get("/").headers["Location"] == "/field/"
    assert client.get("/static/site.css").status_code == 404
    assert client.get("/static/field/../site.css").status_code == 403
    for path in ("/field/../sites/school", "/fieldx", "/field/../"):
        assert client.get(path).status_code in (308, 404), path
    assert ask(client, "GET", "/field/") == 200


@pytest.mark.parametrize(
    ("host", "door", "status"),
    [
        ("192.168.1.20:8477", True, 200),
        ("[2001:db8::1]:8477", True, 200),
        ("trees.example", True, 200),
        ("evil.example", True, 400),
        ("[evil", True, 400),
        ("192.168.1.20", False, 400),
        ("trees.example", False, 200),
    ],
)
def test_a_phone_may_name_the_computer_by_its_number_and_by_names_of_its_own(app, host, door, status):
    if door:
        app.wsgi_app = only_field(app.wsgi_app)
    client = app.test_client()
    assert client.post("/field/api/hello", json={}, headers={"Host": host}).status_code == status


@pytest.fixture
def probed(ground, tmp_path, monkeypatch):
    """An application with one address that needs a token and one that asks for more than any crew has."""
    app = create_app(ground[0], Settings(data_folder=tmp_path))
    for path, right in (("/field/api/probe", "measure"), ("/field/api/more", "manage")):
        app.add_url_rule(path, path, lambda: {"crew": current.crew().code, "actor": current.actor().handle})
        monkeypatch.setitem(RIGHTS, (path, "GET"), right)
    return app.test_client()


def test_a_token_makes_its_crew_the_actor_with_the_right_to_measure_and_no_other(probed, words):
    crew_id, word = next(iter(words.items()))
    headers = {"Authorization": f"Bearer {join(probed, word).json['token']}"}
    answer = probed.get("/field/api/probe", headers=headers, environ_overrides=ELSEWHERE)
    assert answer.json == {"crew": "team 1", "actor": f"crew:{crew_id}"}
    assert probed.get("/field/api/more", headers=headers).status_code == 403
    assert probed.get("/field/api/more").status_code == 401


def test_a_word_that_ended_is_told_with_what_to_do(probed, ground, words):
    crew_id, word = next(iter(words.items()))
    headers = {"Authorization": f"Bearer {join(probed, word).json['token']}"}
    make_words(ground[0], SLUG, LOCAL_MANAGER, ground[1], crew_id)
    for said in (headers, {}, {"Authorization": "Basic eDp5"}, {"Authorization": "Bearer"}):
        answer = probed.get("/field/api/probe", headers=said)
        assert (answer.status_code, answer.json["type"]) == (401, "/problems/word-ended")
        assert "stays on the phone" in answer.json["detail"]
        assert answer.headers["WWW-Authenticate"] == "Bearer"
