"""What left comes back and changes nothing (definitions R2: files with our own ids are matched by them)."""

import pytest

from layers.symbology import drawn_classes
from service.actors import LOCAL_MANAGER
from service.editions import edition
from service.errors import InvalidRequest
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.outlets.export import FORMATS, export_layer
from service.outlets.geopackage_out import write_layers
from service.outlets.layer_rows import LAYERS
from service.site_files import write_site
from service.view import view_of

READ = ("csv", "geojson", "gpkg", "fgb", "parquet", "kml")  # formats that come in as well
RECORDS = ("trees", "stems", "readings", "observations", "status_events", "places", "areas", "targets")
LIST = """\
Nr;Baumart;Umfang cm;Zustand;Pflege;gemessen am;lon;lat
1;Tilia cordata;101;vital;=2023;3.5.2024;9.17001;47.66001
2;Acer platanoides 'Globosum';88,5;vital;'t Hof;2023;9.17002;47.66002
3;Quercus robur;240 - 184;abgestorben;;;9.17003;47.66003
4;unbekannt;;;"a;b";;;
"""


@pytest.fixture
def site(store, tmp_path):
    path = tmp_path / "list.csv"
    path.write_text(LIST, encoding="utf-8")
    report = import_file(store, path, "park", ImportOptions(size="girth-cm"), LOCAL_MANAGER)
    assert report.taken + report.questioned == 4
    return "park"


def left(store, slug, layer, form, folder):
    """The file that a layer leaves as; a GeoPackage has all layers, of which the others can be named."""
    path = folder / f"out.{form}"
    leaving = edition(store, slug, LOCAL_MANAGER, layer)
    if form != "gpkg":
        export_layer(leaving, form, path)
    elif layer in ("stems", "readings"):
        write_layers([leaving], path, drawn_classes(view_of(store, slug, LOCAL_MANAGER).terms))
    else:
        write_site(store, slug, LOCAL_MANAGER, form, path)
    return path


def same(store, before, report):
    """That an import took and changed nothing, by its report and by what is stored."""
    assert report.already_there == report.read > 0
    assert (report.taken, report.questioned, report.refused) == (0, 0, 0)
    assert all(count == {"new": 0, "changed": 0} for count in report.records.values()), report.records
    after = view_of(store, before.terms.slug, LOCAL_MANAGER)
    assert after.known_at == before.known_at
    for name in RECORDS:
        assert getattr(after.records, name).equals(getattr(before.records, name)), name


@pytest.mark.parametrize("form", READ)
@pytest.mark.parametrize("layer", ["trees", "stems", "readings"])
def test_what_left_comes_back_and_changes_nothing(store, site, layer, form, tmp_path):
    before = view_of(store, site, LOCAL_MANAGER)
    path = left(store, site, layer, form, tmp_path)
    report = import_file(store, path, site, ImportOptions(layer="trees"), LOCAL_MANAGER)
    same(store, before, report)
    assert layer != "trees" or report.not_in_file == []


@pytest.mark.parametrize("form", [form for form in READ if form != "gpkg"])
def test_trees_that_left_as_tags_do_not_come_in_a_second_time(store, site, form, tmp_path):
    before = view_of(store, site, LOCAL_MANAGER)
    path = left(store, site, "osm_trees", form, tmp_path)
    with pytest.raises(InvalidRequest, match="own trees as tags"):
        import_file(store, path, site, ImportOptions(), LOCAL_MANAGER)
    assert view_of(store, site, LOCAL_MANAGER).known_at == before.known_at


@pytest.mark.parametrize("form", FORMATS)
def test_every_layer_of_a_stored_site_leaves_in_every_format(store, site, form, tmp_path):
    rows = {}
    for layer in LAYERS:
        path = tmp_path / f"{layer}.{form}"
        rows[layer] = export_layer(edition(store, site, LOCAL_MANAGER, layer), form, path)
        assert path.stat().st_size > 0 or (form, rows[layer]) == ("geojsonseq", 0)
    view = view_of(store, site, LOCAL_MANAGER)
    expected = {"trees": 4, "stems": 5, "readings": 4, "areas": 0, "figures": len(view.figures)}
    assert {layer: rows[layer] for layer in expected} == expected


