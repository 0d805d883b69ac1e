"""The open collections against the standards, a test for each requirement that clients rest on.

Sources: OGC 17-069r4, OGC API - Features - Part 1: Core (1.0.1), OGC 18-058r1, Part 2: Coordinate Reference
Systems by Reference, OGC 19-079r2, Part 3: Filtering, OGC 21-065r2, Common Query Language (CQL2). The
identifiers of requirements (/req/...) beside the tests are given from memory of the texts.
"""

import datetime as dt
import re
from urllib.parse import parse_qs, quote, urlsplit

import jsonschema
import numpy as np
import orjson
import pytest
from openapi_spec_validator import validate
from pyproj import Transformer

from service.app import create_app
from service.feature_kinds import COLLECTIONS
from service.settings import Settings
from service.store.migrating import open_store
from tests.open_site import ISLAND, ISLAND_TREES, ROOM, ROOM_TREES, SOUTH, WEST, make_open_sites
from tests.web_site import HOSTILE_HEADER, HOSTILE_TAG, SLUG, TREES, make_web_site

CRS84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
EPSG = "http://www.opengis.net/def/crs/EPSG/0/"
OPENAPI = "application/vnd.oai.openapi+json;version=3.0"
GEOJSON, SCHEMA, PROBLEM = "application/geo+json", "application/schema+json", "application/problem+json"
QUERYABLES = "http://www.opengis.net/def/rel/ogc/1.0/queryables"
FLAT_SCHEMA = "http://www.opengis.net/def/rel/ogc/1.0/schema"
ALL = TREES + ISLAND_TREES + ROOM_TREES
SYSTEMS = (CRS84, f"{EPSG}4326", f"{EPSG}3857", f"{EPSG}32632")
BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("open")
    store = open_store(str(folder / "store.sqlite"))
    make_open_sites(store, folder)
    yield create_app(store, Settings(data_folder=folder))
    store.close()


@pytest.fixture(scope="module")
def yard_app(tmp_path_factory):
    """Only grounds within one zone, so that its system is offered."""
    folder = tmp_path_factory.mktemp("yard")
    store = open_store(str(folder / "store.sqlite"))
    make_web_site(store, folder)
    yield create_app(store, Settings(data_folder=folder))
    store.close()


@pytest.fixture
def client(app):
    return app.test_client()


def got(client, path, status=200, **query):
    asked = "&".join(
        f"{name.replace('_', '-')}={quote(str(value), safe='')}" for name, value in query.items()
    )
    answer = client.get(f"/ogc{path}?{asked}" if asked else f"/ogc{path}")
    assert answer.status_code == status, answer.text
    return answer


def trees(client, **query):
    return got(client, "/collections/trees/items", **query).get_json(force=True)


def tags(page):
    return [feature["properties"]["tag"] for feature in page["features"]]


def links(document, rel):
    return [link for link in document["links"] if link["rel"] == rel]


def followed(client, link, **headers):
    parts = urlsplit(link["href"])
    answer = client.get(f"{parts.path}?{parts.query}" if parts.query else parts.path, headers=headers)
    assert answer.status_code == 200, link
    return answer


def whole(client, path):
    """The pages of a question, by their next links."""
    page = client.get(path).get_json(force=True)
    pages = [page]
    while links(page, "next"):
        page = followed(client, links(page, "next")[0]).get_json(force=True)
        pages.append(page)
        assert len(pages) < 100
    return pages


def faults(answer):
    assert answer.content_type == PROBLEM
    return {fault["where"] for fault in answer.get_json(force=True)["errors"]}


PATHS = (
    *("", "/", "/conformance", "/collections", "/openapi.json", "/api"),
    *(
        f"/collections/{name}{tail}"
        for name in COLLECTIONS
        for tail in ("", "/items", "/queryables", "/schema")
    ),
)

# --- Part 1: Core, GeoJSON, OpenAPI 3.0 -------------------------------------------------------------------


@pytest.mark.parametrize("path", PATHS)
def test_1_every_resource_answers(client, path):  # /req/core/root-success and its like
    assert got(client, path).get_json(force=True)


@pytest.mark.parametrize("name", COLLECTIONS)
def test_1_the_features_of_every_collection_answer_one_by_one(client, name):  # /req/core/f-success
    for feature in got(client, f"/collections/{name}/items").get_json(force=True)["features"]:
        one = got(client, f"/collections/{name}/items/{feature['id']}").get_json(force=True)
        assert {key: one[key] for key in feature} == feature


def test_2_the_landing_page_leads_to_everything(client):  # /req/core/root-success
    landing = got(client, "").get_json()
    (described,) = links(landing, "service-desc")
    assert described["type"] == OPENAPI
    for rel, media_type in (
        ("service-doc", "text/html"),
        ("conformance", "application/json"),
        ("data", "application/json"),
        ("self", "application/json"),
        ("alternate", "text/html"),
    ):
        assert [link["type"] for link in links(landing, rel)] == [media_type], rel
    for link in landing["links"]:
        assert followed(client, link).content_type.split(";")[0] == link["type"].split(";")[0]


