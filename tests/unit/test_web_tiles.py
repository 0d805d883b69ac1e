"""Tiles over HTTP: kept as long as nothing that they show has changed, and told about in TileJSON.

References
----------
TileJSON 3.0.0 (github.com/mapbox/tilejson-spec), sections 3.1 to 3.5; RFC 9110 (ETag, Vary, 204, 304).
"""

import gzip
import io

import numpy as np
import pytest
from PIL import Image

from layers.tile_grid import Tile
from service import tiles as tiles_module
from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.edit import add_trees, cross_out, edit_tree
from service.entry import enter_readings
from service.settings import Settings
from service.store.site_rows import create_site
from service.tiles import ground_tiles
from tests.tile_builders import read_tile, tile_at
from tests.web_site import HOSTILE_NAME, SLUG, make_web_site, new_id

HERE, THERE = (9.1, 47.6), (9.4, 47.4)
NEAR, FAR = tile_at(*HERE, 16), tile_at(*THERE, 16)
GZIP = {"Accept-Encoding": "gzip"}


def tree(place, tag):
    lon, lat = place
    return {"id": new_id(), "tag": tag, "name_as_written": "Tilia cordata", "lon_deg": lon, "lat_deg": lat}


@pytest.fixture
def pair(store):
    """A ground with a tree here and one far from it."""
    create_site(store, "pair", name="A pair", actor=LOCAL_MANAGER)
    both = [tree(HERE, "one"), tree(THERE, "two")]
    add_trees(store, "pair", LOCAL_MANAGER, both)
    return both


def address(tile, form="pbf", slug="pair"):
    return f"/tiles/{slug}/{tile.z}/{tile.x}/{tile.y}.{form}"


def tags_in(answer):
    return [said["tag"] for _, _, said in read_tile(answer.data).values()]


def test_a_tile_holds_the_trees_of_its_place(client, pair):
    near, far = client.get(address(NEAR)), client.get(address(FAR))
    assert (tags_in(near), tags_in(far)) == (["one"], ["two"])
    assert near.content_type == "application/vnd.mapbox-vector-tile"
    assert near.headers["Link"] == '<http://localhost/cautions>; rel="describedby"; title="caution"'


def test_a_tile_is_compressed_for_whoever_takes_that(client, pair):
    plain, packed = client.get(address(NEAR)), client.get(address(NEAR), headers=GZIP)
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain.data
    assert plain.headers["ETag"] == packed.headers["ETag"]
    assert plain.vary.as_set() == packed.vary.as_set() == {"accept-encoding"}


def test_a_tile_of_nothing_is_no_content_and_a_picture_of_nothing_is_seen_through(client, pair):
    nothing = Tile(14, 0, 0)
    empty = client.get(address(nothing))
    assert (empty.status_code, empty.data) == (204, b"")
    assert client.get(address(nothing), headers={"If-None-Match": empty.headers["ETag"]}).status_code == 304
    answer = client.get(address(nothing, "png"))
    assert (answer.status_code, answer.content_type) == (200, "image/png")
    picture = np.asarray(Image.open(io.BytesIO(answer.data)).convert("RGBA"))
    assert picture.shape == (256, 256, 4)
    assert not picture[..., 3].any()
    drawn = np.asarray(Image.open(io.BytesIO(client.get(address(NEAR, "png")).data)).convert("RGBA"))
    assert (drawn[..., 3] == 255).sum() == 4  # one tree, one square of two pixels by two


def test_a_change_of_one_tree_leaves_the_tiles_elsewhere_as_they_are(client, store, pair, monkeypatch):
    before = {tile: client.get(address(tile)).headers["ETag"] for tile in (NEAR, FAR)}
    pictures = {tile: client.get(address(tile, "png")).headers["ETag"] for tile in (NEAR, FAR)}
    made = []

    def noted(index, tile, make=tiles_module.vector_tile_of):
        made.append(tile)
        return make(index, tile)

    monkeypatch.setattr(tiles_module, "vector_tile_of", noted)
    edit_tree(store, "pair", LOCAL_MANAGER, pair[0]["id"], 1, {**pair[0], "tag": "renamed"})
    far = client.get(address(FAR), headers={"If-None-Match": before[FAR]})
    assert (far.status_code, far.headers["ETag"]) == (304, before[FAR])
    assert tags_in(client.get(address(FAR))) == ["two"]
    assert made == []
    near = client.get(address(NEAR), headers={"If-None-Match": before[NEAR]})
    assert (near.status_code, tags_in(near)) == (200, ["renamed"])
    assert made == [NEAR]
    assert client.get(address(FAR, "png")).headers["ETag"] == pictures[FAR]


