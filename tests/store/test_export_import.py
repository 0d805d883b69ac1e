"""What left comes back and changes nothing (definitions R2: files with our own ids are matched by them)."""

import pytest

from service.actors import LOCAL_MANAGER
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