def test_3_the_description_comes_as_the_type_of_its_link(client):  # /req/core/api-definition-success
    for rel in ("service-desc", "service-doc"):
        (link,) = links(got(client, "").get_json(), rel)
        answer = followed(client, link, Accept=link["type"])
        assert answer.content_type.split("; ")[0] == link["type"]


def test_4_the_classes_that_are_conformed_to_are_named(client):  # /req/core/conformance-success
    said = got(client, "/conformance").get_json()["conformsTo"]
    part1 = "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf"
    assert {f"{part1}/{name}" for name in ("core", "oas30", "geojson", "html")} <= set(said)
    assert len(said) == len(set(said))


@pytest.mark.parametrize("path", [*PATHS, "/collections/trees/items/1", "/collections/trees/feature-schema"])
def test_4_every_resource_is_a_page_too_with_all_its_links(
    client, path
):  # /req/html/definition, /req/html/content
    answer = client.get(f"/ogc{path}", headers={"Accept": BROWSER})
    assert answer.status_code == 200
    assert answer.content_type == "text/html; charset=utf-8"
    data = client.get(f"/ogc{path}").get_json(force=True)
    shown = {link.replace("&amp;", "&") for link in re.findall(r'href="([^"]+)"', answer.text)}
    for link in data.get("links", []):
        if link["rel"] not in ("self", "alternate", "next"):  # these three say which form they are of
            assert link["href"] in shown, link


def test_5_every_collection_has_its_links_and_says_the_same_of_itself_alone(
    client,
):  # /req/core/fc-md-success
    listed = got(client, "/collections").get_json()
    assert [each["id"] for each in listed["collections"]] == list(COLLECTIONS)
    for rel in ("self", "alternate"):
        assert links(listed, rel)[0]["type"]
    for each in listed["collections"]:
        alone = got(client, f"/collections/{each['id']}").get_json()
        assert alone == each
        assert {GEOJSON, "text/html"} <= {link["type"] for link in links(each, "items")}
        assert each["itemType"] == "feature"


@pytest.mark.parametrize("name", COLLECTIONS)
def test_5_the_extent_holds_every_feature(client, name):  # /req/core/fc-md-extent
    extent = got(client, f"/collections/{name}").get_json()["extent"]
    found = got(client, f"/collections/{name}/items", limit=10_000).get_json(force=True)["features"]
    places = [feature["geometry"] for feature in found if feature["geometry"]]
    if places:
        west, south, east, north = extent["spatial"]["bbox"][0]
        there = np.array([pair for place in places for pair in positions(place["coordinates"])])
        within = (west <= there[:, 0]) & (there[:, 0] <= east)
        if west > east:
            within = (west <= there[:, 0]) | (there[:, 0] <= east)
        assert within.all()
        assert ((south <= there[:, 1]) & (there[:, 1] <= north)).all()
    start, end = extent["temporal"]["interval"][0]
    assert end is None
    assert start is None or dt.datetime.fromisoformat(start)


def positions(said):
    return [said] if isinstance(said[0], float) else [pair for part in said for pair in positions(part)]


def test_6_pages_lead_to_the_next_with_everything_that_was_asked(client):  # /req/core/fc-links
    pages = whole(client, f"/ogc/collections/trees/items?limit=5&site={SLUG}&sortby=-tag")
    assert [page["numberReturned"] for page in pages] == [5, 5, 5, 5, 4]
    for page in pages:
        assert links(page, "self")[0]["type"] == GEOJSON
        assert links(page, "alternate")[0]["type"] == "text/html"
        for link in page["links"]:
            assert link["href"].startswith("http://localhost/ogc/")
            assert "charset" not in link["type"]
    for page in pages[:-1]:
        asked = parse_qs(urlsplit(links(page, "next")[0]["href"]).query)
        assert (asked["limit"], asked["site"], asked["sortby"]) == (["5"], [SLUG], ["-tag"])
    found = [tag for page in pages for tag in tags(page)]
    assert found == sorted(found, reverse=True)
    assert len(set(found)) == TREES


def test_7_a_feature_has_its_id_and_links(client):  # /req/core/f-links
    one = got(client, "/collections/trees/items/1").get_json(force=True)
    assert (one["type"], one["id"]) == ("Feature", 1)
    assert links(one, "self")[0]["type"] == GEOJSON
    assert links(one, "alternate")[0]["type"] == "text/html"
    (collection,) = links(one, "collection")
    assert followed(client, collection).get_json()["id"] == "trees"


@pytest.mark.parametrize("limit", [1, 7, ALL])
def test_8_never_more_than_the_limit(client, limit):  # /req/core/fc-limit-response-1
    assert len(trees(client, limit=limit)["features"]) == limit


@pytest.mark.parametrize("limit", [10_001, 10**9, "9" * 5000])
def test_8_a_limit_beyond_the_greatest_is_the_greatest(client, limit):  # /req/core/fc-limit-response-1
    assert trees(client, limit=limit)["numberReturned"] == ALL


@pytest.mark.parametrize("limit", [0, -1, "", "1.5", "1e3", "ten", "٣", "NaN", "+5"])
def test_8_a_limit_that_is_none_is_refused(client, limit):  # /req/core/query-param-invalid
    assert faults(got(client, "/collections/trees/items", 400, limit=limit)) == {"limit"}


