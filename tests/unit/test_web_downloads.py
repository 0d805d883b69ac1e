"""Files at stable addresses: compressed, kept by tag, the same as what the outlets write."""

import csv
import gzip
import io
import json
import sqlite3
import zipfile

import geopandas as gpd
import pyarrow.parquet as pq
import pytest

from service.actors import LOCAL_MANAGER
from service.entry import enter_observations
from service.finished_files import KEPT
from service.outlets.export import BY_EXTENSION, MEDIA_TYPES
from service.outlets.layer_rows import LAYERS
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
    assert answer.headers["Link"] == '<http://localhost/cautions>; rel="describedby"; title="caution"'
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
    "name",
    [
        *(f"layers/trees.{extension}" for extension in BY_EXTENSION),
        *("layers/figures.csv", "site.gpkg", "site.zip", "map.html", "map.json", "trees.csv"),
    ],
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
    assert set(LAYERS) | {"record_tree", "record_reading", "snapshot", "layer_styles"} <= tables
    assert connection.execute("SELECT count(*) FROM trees").fetchone() == (TREES,)
    connection.close()


def test_the_whole_site_is_one_archive_of_plain_tables(client, view, tmp_path):
    path = tmp_path / "site.zip"
    answer = client.get(address("site.zip"))
    assert answer.content_type == "application/zip"
    path.write_bytes(answer.data)
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        names = set(archive.namelist())
        assert {f"layers/{layer}.{form}" for layer in LAYERS for form in ("parquet", "csv")} <= names
        told = archive.read("README.txt").decode()
        assert told.count("It is not an inspection") == 1
        assert "dbh_cm [cm] (float): standard diameter" in told
        assert "Licence: whoever owns these data names one here" in told
        archive.extractall(tmp_path)
        rows = list(
            csv.DictReader(io.TextIOWrapper(archive.open("records/reading.csv"), "utf-8", newline=""))
        )
    assert len(gpd.read_parquet(tmp_path / "layers" / "trees.parquet")) == TREES
    readings = pq.read_table(tmp_path / "records" / "reading.parquet").to_pylist()
    assert [row["id"] for row in rows] == [row["id"] for row in readings] != []
    said = client.get(address("layers/readings.csv")).text
    assert (tmp_path / "layers" / "readings.csv").read_bytes().decode() == said


@pytest.mark.parametrize("extension", BY_EXTENSION)
def test_every_format_comes_with_its_media_type_a_name_and_the_way_to_the_caution(client, view, extension):
    answer = client.get(address(f"layers/trees.{extension}"))
    assert (answer.status_code, answer.content_type) == (200, MEDIA_TYPES[extension])
    assert answer.headers["Content-Disposition"].endswith(f'.{extension}"')
    assert answer.headers["Link"] == '<http://localhost/cautions>; rel="describedby"; title="caution"'
    head = client.head(address(f"layers/trees.{extension}"))
    assert (head.status_code, head.data, head.headers["ETag"]) == (200, b"", answer.headers["ETag"])


@pytest.mark.parametrize("name", ["site.gpkg", "site.zip", "layers/trees.fgb", "layers/trees.parquet"])
def test_a_finished_file_is_given_in_ranges_that_make_it_whole(client, view, name):
    """RFC 9110, sections 14.2 (Range) and 13.1.5 (If-Range)."""
    whole = client.get(address(name))
    assert whole.headers["Accept-Ranges"] == "bytes"
    tag, size = whole.headers["ETag"], len(whole.data)
    assert not tag.startswith("W/")
    middle = size // 2
    ranges = [f"bytes=0-{middle - 1}", f"bytes={middle}-"]
    parts = [client.get(address(name), headers={"Range": each, "If-Range": tag}) for each in ranges]
    assert [part.status_code for part in parts] == [206, 206]
    assert parts[1].headers["Content-Range"] == f"bytes {middle}-{size - 1}/{size}"
    assert b"".join(part.data for part in parts) == whole.data
    stale = client.get(address(name), headers={"Range": "bytes=0-9", "If-Range": '"another"'})
    assert (stale.status_code, stale.data) == (200, whole.data)
    beyond = client.get(address(name), headers={"Range": f"bytes={size}-"})
    assert beyond.status_code == 416


@pytest.mark.parametrize("said", ["bytes=0-0,5-9", "bytes=5-2", "bytes=abc", "pages=1-2", "bytes"])
def test_of_several_ranges_or_one_that_is_none_the_whole_file_comes(client, view, said):
    """RFC 9110, section 14.2: a server may ignore Range, and must where it does not know the unit."""
    whole = client.get(address("site.gpkg"))
    answer = client.get(address("site.gpkg"), headers={"Range": said})
    assert (answer.status_code, answer.data) == (200, whole.data)
    assert "Content-Range" not in answer.headers


def test_a_finished_file_that_was_thrown_away_comes_again_with_another_tag(client, store, view):
    first = client.get(address("layers/trees.fgb")).headers["ETag"]
    (kept,) = (store.computed_folder / "files").rglob("*-trees.fgb")
    kept.unlink()
    again = client.get(address("layers/trees.fgb"), headers={"Range": "bytes=0-9", "If-Range": first})
    assert (again.status_code, again.headers["ETag"] == first) == (200, False)


def test_of_a_finished_file_only_the_latest_are_kept(client, store, view):
    for day in range(1, 8):
        assert client.get(address(f"layers/areas.parquet?as_of=2024-06-0{day}")).status_code == 200
    assert len(list((store.computed_folder / "files").rglob("*-areas.parquet"))) == KEPT


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
