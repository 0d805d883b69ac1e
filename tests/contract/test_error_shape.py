"""Every way a route can fail ends in one shape: a problem document (RFC 9457), or a page of its facts."""

import re
from collections import Counter

import pytest

from service.app import create_app
from service.settings import Settings
from service.store.migrating import open_store
from service.web.problems import MEDIA_TYPE, known_problems
from tests.web_site import SLUG, make_web_site

PROBLEMS = {f"/problems/{problem.slug}": problem.status for problem in known_problems()}
BAD_IDS = ("none-such", "0", "-1", "%00", "..%2f..%2fetc%2fpasswd", "{{7*7}}", "%F0%9F%8C%B3", "a" * 3000)
BAD_QUERIES = (
    "as_of=tomorrow",
    "as_of=2024-02-30",
    "as_of=9999-01-01",
    "as_of=2024-W10-1",
    "limit=-1&offset=x&since=1e3",
    "limit=99999999999999999999",
    "page=%00&sort=%00&q=%00&zone=%00&key=%00",
)
BAD_BODIES = {
    "application/json": (
        b"",
        b"{",
        b"[" * 100_000,
        b'{"value": NaN}',
        b'{"value": 1e999}',
        b'[{"stem_id": "\\ud800"}]',
        b'{"stem_id": "a\\u0000b", "value": 1}',
        b'{"value": ' + b"9" * 400 + b"}",
        b"7",
        b"null",
        b'["x", 7, null]',
        b"\xff\xfe",
    ),
    "application/x-www-form-urlencoded": (b"", b"a=1", b"version=9999999999999&name=%00&value=nan"),
    "multipart/form-data": (b"", b"--x\r\n"),
    "text/plain": (b"x",),
}


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("site")
    store = open_store(str(folder / "store.sqlite"))
    make_web_site(store, folder)
    app = create_app(store, Settings(data_folder=folder))
    app.config["WTF_CSRF_ENABLED"] = (
        False  # so that what is behind the lock is reached; the lock has its own tests
    )
    yield app
    store.close()


@pytest.fixture
def client(app):
    return app.test_client()


def addresses(rule):
    """A rule's address with a known site and bad ids, and with a bad site."""
    path = re.sub(r"<any\(([^,)]+)[^)]*\):\w+>", lambda found: found.group(1).strip("'"), rule.rule)
    for bad in BAD_IDS:
        known = path.replace("<slug>", SLUG)
        yield re.sub(r"<(?:int:)?\w+(?::\w+)?>", bad, known)
        if "<slug>" in path:
            yield re.sub(r"<[^>]+>", bad, path)


def rules(app):
    return [rule for rule in app.url_map.iter_rules() if rule.endpoint != "static"]


def is_form_with_faults(answer):
    """A page's form comes back with what is wrong beside its fields."""
    is_page = answer.content_type.startswith("text/html") and not answer.request.path.startswith("/api/")
    return is_page and answer.status_code == 422 and 'role="alert"' in answer.text


def require_problem(answer):
    assert answer.status_code < 500, f"{answer.request.method} {answer.request.path}: {answer.status_code}"
    if answer.status_code < 400 or is_form_with_faults(answer):
        return
    assert answer.content_type == MEDIA_TYPE, answer.request.path
    said = answer.get_json(force=True)
    assert {"type", "title", "status", "detail", "instance"} <= set(said)
    assert said["status"] == answer.status_code
    assert said["type"] == "about:blank" or said["type"] in PROBLEMS
    assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", said["instance"])
    for text in (said["title"], said["detail"]):
        assert isinstance(text, str)
        assert text.strip()
        assert not re.search(r"\{\w+\}|%\(\w+\)|Traceback|sqlite|sqlalchemy|<class", text)


def ask(client, method, address, **more):
    headers = {"Accept": "application/problem+json, application/json", **more.pop("headers", {})}
    with client.open(address, method=method, headers=headers, **more) as answer:
        require_problem(answer)
        return answer.status_code


def test_there_are_routes_to_walk(app):
    assert len(rules(app)) > 40


def test_bad_ids(app, client):
    statuses = {ask(client, "GET", at) for rule in rules(app) if "<" in rule.rule for at in addresses(rule)}
    assert 404 in statuses


def test_bad_queries(app, client):
    for rule in rules(app):
        at = rule.rule.replace("<slug>", SLUG)
        if "GET" in rule.methods and "<" not in at:
            for query in BAD_QUERIES:
                ask(client, "GET", f"{at}?{query}")


@pytest.mark.parametrize("query", BAD_QUERIES[:4])
def test_a_day_that_is_none_is_refused_by_every_page_of_a_site(client, query):
    for page in ("", "/figures", "/trees", "/flags", "/data", "/map.json", "/layers/trees.csv"):
        assert ask(client, "GET", f"/sites/{SLUG}{page}?{query}") == 400


def test_bad_methods(app, client):
    at_home = app.url_map.bind("localhost")
    for rule in rules(app):
        at = re.sub(r"<[^>]+>", "1", rule.rule.replace("<slug>", SLUG))
        for method in {"GET", "POST", "PUT", "PATCH", "DELETE", "PROPFIND", "TRACE"} - set(
            at_home.allowed_methods(at)
        ):
            assert ask(client, method, at, headers={"Content-Type": "application/json"}) >= 400


@pytest.mark.parametrize("media_type", BAD_BODIES)
def test_bad_bodies(app, client, media_type):
    for rule in rules(app):
        if "POST" not in rule.methods:
            continue
        at = re.sub(r"<(?:int:)?\w+>", "1", rule.rule.replace("<slug>", SLUG))
        at = re.sub(r"<any\(([^,)]+)[^)]*\):\w+>", r"\1", at)
        for body in BAD_BODIES[media_type]:
            ask(client, "POST", at, data=body, headers={"Content-Type": media_type})


def test_nothing_of_that_was_taken(client):
    changes = client.get(f"/api/sites/{SLUG}/changes").json["changes"]
    said = Counter(change["note"] for change in changes if change["kind"] in ("entry", "edit", "terms"))
    del said["tree"]  # a tree of which nothing is known may be entered
    assert said == {"reading": 1, "observation": 1, "inspection": 1}


def test_a_browser_gets_the_same_facts_as_a_page(client):
    page = client.get("/sites/none-such", headers={"Accept": "text/html"})
    assert page.status_code == 404
    assert page.content_type == "text/html; charset=utf-8"
    assert "none-such" in page.text
    assert "urn:uuid:" in page.text