def test_9_a_box_selects_what_meets_it_and_what_has_no_place(client):  # /req/core/fc-bbox-response
    found = trees(client, bbox=f"{WEST - 1e-5},{SOUTH - 1e-5},{WEST + 2.5e-4},{SOUTH + 1e-5}")
    assert sorted(tags(found)) == ["A1", "A2", "A3", "R0", "R1", "R2"]
    assert found["numberMatched"] == 6
    with_heights = trees(client, bbox=f"{WEST - 1e-5},{SOUTH - 1e-5},-50,{WEST + 2.5e-4},{SOUTH + 1e-5},900")
    assert tags(with_heights) == tags(found)
    on_edge = trees(client, bbox=f"{WEST},{SOUTH},{WEST},{SOUTH}", site=SLUG)
    assert tags(on_edge) == ["A1"]


def test_9_west_of_east_goes_across_the_antimeridian(client):  # /req/core/fc-bbox-definition
    across = trees(client, bbox="179.9,-17,-179.9,-16", site=ISLAND)
    assert len(tags(across)) == ISLAND_TREES
    half = trees(client, bbox="179.9,-17,180,-16", site=ISLAND)
    assert 0 < len(tags(half)) < ISLAND_TREES
    beyond = trees(client, bbox="179.9,-17,180.1,-16", site=ISLAND)
    assert tags(beyond) == tags(across)
    assert len(tags(trees(client, bbox="-400,-90,400,90", site=ISLAND))) == ISLAND_TREES


def test_9_an_outline_that_touches_the_box_meets_it(client):
    corner = f"{WEST + 3e-4},{SOUTH + 2e-4},{WEST + 1},{SOUTH + 1}"
    found = got(client, "/collections/areas/items", bbox=corner).get_json(force=True)
    assert {feature["properties"]["name"] for feature in found["features"]} == {"Front", "Beyond"}
    away = f"{WEST + 4e-4},{SOUTH + 3e-4},{WEST + 1},{SOUTH + 1}"
    found = got(client, "/collections/areas/items", bbox=away).get_json(force=True)
    assert [feature["properties"]["name"] for feature in found["features"]] == ["Beyond"]


@pytest.mark.parametrize(
    "box",
    [
        *("1,2,3", "1,2,3,4,5", "", "a,b,c,d", "1,2,3,NaN", "1,2,3,inf", "1,2,3,1e999", "1,2,,4", "1;2;3;4"),
        *("0,10,1,5", "0,0,1,1,", "0x1,0,1,1", "1,2,3,4\x00", "1_0,2,3,4"),
    ],
)
def test_9_a_box_that_is_none_is_refused(client, box):  # /req/core/query-param-invalid
    assert faults(got(client, "/collections/trees/items", 400, bbox=box)) == {"bbox"}


@pytest.mark.parametrize(
    ("said", "first"),
    [
        ("2026-05-20", True),
        ("2026-05-20T", True),
        ("2026-05-20T10:00:00Z", True),
        ("2026-01-01/..", True),
        ("2026-01-01/", True),
        ("2026-05-19/P2D", True),
        ("2024-05-14/2024-05-14", False),
        ("../2024-05-14", False),
        ("/2024-05-14T23:59:59Z", False),
    ],
)
def test_10_a_moment_or_interval_selects_what_it_touches_and_what_has_no_time(client, said, first):
    found = trees(client, datetime=said, site=SLUG)  # /req/core/fc-time-response
    measured = {f["properties"]["last_measured_on"] for f in found["features"]}
    assert measured == {"2026-05-20" if first else "2024-05-14", None}
    assert got(client, "/collections/flags/items", datetime=said).get_json(force=True)["numberMatched"] > 0


def test_10_what_holds_for_a_time_is_found_by_any_day_of_it(client):
    before = got(client, "/collections/areas/items", datetime="../2019-12-31").get_json(force=True)
    assert [f["properties"]["name"] for f in before["features"]] == ["Beyond"]
    since = got(client, "/collections/areas/items", datetime="2024-01-01").get_json(force=True)
    assert {f["properties"]["name"] for f in since["features"]} == {"Front", "Beyond"}


def test_10_figures_are_those_of_the_day_that_is_asked(client):
    found = got(client, "/collections/figures/items", datetime="2024-06-01").get_json(force=True)
    assert {f["properties"]["as_of"] for f in found["features"]} == {"2024-06-01"}
    later = got(client, "/collections/figures/items", datetime="2024-06-01/2025-03-04").get_json(force=True)
    assert {f["properties"]["as_of"] for f in later["features"]} == {"2025-03-04"}


@pytest.mark.parametrize("said", ["yesterday", "2024-13-01", "2024-01-02/2024-01-01", "", "2024-01-01/P"])
def test_10_a_time_that_is_none_is_refused(client, said):  # /req/core/query-param-invalid
    assert faults(got(client, "/collections/trees/items", 400, datetime=said)) == {"datetime"}


@pytest.mark.parametrize("path", [*PATHS, "/collections/trees/items/1"])
def test_11_an_unknown_parameter_is_refused_by_its_name(client, path):  # /req/core/query-param-unknown
    assert "startindex" in faults(got(client, path, 400, startindex=3))