def test_a_tree_that_moves_or_goes_changes_the_tiles_where_it_was_and_where_it_is(client, store, pair):
    moved = {**pair[0], "lon_deg": THERE[0], "lat_deg": THERE[1] + 1e-4}
    before = {tile: client.get(address(tile)).headers["ETag"] for tile in (NEAR, FAR)}
    edit_tree(store, "pair", LOCAL_MANAGER, pair[0]["id"], 1, moved)
    near, far = client.get(address(NEAR)), client.get(address(FAR))
    assert (near.status_code, sorted(tags_in(far))) == (204, ["one", "two"])
    assert {near.headers["ETag"], far.headers["ETag"]}.isdisjoint(before.values())
    cross_out(store, "pair", LOCAL_MANAGER, "tree", pair[1]["id"], 1)
    assert tags_in(client.get(address(FAR))) == ["one"]


def test_whatever_changes_a_tile_whose_tag_stayed_is_the_same(store, tmp_path):
    view = make_web_site(store, tmp_path)
    rng = np.random.default_rng(8)
    all_tiles = {tile_at(lon, lat, zoom) for zoom in (0, 12, 16, 18, 21)
                 for lon, lat in view.records.trees[["lon_deg", "lat_deg"]].to_numpy()}  # fmt: skip
    asked = [(tile, form) for tile in all_tiles for form in ("pbf", "png")]

    def state():
        ground = ground_tiles(store, SLUG, LOCAL_MANAGER)
        tags = {each: ground.tag(*each) for each in asked}
        return tags, {each: ground._made(*each) for each in asked}

    tags, shown = state()
    stayed = changed = 0
    for turn in range(8):
        if turn % 2:
            lon, lat = 9.17 + rng.uniform(0, 5e-4), 47.66 + rng.uniform(0, 5e-4)
            add_trees(store, SLUG, LOCAL_MANAGER, [tree((lon, lat), f"new {turn}")])
        else:
            stem = view.records.stems["stem_id"].iloc[int(rng.integers(0, 24))]
            said = {"stem_id": stem, "value": 50 + turn, "measured_on": f"2026-06-0{turn + 1}"}
            enter_readings(store, SLUG, LOCAL_MANAGER, [said])
        tags_now, shown_now = state()
        for each in asked:
            assert (tags_now[each] == tags[each]) <= (shown_now[each] == shown[each])
            stayed += tags_now[each] == tags[each]
            changed += shown_now[each] != shown[each]
        tags, shown = tags_now, shown_now
    assert stayed > 100
    assert changed > 20


def test_a_day_and_a_change_can_be_asked_for(client, store, pair):
    number = ground_tiles(store, "pair", LOCAL_MANAGER).key.known_at
    edit_tree(store, "pair", LOCAL_MANAGER, pair[0]["id"], 1, {**pair[0], "planted_on": "2020-05-01"})
    assert client.get(f"{address(NEAR)}?as_of=2019-01-01").status_code == 204
    assert tags_in(client.get(f"{address(NEAR)}?as_of=2021-01-01")) == ["one"]
    assert tags_in(client.get(f"{address(NEAR)}?as_of=2019-01-01&known_at={number}")) == ["one"]
    said = client.get("/tiles/pair/tile.json?as_of=2021-01-01").json
    assert said["tiles"] == ["http://localhost/tiles/pair/{z}/{x}/{y}.pbf?as_of=2021-01-01"]


@pytest.mark.parametrize("form", ["pbf", "png"])
@pytest.mark.parametrize(
    ("place", "named"),
    [("25/0/0", ["z"]), ("3/8/0", ["x"]), ("3/0/8", ["y"]), ("0/1/1", ["x", "y"]), (f"{10**30}/0/0", ["z"])],
)
def test_a_tile_that_there_is_not_is_refused_by_name(client, pair, form, place, named):
    answer = client.get(f"/tiles/pair/{place}.{form}")
    assert (answer.status_code, answer.content_type) == (400, "application/problem+json")
    assert [fault["where"] for fault in answer.json["errors"]] == named


