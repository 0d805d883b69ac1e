"""Trees as tags of OpenStreetMap: what leaves, in which units, and that it comes back.

Units and examples: OpenStreetMap wiki, Key:circumference (metres; 95 cm of DBH are 2.98), Key:height and
Key:diameter_crown (metres), Date specification (YYYY, YYYY-MM, YYYY-MM-DD).
"""

import csv
import io
import json
import math
from dataclasses import replace

import pytest

from layers import columns
from service.errors import InvalidRequest, NotAcceptable
from service.outlets.export import export_layer, layer_pieces
from service.outlets.exported_rows import EXPORTED
from service.outlets.held_layer import HeldLayer
from service.outlets.layer_rows import LAYERS
from service.outlets.osm_tags import OSM_TREES, osm_trees
from tests.builders import TREE_ID, frame_of, make_reading, make_records, make_site, make_stem, make_tree, row
from tests.command_line import done
from tests.outlet_view import OTHER_TREE, Stems, layer_of, leaving_tree, make_view
from tests.web_site import SLUG, make_web_site

STEM = make_stem()["stem_id"]


def seen(*, tree=None, record=None, stems=((STEM, 1, 30.0),), reading=None):
    """A site with one tree: what leaves of it, what was said of it, its trunks as (id, number, diameter)."""
    records = make_records(
        trees=[make_tree(**(record or {}))],
        stems=[make_stem(stem_id=stem_id, number=number, fid=number) for stem_id, number, _ in stems],
        readings=[make_reading(**(reading or {}))],
    )
    state = [
        row("stem_state", stem_id=stem_id, tree_id=TREE_ID, status="living", dbh_cm=dbh,
            reading=make_reading()["reading_id"], measured_on="2024-05-15")
        for stem_id, _, dbh in stems
    ]  # fmt: skip
    trees = frame_of("trees", [leaving_tree(**{"genus": "Tilia", **(tree or {})})])
    return make_view(trees=trees, records=records, state=Stems(frame_of("stem_state", state)))


def features(view):
    return json.loads(b"".join(layer_pieces(layer_of(view, OSM_TREES), "geojson")))["features"]


def tags(**changes):
    """The tags of that one tree."""
    return features(seen(**changes))[0]["properties"]


def test_a_tree_leaves_with_its_tags_and_nothing_else():
    tree = {"height_m": 12.04, "crown_diameter_m": 6.5, "planted_on": "1985-03-20"}
    kept = {"kept": {"denotation": "avenue", "leaf_type": "broadleaved", "Pflege": "2023"}}
    assert features(seen(tree=tree, record=kept)) == [
        {
            "type": "Feature",
            "id": 1,
            "geometry": {"type": "Point", "coordinates": [9.17, 47.66]},
            "properties": {
                "tree_id": TREE_ID,
                "natural": "tree",
                "ref": "T1",
                "species": "Tilia cordata",
                "genus": "Tilia",
                "circumference": "0.94",
                "height": "12",
                "diameter_crown": "6.5",
                "leaf_type": "broadleaved",
                "denotation": "avenue",
                "start_date": "1985-03-20",
                "check_date:circumference": "2024-05-15",
            },
        }
    ]


def test_what_nobody_measured_has_no_tag():
    assert set(tags(stems=((STEM, 1, math.nan),))) == {"tree_id", "natural", "ref", "species", "genus"}


@pytest.mark.parametrize(
    ("dbh_cm", "girth_m"), [(95.0, "2.98"), (100 / math.pi, "1"), (2.0, "0.063"), (400.0, "12.57")]
)
def test_a_circumference_is_pi_times_the_diameter_in_metres(dbh_cm, girth_m):
    assert tags(stems=((STEM, 1, dbh_cm),))["circumference"] == girth_m


def test_several_trunks_stand_in_the_order_of_their_numbers_if_all_have_a_size():
    both = (("b", 2, 30.0), (STEM, 1, 40.0))
    assert tags(stems=both)["circumference"] == "1.26;0.94"
    assert "circumference" not in tags(stems=(*both, ("c", 3, math.nan)))