def test_11_a_parameter_that_is_said_twice_is_refused(client):
    assert faults(client.get("/ogc/collections/trees/items?limit=1&limit=2")) == {"limit"}


@pytest.mark.parametrize(
    "path",
    [
        *("/collections/none", "/collections/none/items", "/collections/none/schema", "/none"),
        *(
            f"/collections/trees/items/{fid}"
            for fid in ("0", "-1", "x", "1.0", "9" * 20, "9" * 5000, "%00", "²")
        ),
    ],
)
def test_11_what_is_not_there_is_not_found(client, path):
    answer = got(client, path, 404)
    assert answer.content_type == PROBLEM
    assert answer.get_json(force=True)["status"] == 404


@pytest.mark.parametrize("accept", ["application/xml", "image/png", "application/json;q=0", "text/csv"])
@pytest.mark.parametrize(
    "path", ["", "/collections", "/collections/trees/items", "/collections/trees/items/1"]
)
def test_11_a_form_that_cannot_be_given_is_refused(client, path, accept):
    answer = client.get(f"/ogc{path}", headers={"Accept": accept})
    assert answer.status_code == 406
    assert answer.content_type == PROBLEM
    assert "text/html" in answer.get_json(force=True)["offered"]


def test_11_a_browser_gets_a_fault_as_a_page(client):
    answer = client.get("/ogc/collections/trees/items?limit=0", headers={"Accept": BROWSER})
    assert (answer.status_code, answer.content_type) == (400, "text/html; charset=utf-8")
    assert "limit" in answer.text


def test_12_numbers_are_exact_and_the_time_is_now(
    client,
):  # /req/core/fc-timeStamp, -numberMatched, -numberReturned
    page = trees(client, limit=5)
    assert (page["numberMatched"], page["numberReturned"], len(page["features"])) == (ALL, 5, 5)
    assert page["timeStamp"].endswith("Z")
    told = dt.datetime.fromisoformat(page["timeStamp"])
    assert abs(dt.datetime.now(dt.UTC) - told) < dt.timedelta(minutes=1)


def test_13_positions_are_longitude_and_latitude(client):  # /req/core/crs84, /req/geojson/definition
    answer = got(client, "/collections/trees/items", tag="A1")
    assert answer.content_type == GEOJSON
    (feature,) = answer.get_json(force=True)["features"]
    assert feature["geometry"] == {"type": "Point", "coordinates": [WEST, SOUTH]}
    assert "crs" not in answer.get_json(force=True)
    assert got(client, "/collections").content_type == "application/json"


def test_13_rings_go_against_the_clock(client):  # RFC 7946, section 3.1.6
    found = got(client, "/collections/areas/items", name="Front").get_json(force=True)
    (shape,) = (feature["geometry"] for feature in found["features"])
    ring = np.array(shape["coordinates"][0] if shape["type"] == "Polygon" else shape["coordinates"][0][0])
    x, y = ring[:-1, 0] - WEST, ring[:-1, 1] - SOUTH
    assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0


def test_14_the_description_is_valid_and_lists_what_is_asked(client):  # /req/oas30/oas-definition-2
    said = got(client, "/openapi.json").get_json(force=True)
    validate(said)
    assert said["servers"] == [{"url": "http://localhost/ogc"}]
    assert said["security"] == []
    assert '"$ref":"http' not in got(client, "/openapi.json").text
    for name in COLLECTIONS:
        operation = said["paths"][f"/collections/{name}/items"]["get"]
        by_name = {parameter["name"]: parameter for parameter in operation["parameters"]}
        limit = by_name["limit"]["schema"]
        assert (limit["type"], limit["minimum"], limit["default"], limit["maximum"]) == (
            "integer",
            1,
            1000,
            10_000,
        )
        box = by_name["bbox"]["schema"]
        assert (box["type"], box["minItems"], box["maxItems"]) == ("array", 4, 6)
        assert box["items"]["type"] == "number"
        assert by_name["datetime"]["schema"]["type"] == "string"
        for each in ("limit", "bbox", "datetime"):
            said_of = by_name[each]
            assert (said_of["in"], said_of["style"], said_of["explode"]) == ("query", "form", False)
            assert said_of["required"] is False
        assert {"200", "304", "400", "403", "406", "500", "503"} == set(operation["responses"])
        one = said["paths"][f"/collections/{name}/items/{{featureId}}"]["get"]
        assert set(one["responses"]) == {*operation["responses"], "404"}


def test_14_features_are_as_the_description_says(client):
    said = got(client, "/openapi.json").get_json(force=True)
    schemas = orjson.loads(
        orjson.dumps(said["components"]["schemas"]).replace(b"#/components/schemas/", b"#/$defs/")
    )
    for name in COLLECTIONS:
        page = got(client, f"/collections/{name}/items").get_json(force=True)
        jsonschema.Draft202012Validator(
            without_nullable({"$ref": f"#/$defs/{name}-page", "$defs": schemas})
        ).validate(page)


