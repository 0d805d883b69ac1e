"""The same list in every format gives the same trees, readings and positions, and comes in once."""

import datetime as dt

import pytest

from service.actors import LOCAL_MANAGER
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.view import view_of
from tests.shared_files import ENDINGS, points, write_frame

ROWS = [
    {
        "Baumnr": str(n),
        "Baumart": ("Tilia cordata", "Acer platanoides", "Große Ähre")[n % 3],
        "Umfang_cm": None if n % 5 == 4 else 60.5 + 7 * n,
        "Hoehe_m": float(5 + n % 9),
        "Datum": dt.date(2024, 1 + n % 12, 1 + n),
        "Bemerk": None if n % 2 else f"Nr. {n}: 'schön' & \"alt\"",
        "x": 9.1234567890123 + n / 1e4,
        "y": 47.6543210987654 + n / 3e4,
    }
    for n in range(20)
]
DIGITS = 1e-9  # degrees


def frame(crs=4326):
    return points([dict(row) for row in ROWS]).to_crs(crs)


def write_plain(path):
    """The same list as CSV or GeoJSON."""
    given = frame()
    if path.suffix == ".geojson":
        path.write_text(given.astype({"Datum": str}).to_json(drop_id=True), encoding="utf-8")
    else:
        rows = given.drop(columns="geometry").assign(lon=given.geometry.x, lat=given.geometry.y)
        rows.to_csv(path, index=False)
    return path


def imported(store, path, site, **options):
    return import_file(store, path, site, ImportOptions(**options), LOCAL_MANAGER)


def what_is_there(store, site):
    """Trees by tag, and readings by tag, without ids and times."""
    view = view_of(store, site, LOCAL_MANAGER)
    trees = view.records.trees.set_index("tag").sort_index()
    stems = view.records.stems.merge(view.records.trees[["tree_id", "tag"]], on="tree_id")
    readings = (
        view.records.readings.merge(stems[["stem_id", "tag"]], on="stem_id").set_index("tag").sort_index()
    )
    words = ["scientific_name", "name_as_written", "place", "common_name"]
    said = readings[["quantity", "unit", "value", "measured_on", "date_precision", "instrument"]]
    return trees[words], trees[["lon_deg", "lat_deg"]], said


@pytest.fixture
def as_csv(store, tmp_path):
    imported(store, write_plain(tmp_path / "plain.csv"), "plain")
    return what_is_there(store, "plain")


@pytest.mark.parametrize("ending", [".geojson", *ENDINGS])
def test_a_list_of_each_format_gives_the_trees_of_the_same_list_as_csv(store, tmp_path, as_csv, ending):
    path = tmp_path / f"other{ending}"
    write_plain(path) if ending == ".geojson" else write_frame(frame(), path)
    report = imported(store, path, "other")
    assert (report.read, report.refused, report.records["trees"]["new"]) == (20, 0, 20)
    words, places, readings = what_is_there(store, "other")
    assert words.equals(as_csv[0])
    assert readings.equals(as_csv[2])
    assert len(readings) == 16
    assert (places - as_csv[1]).abs().max().max() <= DIGITS
    again = imported(store, path, "other")
    assert (again.already_there, again.taken, again.change_no) == (20, 0, None)


@pytest.mark.parametrize("ending", [".fgb", ".zip", ".parquet"])
@pytest.mark.parametrize("code", [25832, 2056, 3857])
def test_a_list_in_another_system_stands_in_the_same_places(store, tmp_path, as_csv, ending, code):
    imported(store, write_frame(frame(code), tmp_path / f"other{ending}"), "other")
    _, places, _ = what_is_there(store, "other")
    metre = 1e-5 if code == 2056 else DIGITS  # between datums the libraries may choose other ways
    assert (places - as_csv[1]).abs().max().max() <= metre


def test_rows_of_one_format_are_the_rows_of_another(store, tmp_path):
    imported(store, write_frame(frame(), tmp_path / "list.fgb"), "one")
    report = imported(store, write_frame(frame(), tmp_path / "list.parquet"), "one")
    assert (report.already_there, report.taken) == (20, 0)