@pytest.mark.parametrize("status", ["living", "unknown"])
def test_living_trees_leave(status):
    assert len(features(seen(tree={"status": status}))) == 1


@pytest.mark.parametrize("changes", [{"status": "dead"}, {"status": "removed"}, {"lon_deg": math.nan}])
def test_dead_and_removed_trees_and_those_without_a_position_stay(changes):
    assert features(seen(tree=changes)) == []


@pytest.mark.parametrize(
    ("tree", "record", "said"),
    [
        ({"scientific_name": "Tilia spp."}, {}, {"genus": "Tilia"}),
        ({}, {"name_sure": "doubtful", "name_as_written": "Tilja cordata"}, {}),
        ({"scientific_name": None, "genus": None}, {"name_sure": "unknown", "name_as_written": "Linde"}, {}),
        (
            {},
            {"name_as_written": "Tilia cordata 'Greenspire'"},
            {"species": "Tilia cordata", "genus": "Tilia", "taxon:cultivar": "Greenspire"},
        ),
    ],
)
def test_only_names_that_are_sure_leave(tree, record, said):
    found = tags(tree=tree, record=record)
    assert {key: found[key] for key in ("species", "genus", "taxon:cultivar") if key in found} == said


@pytest.mark.parametrize(
    ("day", "written"),
    [
        ("1990-07-02", "1990"),
        ("1990-03-15", "1990-03"),
        ("1990-02-14", "1990-02"),
        ("1990-02-15", "1990-02-15"),
        ("1990-03-14", "1990-03-14"),
        (None, None),
    ],
)
def test_a_day_of_planting_is_no_more_exact_than_it_may_have_been_said(day, written):
    """The middle day stands for a month or a year (definitions R4)."""
    assert tags(tree={"planted_on": day}).get("start_date") == written


@pytest.mark.parametrize(
    ("precision", "written"), [("day", "2024-05-15"), ("month", "2024-05"), ("year", "2024")]
)
def test_a_day_of_measuring_is_as_exact_as_it_was_said(precision, written):
    assert tags(reading={"date_precision": precision})["check_date:circumference"] == written


@pytest.mark.parametrize("form", ["geojson", "csv"])
def test_no_sign_circumstance_or_caution_goes_along(form):
    view = seen(tree={"signs": ["dead branch"], "circumstances": ["near a path"]})
    text = b"".join(layer_pieces(layer_of(view, OSM_TREES), form)).decode()
    assert "dead branch" not in text
    assert "near a path" not in text
    assert "caution" not in text


def test_in_csv_the_position_stands_in_columns_of_its_own():
    text = b"".join(layer_pieces(layer_of(seen(), OSM_TREES), "csv")).decode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert list(rows[0]) == columns.names(OSM_TREES)
    assert {key: cell for key, cell in rows[0].items() if cell} == {
        **tags(), "lon_deg": "9.17", "lat_deg": "47.66",
    }  # fmt: skip


def test_every_tag_leaves_as_text_by_any_writer():
    facts = HeldLayer(osm_trees(seen())).facts
    assert {column.name: column.kind for column in facts.columns} == {
        name: "float" if name in ("lon_deg", "lat_deg") else "text" for name in columns.names(OSM_TREES)
    }
    assert all(column.own for column in facts.columns)


def test_a_site_without_a_place_on_earth_has_no_tags_to_give():
    view = replace(seen(), terms=make_site(frame="local"))
    with pytest.raises(InvalidRequest, match="export the layer trees"):
        layer_of(view, OSM_TREES)


def test_tags_are_a_file_of_their_own_and_no_part_of_a_snapshot(tmp_path):
    assert OSM_TREES in EXPORTED
    assert OSM_TREES not in LAYERS
    with pytest.raises(NotAcceptable, match="geojson"):
        export_layer(layer_of(make_view(), OSM_TREES), "gpkg", tmp_path / "x.gpkg")