def without_nullable(schema):
    """A schema of OpenAPI 3.0 as plain JSON Schema."""
    if isinstance(schema, list):
        return [without_nullable(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    plain = {name: without_nullable(each) for name, each in schema.items() if name != "nullable"}
    return {"anyOf": [{"type": "null"}, plain]} if schema.get("nullable") is True else plain


@pytest.mark.parametrize("path", PATHS)
def test_15_the_head_alone_is_answered(client, path):  # /rec/core/http-head
    answer = client.head(f"/ogc{path}")
    assert answer.status_code == 200
    assert answer.data == b""
    assert "GET" in client.options(f"/ogc{path}").headers["Allow"]


@pytest.mark.parametrize("path", [path for path in PATHS if path != "/"])
def test_15_what_has_not_changed_is_not_sent_again(client, path):  # /rec/core/etag
    first = client.get(f"/ogc{path}")
    tag = first.headers["ETag"]
    again = client.get(f"/ogc{path}", headers={"If-None-Match": tag})
    assert (again.status_code, again.data) == (304, b"")
    assert (again.headers["ETag"], again.headers["Vary"]) == (tag, first.headers["Vary"])  # RFC 9110, 15.4.5
    page = client.get(f"/ogc{path}", headers={"If-None-Match": tag, "Accept": "text/html"})
    assert page.status_code == 200


def test_what_is_sorted_by_twice_is_sorted_by_once(client):
    assert tags(trees(client, sortby="-tag,fid,tag,-fid")) == tags(trees(client, sortby="-tag,+fid"))


def test_15_links_stand_in_the_header_too(client):  # /rec/core/link-header
    said = ", ".join(got(client, "/collections/trees/items", limit=1).headers.getlist("Link"))
    for rel in ("self", "next", "collection", "alternate", "describedby"):
        assert f'rel="{rel}"' in said


def test_15_properties_are_parameters(client):  # /rec/core/fc-filters
    assert tags(trees(client, tag="A3")) == ["A3"]
    assert {f["properties"]["stems"] for f in trees(client, stems=1)["features"]} == {1}
    assert tags(trees(client, tag=HOSTILE_TAG)) == [HOSTILE_TAG]
    kept = client.get("/ogc/collections/trees/items", query_string={HOSTILE_HEADER: "=K4"})
    assert tags(kept.get_json(force=True)) == ["A5"]
    assert tags(trees(client, site=ROOM)) == ["R0", "R1", "R2"]
    assert trees(client, stems=2**63)["numberMatched"] == 0


def test_what_has_flags_carries_the_caution_once(client):
    for name, said in COLLECTIONS.items():
        page = got(client, f"/collections/{name}/items").get_json(force=True)
        described = got(client, f"/collections/{name}").get_json()["description"]
        assert ("It is not an inspection" in page.get("caution", "")) == said.cautioned
        assert ("It is not an inspection" in described) == said.cautioned
        assert "It is not an inspection" not in orjson.dumps(page["features"]).decode()


def test_a_ground_without_a_place_on_earth_has_no_geometries_and_one_sentence(client):
    page = trees(client, site=ROOM)
    assert {str(feature["geometry"]) for feature in page["features"]} == {"None"}
    assert "place on earth" in page["note"]
    assert "note" not in trees(client, site=SLUG, limit=2)


# --- Part 2: Coordinate Reference Systems by Reference ----------------------------------------------------


def test_crs_the_class_is_named_and_collections_list_their_systems(client):  # /req/crs/fc-md-crs-list
    said = got(client, "/conformance").get_json()["conformsTo"]
    assert "http://www.opengis.net/spec/ogcapi-features-2/1.0/conf/crs" in said
    for each in got(client, "/collections").get_json()["collections"]:
        assert each["crs"][0] == CRS84
        assert each["storageCrs"] in each["crs"]


@pytest.mark.parametrize("uri", SYSTEMS)
def test_crs_coordinates_come_in_the_order_of_the_authority(yard_app, uri):  # /req/crs/fc-crs-action
    client = yard_app.test_client()
    answer = got(client, "/collections/trees/items", crs=uri)
    assert answer.headers["Content-Crs"] == f"<{uri}>"
    name = "OGC:CRS84" if uri == CRS84 else f"EPSG:{uri.rpartition('/')[2]}"
    move = Transformer.from_crs("OGC:CRS84", name)
    plain = {f["id"]: f["geometry"]["coordinates"] for f in trees(client)["features"]}
    for feature in answer.get_json(force=True)["features"]:
        expected = move.transform(*plain[feature["id"]])
        assert feature["geometry"]["coordinates"] == pytest.approx(expected, rel=1e-12)
    one = got(client, "/collections/trees/items/1", crs=uri)
    assert one.headers["Content-Crs"] == f"<{uri}>"


@pytest.mark.parametrize("uri", SYSTEMS)
def test_crs_a_box_is_read_in_its_system(yard_app, uri):  # /req/crs/fc-bbox-crs-action
    client = yard_app.test_client()
    name = "OGC:CRS84" if uri == CRS84 else f"EPSG:{uri.rpartition('/')[2]}"
    move = Transformer.from_crs("OGC:CRS84", name)
    corners = np.array(
        [move.transform(WEST - 1e-5, SOUTH - 1e-5), move.transform(WEST + 2.5e-4, SOUTH + 1e-5)]
    )
    box = ",".join(f"{side:.17g}" for side in (*corners.min(axis=0), *corners.max(axis=0)))
    assert tags(trees(client, bbox=box, bbox_crs=uri)) == ["A1", "A2", "A3"]


def test_crs_a_box_of_a_grid_has_the_sides_of_the_grid(yard_app):
    """Its sides are askew in longitude and latitude: every tree is judged in the system of the box."""
    client = yard_app.test_client()
    uri = f"{EPSG}32632"
    there = {f["id"]: f["geometry"]["coordinates"] for f in trees(client, crs=uri)["features"]}
    rng = np.random.default_rng(7)
    east, north = np.array(list(there.values())).T
    for _ in range(30):
        x0, x1 = np.sort(rng.uniform(east.min() - 5, east.max() + 5, 2))
        y0, y1 = np.sort(rng.uniform(north.min() - 5, north.max() + 5, 2))
        found = trees(client, bbox=f"{x0:.17g},{y0:.17g},{x1:.17g},{y1:.17g}", bbox_crs=uri)
        inside = {fid for fid, (x, y) in there.items() if x0 <= x <= x1 and y0 <= y <= y1}
        assert {feature["id"] for feature in found["features"]} == inside


@pytest.mark.parametrize(
    "box", ["0,0,0,0", "0,0,0,40", "-0.0,0,0,0,0,40", "0,0,5e-324,5e-324", "1,1,1.0000001,1"]
)
@pytest.mark.parametrize("uri", SYSTEMS[2:])
def test_crs_a_box_without_width_is_a_line_or_a_point(yard_app, uri, box):
    assert trees(yard_app.test_client(), bbox=box, bbox_crs=uri)["numberMatched"] == 0


@pytest.mark.parametrize("name", ["crs", "bbox-crs", "filter-crs"])
@pytest.mark.parametrize(
    "said", ["EPSG:4326", "", f"{EPSG}4258", f"{EPSG}99999", "http://example.org", CRS84.lower()]
)
def test_crs_a_system_that_is_not_offered_is_refused(client, name, said):  # /req/crs/fc-crs-valid-value
    answer = client.get("/ogc/collections/trees/items", query_string={name: said, "bbox": "0,0,1,1"})
    assert answer.status_code == 400
    assert faults(answer) == {name}


# --- Part 3: Filtering, CQL2 ------------------------------------------------------------------------------


def test_filter_the_classes_are_named(client):
    said = set(got(client, "/conformance").get_json()["conformsTo"])
    part3, cql2 = (
        "http://www.opengis.net/spec/ogcapi-features-3/1.0/conf",
        "http://www.opengis.net/spec/cql2/1.0/conf",
    )
    names = ("filter", "features-filter", "queryables", "queryables-query-parameters")
    assert {f"{part3}/{name}" for name in names} <= said
    names = ("cql2-text", "cql2-json", "basic-cql2", "advanced-comparison-operators")
    names += ("case-insensitive-comparison", "basic-spatial-functions")
    assert {f"{cql2}/{name}" for name in names} <= said


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("tag = 'A1'", ["A1"]),
        ("tag = 'A1' OR tag = 'A2'", ["A1", "A2"]),
        ("height_m = 12.5 AND NOT (tag <> 'A4')", ["A4"]),
        ("height_m >= 12 AND height_m <= 13 AND tag < 'A11'", ["A1", "A10"]),
        ("tag LIKE 'A_' AND height_m IS NOT NULL", ["A1", "A4", "A7"]),
        ("tag IN ('A2','A3','none')", ["A2", "A3"]),
        ("tag BETWEEN 'A2' AND 'A20'", ["A2", "A20"]),
        ("CASEI(tag) = CASEI('a1')", ["A1"]),
        (f"S_INTERSECTS(geometry, BBOX({WEST - 1e-5},{SOUTH - 1e-5},{WEST + 1e-5},{SOUTH + 1e-5}))", ["A1"]),
        (f"S_INTERSECTS(geometry, POINT({WEST} {SOUTH}))", ["A1"]),
        ("last_measured_on = DATE('2026-05-20')", ["A1"]),
    ],
)
def test_filter_what_holds_is_selected(client, text, found):  # /req/filter/filter-param, OGC 21-065r2
    assert sorted(tags(trees(client, filter=text, site=SLUG))) == found


