"""OWSLib, a client library of the open standards, against the running program."""

import json
import urllib.request

import pytest
from owslib.ogcapi.features import Features

from tests.clients.truth import check_trees


def _got(address):
    with urllib.request.urlopen(address, timeout=60) as answer:  # the library leaves links to its caller
        return json.load(answer)


@pytest.fixture(scope="module")
def features(address):
    return Features(f"{address}/ogc/")


def test_the_document_of_the_api_and_the_classes_of_conformance_are_read(features):
    assert "/collections/trees/items" in features.api()["paths"]
    assert (
        "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core" in features.conformance()["conformsTo"]
    )


def test_collections_are_listed(features):
    assert set(features.feature_collections()) == {
        *("trees", "stems", "readings", "areas", "places", "targets", "flags", "inspections", "figures"),
    }


def test_pages_that_follow_next_bring_every_tree_with_its_exact_values(features, rows):
    read, page = [], features.collection_items("trees", limit=10_000)
    assert page["numberMatched"] == len(rows)
    while page is not None:
        for feature in page["features"]:
            lon, lat = feature["geometry"]["coordinates"]
            read.append({**feature["properties"], "lon": lon, "lat": lat})
        following = [link["href"] for link in page["links"] if link["rel"] == "next"]
        page = _got(following[0]) if following else None
    check_trees(read, rows)


def test_one_feature_is_the_one_of_the_list(features):
    listed = features.collection_items("trees", limit=3)["features"][2]
    alone = features.collection_item("trees", str(listed["id"]))
    assert alone["properties"] == listed["properties"]
    assert alone["id"] == listed["id"]


def test_queryables_and_a_filter_in_text(features):
    asked = features.collection_queryables("trees")["properties"]
    assert {"dbh_cm", "tag", "site"} <= set(asked)
    found = features.collection_items("trees", filter="tag = '№ 17' AND dbh_cm > 1")
    assert [f["properties"]["external_id"] for f in found["features"]] == ["17"]
