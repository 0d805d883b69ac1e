"""What left comes back and changes nothing (definitions R2: files with our own ids are matched by them)."""

import pytest

from service.actors import LOCAL_MANAGER
from service.errors import InvalidRequest
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.outlets.export import FORMATS, LAYERS, export_layer
from service.view import view_of

LIST = """\
Nr;Baumart;Umfang cm;Zustand;Pflege;lon;lat
1;Tilia cordata;101;vital;=2023;9.17001;47.66001
2;Acer platanoides 'Globosum';88,5;vital;'t Hof;9.17002;47.66002
3;Quercus robur;240 - 184;abgestorben;;9.17003;47.66003
4;unbekannt;;;"a;b";;
"""


@pytest.fixture
def site(store, tmp_path):
    path = tmp_path / "list.csv"
    path.write_text(LIST, encoding="utf-8")
    report = import_file(store, path, "park", ImportOptions(size="girth-cm"), LOCAL_MANAGER)
    assert report.taken + report.questioned == 4
    return "park"


@pytest.mark.parametrize("form", ["csv", "geojson"])
@pytest.mark.parametrize("layer", ["trees", "readings"])
def test_what_left_comes_back_and_changes_nothing(store, site, layer, form, tmp_path):
    before = view_of(store, site, LOCAL_MANAGER)
    path = tmp_path / f"out.{form}"
    export_layer(before, layer, form, path)
    report = import_file(store, path, site, ImportOptions(layer="trees"), LOCAL_MANAGER)
    assert report.already_there == report.read > 0
    assert layer != "trees" or report.not_in_file == []
    after = view_of(store, site, LOCAL_MANAGER)
    assert len(after.records.readings) == len(before.records.readings)
    for name in ("trees", "stems", "readings", "observations", "status_events"):
        assert getattr(after.records, name).equals(getattr(before.records, name)), name


@pytest.mark.parametrize("form", FORMATS)
def test_every_layer_of_a_stored_site_leaves_in_every_format(store, site, form, tmp_path):
    view = view_of(store, site, LOCAL_MANAGER)
    rows = {layer: export_layer(view, layer, form, tmp_path / f"{layer}.{form}") for layer in LAYERS}
    if form != "gpkg":
        expected = {"trees": 4, "stems": 5, "readings": 4, "areas": 0, "figures": len(view.figures)}
        assert {layer: rows[layer] for layer in expected} == expected
    assert all((tmp_path / f"{layer}.{form}").stat().st_size > 0 for layer in LAYERS)


WORDS_OF_READINGS = """\
Nr;Baumart;Umfang cm;note;unit;side;version;feature id
1;Tilia cordata;101;beside the gate;K 7;north;2;a
2;Quercus robur;240;=B2;K 8;;3;b
"""


@pytest.mark.parametrize("form", FORMATS)
def test_columns_kept_as_written_come_back_whatever_they_are_called(store, form, tmp_path):
    path = tmp_path / "words.csv"
    path.write_text(WORDS_OF_READINGS, encoding="utf-8")
    import_file(store, path, "words", ImportOptions(), LOCAL_MANAGER)
    before = view_of(store, "words", LOCAL_MANAGER)
    assert before.records.trees["kept"][0]["note"] == "beside the gate"
    out = tmp_path / f"out.{form}"
    export_layer(before, "trees", form, out)
    report = import_file(store, out, "words", ImportOptions(layer="trees"), LOCAL_MANAGER)
    assert (report.already_there, report.read) == (2, 2)
    assert view_of(store, "words", LOCAL_MANAGER).records.trees.equals(before.records.trees)


OUTLINES = """\
{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"name": "Lawn", "kind": "lawn", "mown": "weekly"}, "geometry":
{"type": "Polygon", "coordinates": [[[9.1, 47.6], [9.1, 47.61], [9.11, 47.61], [9.11, 47.6], [9.1, 47.6]],
[[9.102, 47.602], [9.103, 47.602], [9.103, 47.603], [9.102, 47.602]]]}},
{"type": "Feature", "properties": {"name": "Two", "kind": "lawn"}, "geometry":
{"type": "MultiPolygon", "coordinates": [[[[9.2, 47.6], [9.21, 47.6], [9.21, 47.61], [9.2, 47.6]]],
[[[9.3, 47.6], [9.31, 47.6], [9.31, 47.61], [9.3, 47.6]]]]}}]}
"""


@pytest.mark.parametrize("form", FORMATS)
def test_areas_that_left_come_back_and_change_nothing(store, form, tmp_path):
    path = tmp_path / "ground.geojson"
    path.write_text(OUTLINES, encoding="utf-8")
    import_file(store, path, "ground", ImportOptions(layer="areas"), LOCAL_MANAGER)
    before = view_of(store, "ground", LOCAL_MANAGER)
    out = tmp_path / f"out.{form}"
    export_layer(before, "areas", form, out)
    report = import_file(store, out, "ground", ImportOptions(layer="areas"), LOCAL_MANAGER)
    assert (report.already_there, report.read) == (2, 2)
    assert view_of(store, "ground", LOCAL_MANAGER).known_at == before.known_at


@pytest.mark.parametrize("layer", ["stems", "readings"])
def test_stems_and_readings_of_another_site_make_no_trees(store, site, layer, tmp_path):
    out = tmp_path / "out.csv"
    export_layer(view_of(store, site, LOCAL_MANAGER), layer, "csv", out)
    with pytest.raises(InvalidRequest, match="whose trees are not known on this site"):
        import_file(store, out, "elsewhere", ImportOptions(), LOCAL_MANAGER)
