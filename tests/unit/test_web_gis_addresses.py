"""The addresses of the data page: whole, from the public address, and only what a ground has."""

import html
import re

import pytest

from service.app import create_app
from service.feature_kinds import COLLECTIONS
from service.outlets.export import BY_EXTENSION
from service.outlets.exported_rows import EXPORTED
from service.outlets.layer_rows import LAYERS
from service.web.gis_addresses import FORMAT_NAMES
from tests.open_site import ROOM, make_open_sites
from tests.web_site import SLUG

PUBLIC = "https://trees.example.org/green"
CODE = re.compile(r"<code[^>]*>(.*?)</code>", re.S)


@pytest.fixture
def sites(store, tmp_path):
    return make_open_sites(store, tmp_path)


def shown(client, slug):
    answer = client.get(f"/sites/{slug}/data")
    assert answer.status_code == 200
    return answer.text, [html.unescape(text) for text in CODE.findall(answer.text)]


def test_every_format_is_named():
    assert set(FORMAT_NAMES) == set(BY_EXTENSION)


def test_every_file_of_every_layer_is_linked_and_answers(client, sites):
    text, _ = shown(client, SLUG)
    linked = set(re.findall(rf'href="(/sites/{SLUG}/(?:layers/[^"]+|site\.[^"]+))"', text))
    layers = {f"/sites/{SLUG}/layers/{layer}.{form}" for layer in EXPORTED for form in FORMAT_NAMES}
    assert linked == layers | {f"/sites/{SLUG}/site.gpkg", f"/sites/{SLUG}/site.zip"}
    assert {client.get(address).status_code for address in linked} == {200}


def test_files_of_another_day_are_of_that_day_and_addresses_of_now(client, sites):
    text = client.get(f"/sites/{SLUG}/data?as_of=2024-06-01").text
    assert f'href="/sites/{SLUG}/layers/trees.fgb?as_of=2024-06-01"' in text
    assert not [code for code in CODE.findall(text) if "as_of=2024" in code]


def test_every_collection_has_its_address_for_this_ground_alone(client, sites):
    _, codes = shown(client, SLUG)
    for name in COLLECTIONS:
        assert f"http://localhost/ogc/collections/{name}/items?site={SLUG}&limit=1000" in codes


def test_addresses_and_lines_begin_with_the_public_address(store, settings, sites):
    app = create_app(store, settings.model_copy(update={"public_address": PUBLIC}))
    _, codes = shown(app.test_client(), SLUG)
    assert codes[0] == f"{PUBLIC}/ogc"
    assert all(PUBLIC in code for code in codes)


def test_a_ground_without_a_place_on_earth_offers_no_tiles_and_no_tags(client, sites):
    text, codes = shown(client, ROOM)
    assert "no place on earth" in text
    assert not [code for code in codes if "/tiles/" in code or "osm_trees" in code]
    assert not re.search(r'href="[^"]*osm_trees', text)
    linked = {f"/sites/{ROOM}/layers/{layer}.{form}" for layer in LAYERS for form in FORMAT_NAMES}
    assert linked <= set(re.findall(r'href="([^"]+)"', text))
    assert {client.get(address).status_code for address in linked} == {200}


def test_the_first_page_leads_to_the_open_data_once_there_is_a_ground(client, store, tmp_path):
    assert 'href="/ogc?f=html"' not in client.get("/").text
    make_open_sites(store, tmp_path)
    assert 'href="/ogc?f=html"' in client.get("/").text
    assert client.get("/ogc?f=html").status_code == 200


def test_the_page_of_collections_says_the_caution_once(client, sites):
    text = client.get("/ogc/collections?f=html").text
    assert text.count("has not been found sound") == 1


def test_the_page_of_how_to_ask_tells_each_parameter(client, sites):
    text = client.get("/ogc/api?f=html").text
    for name in ("bbox", "filter", "sortby", "dbh_cm"):
        assert f'<th scope="row">{name}</th>' in text