def test_filter_json_says_the_same(client):
    said = {"op": "and", "args": [{"op": "=", "args": [{"property": "tag"}, "A1"]}, True]}
    asked = {"filter": orjson.dumps(said["args"][0]).decode(), "filter_lang": "cql2-json"}
    assert tags(trees(client, **asked)) == ["A1"]


def test_filter_the_name_of_the_draft_is_understood_with_ilike(client):
    assert tags(trees(client, filter="tag ILIKE 'a1'", filter_lang="cql-text")) == ["A1"]


def test_filter_is_joined_with_everything_else_by_and(client):  # /req/features-filter/filter-param (joined)
    box = f"{WEST - 1e-5},{SOUTH - 1e-5},{WEST + 2.5e-4},{SOUTH + 1e-5}"
    found = trees(client, filter="tag IN ('A1','A2','A9')", bbox=box, datetime="2026-05-20")
    assert tags(found) == ["A1"]
    assert tags(trees(client, filter="tag IN ('A1','A2')", tag="A2")) == ["A2"]


def test_filter_what_is_missing_selects_nothing(client):  # OGC 21-065r2: three-valued
    there = trees(client, filter="height_m > 0")["numberMatched"]
    gone = trees(client, filter="height_m IS NULL")["numberMatched"]
    assert 0 < there < ALL
    assert there + gone == ALL
    assert trees(client, filter="NOT height_m > 0")["numberMatched"] == 0