WORDS_OF_READINGS = """\
Nr;Baumart;Umfang cm;note;unit;side;version;feature id;bbox;geometry
1;Tilia cordata;101;beside the gate;K 7;north;2;a;9;x
2;Quercus robur;240;=B2;K 8;;3;b;8;
"""


@pytest.mark.parametrize("form", READ)
def test_columns_kept_as_written_come_back_whatever_they_are_called(store, form, tmp_path):
    path = tmp_path / "words.csv"
    path.write_text(WORDS_OF_READINGS, encoding="utf-8")
    import_file(store, path, "words", ImportOptions(), LOCAL_MANAGER)
    before = view_of(store, "words", LOCAL_MANAGER)
    kept = before.records.trees["kept"][0]
    assert (kept["note"], kept["bbox"], kept["geometry"]) == ("beside the gate", "9", "x")
    out = left(store, "words", "trees", form, tmp_path)
    same(store, before, import_file(store, out, "words", ImportOptions(layer="trees"), LOCAL_MANAGER))


OUTLINES = """\
{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"name": "Lawn", "kind": "lawn", "mown": "weekly"}, "geometry":
{"type": "Polygon", "coordinates": [[[9.1, 47.6], [9.1, 47.61], [9.11, 47.61], [9.11, 47.6], [9.1, 47.6]],
[[9.102, 47.602], [9.103, 47.602], [9.103, 47.603], [9.102, 47.602]]]}},
{"type": "Feature", "properties": {"name": "Two", "kind": "lawn"}, "geometry":
{"type": "MultiPolygon", "coordinates": [[[[9.2, 47.6], [9.21, 47.6], [9.21, 47.61], [9.2, 47.6]]],
[[[9.3, 47.6], [9.31, 47.6], [9.31, 47.61], [9.3, 47.6]]]]}}]}
"""
BENCHES = """\
{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"name": "Bench", "kind": "bench"}, "geometry":
{"type": "Point", "coordinates": [9.1, 47.6]}},
{"type": "Feature", "properties": {"name": "Path", "kind": "path"}, "geometry":
{"type": "LineString", "coordinates": [[9.1, 47.6], [9.11, 47.61]]}},
{"type": "Feature", "properties": {"name": "Yard", "kind": "playground"}, "geometry":
{"type": "Polygon", "coordinates": [[[9.2, 47.6], [9.21, 47.6], [9.21, 47.61], [9.2, 47.6]]]}}]}
"""


@pytest.mark.parametrize("form", READ)
@pytest.mark.parametrize(("layer", "text", "rows"), [("areas", OUTLINES, 2), ("targets", BENCHES, 3)])
def test_shapes_that_left_come_back_and_change_nothing(store, layer, text, rows, form, tmp_path):
    path = tmp_path / "ground.geojson"
    path.write_text(text, encoding="utf-8")
    import_file(store, path, "ground", ImportOptions(layer=layer), LOCAL_MANAGER)
    before = view_of(store, "ground", LOCAL_MANAGER)
    assert len(getattr(before.records, layer)) == rows
    out = left(store, "ground", layer, form, tmp_path)
    same(store, before, import_file(store, out, "ground", ImportOptions(layer=layer), LOCAL_MANAGER))


@pytest.mark.parametrize("layer", ["stems", "readings"])
def test_stems_and_readings_of_another_site_make_no_trees(store, site, layer, tmp_path):
    out = left(store, site, layer, "csv", tmp_path)
    with pytest.raises(InvalidRequest, match="whose trees are not known on this site"):
        import_file(store, out, "elsewhere", ImportOptions(), LOCAL_MANAGER)
