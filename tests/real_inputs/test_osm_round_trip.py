"""A whole town's trees leave as tags of OpenStreetMap and come back to an empty ground."""

import json

import pytest

from service.outlets.osm_tags import OSM_TREES
from tests.command_line import done

pytestmark = pytest.mark.slow


def tagged(path):
    """The positions and tags of a file, in one order; what a tree is called here is no tag."""
    features = json.loads(path.read_bytes())["features"]
    said = [(one["geometry"]["coordinates"], one["properties"]) for one in features]
    return sorted((at, sorted((k, v) for k, v in tags.items() if k != "tree_id")) for at, tags in said)


@pytest.fixture(scope="module")
def came(inputs, tmp_path_factory):
    """The files of tags before and after, and the answers of two imports of the first."""
    folder = tmp_path_factory.mktemp("osm")
    store, words = folder / "trees.sqlite", ("--layer", OSM_TREES, "--site")
    done("import", inputs / "konstanz" / "KN_Baumkataster_2020.csv", "--site", "town", store=store)
    done("export", folder / "before.geojson", *words, "town", store=store)
    answers = [
        done("import", folder / "before.geojson", "--site", "again", "--json", store=store).json
        for _ in range(2)
    ]
    done("export", folder / "after.geojson", *words, "again", store=store)
    return folder / "before.geojson", folder / "after.geojson", answers


def test_every_tree_comes_back_with_its_tags_and_position(came):
    before, after, _ = came
    assert len(tagged(before)) > 15_000
    differ = [pair for pair in zip(tagged(before), tagged(after), strict=True) if pair[0] != pair[1]]
    assert differ[:3] == []


def test_no_row_is_refused_and_the_second_time_nothing_is_new(came):
    (first, second) = came[2]
    assert first["refused"] == 0
    assert (second["taken"], second["questioned"], second["already_there"]) == (0, 0, first["read"])


def test_girths_are_read_in_metres_by_the_tag(came):
    size = next(guess for guess in came[2][0]["guesses"] if guess["what"] == "size")
    assert size["value"] == "girth in m"
    assert "counts in metres" in size["why"]