def test_two_trees_keep_their_own_tags():
    records = make_records(
        trees=[make_tree(), make_tree(tree_id=OTHER_TREE, fid=2, tag="T2", kept={"denotation": "park"})],
        stems=[make_stem(tree_id=OTHER_TREE)],
        readings=[],
    )
    stem = row("stem_state", stem_id=STEM, tree_id=OTHER_TREE, status="living", dbh_cm=40.0)
    trees = frame_of("trees", [leaving_tree(), leaving_tree(tree_id=OTHER_TREE, fid=2, tag="T2")])
    found = features(make_view(trees=trees, records=records, state=Stems(frame_of("stem_state", [stem]))))
    said = [[f["properties"].get(k) for k in ("ref", "circumference", "denotation")] for f in found]
    assert said == [["T1", None, None], ["T2", "1.26", "park"]]


TAGGED = (
    "@id\t@type\t@lat\t@lon\tnatural\tref\tspecies\tgenus\ttaxon:cultivar\tcircumference\theight\tdiameter_crown"
    "\tdenotation\tleaf_type\tstart_date\tsurvey:date\n"
    "1\tnode\t47.66123456\t9.17123456\ttree\t=12\tTilia cordata\tTilia\tGreenspire\t1.23\t14.5\t8\tavenue"
    "\tbroadleaved\t1985\t2020-05-03\n"
    "2\tnode\t47.662\t9.172\ttree\tÄ 7\t\tAcer\t\t1.2;0.81\t\t\t\t\t1999-03\t2020-05\n"
    "3\tnode\t47.663\t9.173\ttree\t\tPinus sylvestris\t\t\t600 mm\t\t\tnatural_monument\tneedleleaved\t\t\n"
    "4\tnode\t47.664\t9.174\ttree\t\t\t\t\t\t\t\t\t\t\t\n"
    "5\tnode\t47.665\t9.175\ttree_stump\t\t\t\t\t\t\t\t\t\t\t\n"
)


@pytest.mark.parametrize("form", ["geojson", "csv"])
def test_tags_that_left_come_back_to_an_empty_ground_as_they_were(tmp_path, form):
    store, other = tmp_path / "a.sqlite", tmp_path / "b.sqlite"
    (tmp_path / "osm.csv").write_text(TAGGED, encoding="utf-8")
    counts = []
    for _ in range(2):
        came = done("import", tmp_path / "osm.csv", "--site", "park", "--json", store=store).json
        counts.append([came[key] for key in ("taken", "already_there", "questioned", "refused")])
    assert counts == [[5, 0, 0, 0], [0, 5, 0, 0]]
    out, again = tmp_path / f"out.{form}", tmp_path / f"again.{form}"
    words = ("--site", "park", "--layer", OSM_TREES, "--format", form)
    done("export", out, *words, store=store)
    came = done("import", out, "--site", "park", "--json", store=other).json
    assert (came["taken"], came["questioned"], came["refused"]) == (4, 0, 0)
    done("export", again, *words, store=other)
    assert tagged(again) == tagged(out)
    assert [one.get("circumference") for one in tagged(out)] == ["1.23", "1.2;0.81", "0.6", None]
    assert [one.get("start_date") for one in tagged(out)] == ["1985", "1999-03", None, None]


def tagged(path):
    """The tags and positions of a file; what a tree is called here is no tag."""
    text = path.read_bytes().decode()
    if path.suffix == ".csv":
        rows = [{k: v for k, v in one.items() if v} for one in csv.DictReader(io.StringIO(text))]
    else:
        listed = json.loads(text)["features"]
        rows = [one["properties"] | {"at": one["geometry"]["coordinates"]} for one in listed]
    return [{name: value for name, value in row.items() if name != "tree_id"} for row in rows]


def test_tags_have_an_address_of_their_own(client, store, tmp_path):
    make_web_site(store, tmp_path)
    answer = client.get(f"/sites/{SLUG}/layers/{OSM_TREES}.geojson")
    assert (answer.status_code, answer.content_type) == (200, "application/geo+json")
    assert {one["properties"]["natural"] for one in json.loads(answer.data)["features"]} == {"tree"}
    assert client.get(f"/sites/{SLUG}/layers/{OSM_TREES}.gpkg").status_code == 406
