"""The phone page as it is served: its files, its texts, its worker."""

import gzip
import json
import re
from pathlib import Path

import pytest

from service.app import create_app
from service.settings import Settings
from service.store.migrating import open_store
from service.web import field_pages
from service.web.field_words import words

MOST_BYTES = 120_000
FIELD = Path(field_pages.__file__).parent / "static" / "field"
SCRIPTS = {path.name: path.read_text(encoding="utf-8") for path in sorted(FIELD.glob("*.js"))}
CODE = {name: re.sub(r"(?m)^\s*//.*$", "", script) for name, script in SCRIPTS.items()}


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("field")
    store = open_store(str(folder / "store.sqlite"))
    yield create_app(store, Settings(data_folder=folder, log_level="error"))
    store.close()


@pytest.fixture
def client(app):
    return app.test_client()


@pytest.fixture(scope="module")
def texts(app):
    with app.test_request_context("/field/"):
        return words()


def test_the_address_without_a_slash_leads_to_the_page(client):
    answer = client.get("/field")
    assert (answer.status_code, answer.headers["Location"]) == (308, "/field/")


def test_the_page_carries_its_texts_as_data_that_no_browser_runs(client, texts):
    page = client.get("/field/").get_data(as_text=True)
    found = re.search(r'<script type="application/json" id="words">(.*?)</script>', page)
    assert json.loads(found[1]) == texts
    assert "<script>" not in page and "style=" not in page and "onclick" not in page


def test_texts_in_a_page_cannot_end_their_element():
    assert "</script" not in field_pages.embedded({"a": "</script><b>&"})


def test_every_file_of_the_page_is_on_the_list_of_its_worker_and_is_there(client):
    script = client.get("/field/sw.js")
    assert script.headers["Cache-Control"] == "no-cache"
    assert script.mimetype == "text/javascript"
    listed = json.loads(re.search(r"const FILES = (\[.*?\]);", script.get_data(as_text=True))[1])
    assert {f"/static/field/{path.name}" for path in FIELD.iterdir()} <= set(listed)
    for address in listed:
        with client.get(address) as answer:
            assert answer.status_code == 200, address


def test_the_whole_page_is_small_on_its_way_to_the_phone(client):
    script = client.get("/field/sw.js").get_data(as_text=True)
    listed = ["/field/sw.js", *json.loads(re.search(r"const FILES = (\[.*?\]);", script)[1])]
    sizes = {}
    for address in listed:
        for coding in ("gzip", "identity"):
            with client.get(address, headers={"Accept-Encoding": coding}) as answer:
                sizes[coding] = sizes.get(coding, 0) + len(answer.get_data())
    print(sizes)
    assert sizes["gzip"] < MOST_BYTES


def test_a_file_is_compressed_for_those_who_take_it_and_asked_about_again(client):
    with client.get("/static/field/app.js") as plain:
        body = plain.get_data()
    with client.get("/static/field/app.js", headers={"Accept-Encoding": "gzip"}) as packed:
        assert gzip.decompress(packed.get_data()) == body
        assert "Accept-Encoding" in packed.headers["Vary"]
        again = {"Accept-Encoding": "gzip", "If-None-Match": packed.headers["ETag"]}
    with client.get("/static/field/app.js", headers=again) as unchanged:
        assert unchanged.status_code == 304
    with client.get("/static/site.css", headers={"Accept-Encoding": "gzip"}) as other:
        assert "Content-Encoding" not in other.headers


def test_another_text_or_file_makes_another_version(monkeypatch, texts):
    version = field_pages.version_of(texts)
    assert version == field_pages.version_of(dict(texts))
    assert version != field_pages.version_of({**texts, "back": "Go back"})
    monkeypatch.setattr(field_pages, "_files_hash", lambda: b"other")
    assert version != field_pages.version_of(texts)


def test_the_manifest_stays_within_the_page(client):
    said = json.loads(client.get("/field/manifest.webmanifest").get_data())
    assert said["scope"] == said["start_url"] == "/field/"


def test_every_text_that_a_script_asks_for_is_there(texts):
    asked = {key for script in CODE.values() for key in re.findall(r'\bt\("(\w+)"', script)}
    assert len(asked) > 100
    assert asked - set(texts) == set()


def test_every_text_is_asked_for_by_some_script_or_the_page(texts):
    page = (FIELD.parents[1] / "templates" / "field.html").read_text(encoding="utf-8")
    everything = "\n".join([page, *CODE.values()])
    families = {found + "_" for found in re.findall(r"`(\w+)_\$\{", everything)}
    unused = {
        key
        for key in texts
        if not re.search(rf"\b{key}\b", everything) and not any(key.startswith(each) for each in families)
    }
    assert unused == set()


def test_the_places_of_a_text_are_those_that_scripts_fill_in(texts):
    for script in CODE.values():
        for key, given in re.findall(r'\bt\("(\w+)", \{([^{}]*)\}', script):
            names = set(re.findall(r"(?:^|,)\s*(\w+)", given))
            assert set(re.findall(r"\{(\w+)\}", texts[key])) <= names, key


def test_scripts_put_text_in_as_text_only():
    for name, script in SCRIPTS.items():
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(", script), name
        assert script.lstrip().startswith("//") and '"use strict"' in script, name