def test_filter_positions_are_read_in_the_system_that_is_said(client):  # /req/filter/filter-crs-param
    text = f"S_INTERSECTS(geometry, BBOX({SOUTH - 1e-5},{WEST - 1e-5},{SOUTH + 1e-5},{WEST + 1e-5}))"
    assert tags(trees(client, filter=text, filter_crs=f"{EPSG}4326")) == ["A1"]
    assert trees(client, filter=text)["numberMatched"] == 0


@pytest.mark.parametrize(
    "text",
    [
        *("", "tag", "tag =", "tag = 'A1' extra", "tag = 'A1'; DROP TABLE feature", "none = 1", "1", "NULL"),
        *(
            "stems = 'one'",
            "tag = 1",
            "tag > TRUE",
            "last_measured_on = 5",
            "height_m LIKE 'a'",
            "signs = 'a'",
        ),
        *("S_CROSSES(geometry, POINT(1 1))", "S_INTERSECTS(tag, POINT(1 1))", "S_INTERSECTS(geometry, 'x')"),
        *(
            "tag = 'A1' --",
            "(" * 2000 + "tag = 'A1'" + ")" * 2000,
            "NOT " * 3000 + "tag = 'A1'",
            "tag = '\x00'",
        ),
        *(
            "tag = 'x" + "y" * 9000 + "'",
            "stems = 1e999",
            "S_INTERSECTS(geometry, POINT(1 NaN))",
            "lower(tag) = 'a'",
        ),
        *(
            "tag = 'A1' UNION SELECT 1",
            '"tag" = "A1"',
            "tag ILIKE 'a'",
            "tag IN ()",
            "c0 = 'x'",
            "wkb IS NULL",
        ),
    ],
)
def test_filter_one_that_cannot_be_used_is_refused(client, text):  # /req/filter/filter-param, invalid -> 400
    assert faults(got(client, "/collections/trees/items", 400, filter=text)) == {"filter"}


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "7", '{"op":"="}', '{"op":"=","args":[{"property":"tag"},NaN]}', "[" * 5000, '"\\ud800"'],
)
def test_filter_json_that_cannot_be_used_is_refused(client, text):
    answer = got(client, "/collections/trees/items", 400, filter=text, filter_lang="cql2-json")
    assert faults(answer) == {"filter"}


def test_filter_a_language_that_is_not_offered_is_refused(client):
    asked = {"filter": "tag='A1'", "filter_lang": "sql"}
    assert faults(got(client, "/collections/trees/items", 400, **asked)) == {"filter-lang"}


def test_filter_the_description_has_its_parameters(client):  # /req/filter/filter-lang-param
    said = got(client, "/openapi.json").get_json(force=True)
    parameters = said["paths"]["/collections/trees/items"]["get"]["parameters"]
    schemas = {parameter["name"]: parameter["schema"] for parameter in parameters}
    assert schemas["filter-lang"]["enum"] == ["cql2-text", "cql2-json", "cql-text"]
    assert schemas["filter-lang"]["default"] == "cql2-text"
    assert schemas["filter-crs"]["enum"][0] == CRS84


