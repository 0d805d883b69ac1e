"""Files at stable addresses: compressed, kept by tag, the same as what the outlets write."""

import csv
import gzip
import io
import json
import sqlite3

import pytest

from service.actors import LOCAL_MANAGER
from service.entry import enter_observations
from service.outlets.export import LAYERS
from tests.web_site import SLUG, TREES, make_web_site


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def address(name):
    return f"/sites/{SLUG}/{name}"


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("form", ["geojson", "csv"])
def test_every_layer_can_be_taken_out(client, view, layer, form):
    answer = client.get(address(f"layers/{layer}.{form}"))
    assert answer.status_code == 200
    assert f'filename="{SLUG}-{layer}-' in answer.headers["Content-Disposition"]
    assert answer.headers["Link"] == '</cautions>; rel="describedby"; title="caution"'
    if form == "geojson":
        assert answer.content_type == "application/geo+json"
        assert json.loads(answer.data)["type"] == "FeatureCollection"
    else:
        assert answer.content_type == "text/csv; charset=utf-8"
        assert list(csv.reader(io.StringIO(answer.get_data(as_text=True))))


def test_what_is_compressed_is_the_same(client, view):
    plain = client.get(address("layers/trees.geojson"))
    packed = client.get(address("layers/trees.geojson"), headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert "Content-Encoding" not in plain.headers
    assert gzip.decompress(packed.data) == plain.data
    assert len(packed.data) < len(plain.data) / 2
    refused = client.get(address("layers/trees.geojson"), headers={"Accept-Encoding": "gzip;q=0"})
    assert refused.data == plain.data


@pytest.mark.parametrize(
    "name", ["layers/trees.geojson", "layers/figures.csv", "site.gpkg", "map.html", "map.json", "trees.csv"]
)
def test_an_unchanged_file_is_304_until_something_is_entered(client, store, view, name):
    first = client.get(address(name))
    tag = first.headers["ETag"]
    held = client.get(address(name), headers={"If-None-Match": tag})
    assert (held.status_code, held.data) == (304, b"")
    assert held.headers["Content-Security-Policy"]
    other_day = client.get(address(f"{name}?as_of=2024-06-01"), headers={"If-None-Match": tag})
    assert other_day.status_code == 200
    seen = {"tree_id": view.trees.iloc[3]["tree_id"], "what": "hollow", "observed_on": "2026-05-20"}
    enter_observations(store, SLUG, LOCAL_MANAGER, [seen])
    assert client.get(address(name), headers={"If-None-Match": tag}).status_code == 200


def test_tags_of_two_layers_and_two_forms_differ(client, view):
    names = [f"layers/{layer}.{form}" for layer in LAYERS for form in ("geojson", "csv")]
    tags = {client.get(address(name)).headers["ETag"] for name in names}
    assert len(tags) == len(names)


def test_the_whole_site_is_one_geopackage(client, view, tmp_path):
    path = tmp_path / "site.gpkg"
    path.write_bytes(client.get(address("site.gpkg")).data)
    connection = sqlite3.connect(path)
    tables = {name for (name,) in connection.execute("SELECT table_name FROM gpkg_contents")}
    assert set(LAYERS) <= tables
    assert connection.execute("SELECT count(*) FROM trees").fetchone() == (TREES,)
    connection.close()


def test_the_map_file_needs_nothing_else(client, view):
    text = client.get(address("map.html")).text
    assert "<script src=" not in text
    assert "<link " not in text
    assert "default-src 'none'" in text


def test_charts_are_pictures_with_a_policy_of_their_own(client, view):
    tree = view.trees.sort_values("fid").iloc[0]["tree_id"]
    names = ["charts/size-classes.svg", "charts/size-classes-narrow.svg", "charts/kinds.svg"]
    for name in [*names, f"trees/{tree}/chart.svg", f"trees/{tree}/chart-narrow.svg"]:
        answer = client.get(address(name))
        assert answer.content_type.startswith("image/svg+xml")
        assert answer.text.lstrip().startswith(("<?xml", "<svg"))
        assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert client.get(address("charts/none.svg")).status_code == 404


@pytest.mark.parametrize(
    ("name", "status"), [("layers/none.csv", 404), ("layers/trees.exe", 406), ("layers/trees.gpkg", 200)]
)
def test_layers_and_forms_that_are_not_there_are_said(client, view, name, status):
    assert client.get(address(name)).status_code == status


def test_what_was_known_at_a_change_can_be_asked_for_and_is_kept_apart_by_its_tag(client, store, view):
    before = view.known_at
    tree = view.trees.iloc[0]
    enter_observations(
        store, SLUG, LOCAL_MANAGER, [{"tree_id": tree.tree_id, "what": "hollow", "observed_on": "2026-06-01"}]
    )
    now = client.get(address("layers/flags.geojson"))
    then = client.get(address(f"layers/flags.geojson?known_at={before}"))
    assert (now.json["known_at"], then.json["known_at"]) == (before + 1, before)
    assert len(now.json["features"]) > len(then.json["features"])
    assert now.headers["ETag"] != then.headers["ETag"]
    page = client.get(address(f"flags?known_at={before}")).text
    assert f"as it was known at change {before}." in page and f"trees?known_at={before}" in page


@pytest.mark.parametrize("said", ["0", "-1", "x", "1.5", "²", "9" * 40])
def test_a_change_that_is_no_number_is_refused_in_a_sentence(client, view, said):
    answer = client.get(address("layers/trees.geojson"), query_string={"known_at": said})
    assert answer.status_code == 400
    assert "is not the number of a change" in answer.text