@pytest.mark.parametrize("rest", ["0/0/0.pbf", "0/0/0.png", "tile.json", "density.json"])
def test_a_ground_that_there_is_not_is_not_found(client, rest):
    answer = client.get(f"/tiles/none-such/{rest}")
    assert (answer.status_code, answer.content_type) == (404, "application/problem+json")


def test_the_document_tells_clients_all_they_need(client, store, pair):
    said = client.get("/tiles/pair/tile.json").json
    assert said["tilejson"] == "3.0.0"
    assert said["tiles"] == ["http://localhost/tiles/pair/{z}/{x}/{y}.pbf"]
    assert said["bounds"] == [9.1, 47.4, 9.4, 47.6]
    assert 0 == said["minzoom"] <= said["maxzoom"] <= 30
    assert "It is not an inspection" in said["description"]
    (trees,) = said["vector_layers"]
    assert (trees["id"], trees["minzoom"], trees["maxzoom"]) == ("trees", 0, said["maxzoom"])
    shown = next(iter(read_tile(client.get(address(NEAR)).data).values()))[2]
    assert set(shown) <= set(trees["fields"])
    assert all(isinstance(meaning, str) and meaning for meaning in trees["fields"].values())
    density = client.get("/tiles/pair/density.json").json
    assert density["tiles"] == ["http://localhost/tiles/pair/{z}/{x}/{y}.png"]
    assert "vector_layers" not in density


def test_a_large_ground_is_told_as_counts_below_the_zoom_that_shows_trees(client, pair, monkeypatch):
    monkeypatch.setattr("layers.tile_index.MOST_TREES", 1)
    said = client.get("/tiles/pair/tile.json").json
    trees, counts = said["vector_layers"]
    assert (trees["id"], counts["id"]) == ("trees", "tree_counts")
    assert counts["maxzoom"] + 1 == trees["minzoom"] > 0
    above = tile_at(*HERE, counts["maxzoom"])
    found = read_tile(client.get(address(above)).data, "tree_counts")
    assert sum(one["trees"] for *_, one in found.values()) == 2
    assert all(set(one) <= set(counts["fields"]) for *_, one in found.values())
    assert len(read_tile(client.get(address(tile_at(*HERE, trees["minzoom"]))).data)) == 1


def test_addresses_begin_with_the_public_one(store, settings, pair):
    public = Settings(data_folder=settings.data_folder, public_address="https://trees.example.org/boleward")
    said = create_app(store, public).test_client().get("/tiles/pair/tile.json").json
    assert said["tiles"] == ["https://trees.example.org/boleward/tiles/pair/{z}/{x}/{y}.pbf"]


def test_what_some_clients_take_for_html_is_escaped(client, store, tmp_path):
    make_web_site(store, tmp_path)
    said = client.get(f"/tiles/{SLUG}/tile.json").json
    assert said["name"] == HOSTILE_NAME
    assert "<" not in said["attribution"]


def test_a_ground_without_a_place_on_earth_has_empty_tiles_and_says_why(client, store):
    create_site(store, "plan", name="By plan", actor=LOCAL_MANAGER, frame="local")
    add_trees(store, "plan", LOCAL_MANAGER, [{"id": new_id(), "tag": "1", "x_m": 3.0, "y_m": 4.0}])
    for name in ("tile", "density"):
        said = client.get(f"/tiles/plan/{name}.json").json
        assert "no place on earth" in said["description"]
        assert "bounds" not in said
    assert client.get(address(Tile(0, 0, 0), slug="plan")).status_code == 204


def test_finished_tiles_are_kept_up_to_so_many_bytes():
    kept = tiles_module._Finished(100)
    for turn in range(10):
        kept.put(str(turn), bytes(30))
        assert kept.get(str(turn)) == bytes(30)
    assert [turn for turn in range(10) if kept.get(str(turn)) is not None] == [7, 8, 9]
    kept.put("9", bytes(90))
    assert [turn for turn in range(10) if kept.get(str(turn)) is not None] == [9]