@pytest.mark.parametrize("name", COLLECTIONS)
def test_queryables_are_a_closed_schema(client, name):  # /req/queryables/get-queryables-response
    (link,) = links(got(client, f"/collections/{name}").get_json(), QUERYABLES)
    assert link["type"] == SCHEMA
    answer = followed(client, link, Accept=SCHEMA)
    assert answer.content_type == SCHEMA
    said = answer.get_json(force=True)
    jsonschema.Draft202012Validator.check_schema(said)
    assert said["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert said["$id"] == f"http://localhost/ogc/collections/{name}/queryables"
    assert (said["type"], said["additionalProperties"]) == ("object", False)
    assert said["properties"]["geometry"]["format"].startswith("geometry-")
    assert "type" not in said["properties"]["geometry"]
    for prop, about in said["properties"].items():
        assert prop == "geometry" or about["type"] in ("string", "number", "integer", "boolean")


@pytest.mark.parametrize("name", COLLECTIONS)
def test_queryables_are_parameters_that_are_described(
    client, name
):  # /req/queryables-query-parameters/parameters
    queryables = got(client, f"/collections/{name}/queryables").get_json(force=True)["properties"]
    said = got(client, "/openapi.json").get_json(force=True)
    parameters = said["paths"][f"/collections/{name}/items"]["get"]["parameters"]
    named = {parameter["name"] for parameter in parameters if parameter["in"] == "query"}
    assert set(queryables) - {"geometry"} <= named


@pytest.mark.parametrize("name", COLLECTIONS)
def test_each_queryable_that_is_named_in_a_filter_is_understood(client, name):
    for prop in got(client, f"/collections/{name}/queryables").get_json(force=True)["properties"]:
        quoted = '"' + prop.replace('"', '""') + '"'
        got(client, f"/collections/{name}/items", filter=f"{quoted} IS NOT NULL", limit=1)


@pytest.mark.parametrize(
    ("query", "named"),
    [
        *(({"stems": said}, "stems") for said in ("null", "", "1.5", "one", "1 OR 1=1", "NaN")),
        *(({"dbh_cm": said}, "dbh_cm") for said in ("null", "", "NaN", "inf", "1e999", "1,5", "0x10")),
        *(
            ({"last_measured_on": said}, "last_measured_on")
            for said in ("null", "2024", "2024-02-30", "today")
        ),
        *(({"site": said}, "site") for said in ("", "none", "yard'--", "\x00")),
        *(({"as_of": said}, "as_of") for said in ("tomorrow", "2024-02-30", "9999-01-01", "")),
        *(
            ({"sortby": said}, "sortby")
            for said in ("", "none", ",".join(["tag"] * 9), "-", "signs", "tag;1", "geometry")
        ),
        *(({"token": said}, "token") for said in ("", "x", "WyJ4Il0", "%00", "W10", "é", "A" * 5000)),
        *(({"f": said}, "f") for said in ("xml", "", "JSON")),
        *(({"signs": "x"}, "signs"), ({"properties": "tag"}, "properties"), ({"offset": 3}, "offset")),
    ],
)
def test_a_value_that_cannot_be_is_refused_with_the_name_of_its_parameter(client, query, named):
    answer = client.get("/ogc/collections/trees/items", query_string=query)
    assert answer.status_code == 400, answer.text
    assert faults(answer) == {named}


# --- Schemas, addresses, other sites ----------------------------------------------------------------------


@pytest.mark.parametrize("name", COLLECTIONS)
def test_schemas_come_in_both_shapes(client, name):  # OGC 23-058r1 (flat); RFC 7946 (a whole feature)
    document = got(client, f"/collections/{name}").get_json()
    (flat,) = links(document, FLAT_SCHEMA)
    (shaped,) = [link for link in links(document, "describedby") if link["type"] == SCHEMA]
    properties = followed(client, flat).get_json(force=True)["properties"]
    feature = followed(client, shaped).get_json(force=True)
    jsonschema.Draft202012Validator.check_schema(feature)
    inner = feature["properties"]["properties"]["properties"]
    assert set(properties) == set(inner) | {"geometry"}
    page = got(client, f"/collections/{name}/items").get_json(force=True)
    for each in page["features"]:
        assert set(each["properties"]) == set(inner)


def test_numbers_with_decimals_are_always_written_so(client):
    text = got(client, "/collections/trees/items", limit=10_000).text
    written = re.findall(r'"(?:dbh_cm|height_m)":(-?[\d.]+)', text)
    assert written
    assert all("." in number for number in written)


def test_links_begin_with_the_public_address(app, tmp_path):
    store = app.extensions["boleward"].store
    settings = Settings(data_folder=tmp_path, public_address="https://trees.example/open")
    client = create_app(store, settings).test_client()
    file = client.get(f"/sites/{SLUG}/layers/trees.csv", headers={"Host": "trees.example"})
    assert file.headers["Link"].startswith("<https://trees.example/open/cautions>")
    for path in ("", "/collections/trees/items?limit=1", "/collections/trees"):
        answer = client.get(f"/ogc{path}", headers={"Host": "trees.example"})
        assert answer.status_code == 200
        hrefs = [link["href"] for link in answer.get_json(force=True)["links"]]
        assert hrefs
        assert all(href.startswith("https://trees.example/open/") for href in hrefs)


def test_pages_of_other_sites_read_nothing_unless_their_origin_is_named(app, tmp_path):
    store, origin = app.extensions["boleward"].store, "https://maps.example"
    closed = app.test_client().get("/ogc/collections", headers={"Origin": origin})
    assert "Access-Control-Allow-Origin" not in closed.headers
    client = create_app(store, Settings(data_folder=tmp_path, cors_origins=(origin,))).test_client()
    opened = client.get("/ogc/collections", headers={"Origin": origin})
    assert opened.headers["Access-Control-Allow-Origin"] == origin
    assert "Origin" in opened.headers["Vary"]
    asked = client.options("/ogc/collections", headers={"Origin": origin})
    assert "GET" in asked.headers["Access-Control-Allow-Methods"]
    for path, who in (
        ("/ogc/collections", "https://evil.example"),
        ("/sites/yard", origin),
        ("/api/sites", origin),
    ):
        assert "Access-Control-Allow-Origin" not in client.get(path, headers={"Origin": who}).headers


def test_an_empty_store_has_every_collection_with_its_properties(store, settings):
    client = create_app(store, settings).test_client()
    validate(got(client, "/openapi.json").get_json(force=True))
    for name in COLLECTIONS:
        page = got(client, f"/collections/{name}/items").get_json(force=True)
        assert (page["numberMatched"], page["features"]) == (0, [])
        assert len(got(client, f"/collections/{name}/queryables").get_json(force=True)["properties"]) > 3
