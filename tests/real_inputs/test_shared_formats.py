"""The real lists turned into the formats of other offices by GDAL and pyarrow: the same figures as from CSV.

Truths are those of the folder's ORIGIN.md, worked out there without this program.
"""

import geopandas
import pandas as pd
import pyproj
import pytest

from tests.command_line import done, figure
from tests.real_inputs.test_bars import bring, guessed, printed
from tests.shared_files import pack, write_frame

pytestmark = [  # a shapefile cuts headers at ten characters and has no column of times
    pytest.mark.filterwarnings("ignore:Normalized/laundered field name"),
    pytest.mark.filterwarnings("ignore:Field .* created as String field"),
]


def slowly(*endings):
    """Formats that are tried only where there is time for it."""
    return [pytest.param(ending, marks=pytest.mark.slow) for ending in endings]


def table(path, **options):
    """A list as text, as it is written; empty cells are missing."""
    return pd.read_csv(path, dtype=str, encoding="utf-8-sig", **options)


def placed(frame, x, y, crs):
    xs, ys = (pd.to_numeric(frame[name]) for name in (x, y))
    points = geopandas.GeoSeries(geopandas.points_from_xy(xs, ys, crs=crs), index=frame.index)
    return geopandas.GeoDataFrame(frame, geometry=points.where(xs.notna() & ys.notna()))


def brought(folder, frame, site, ending, *options):
    """A frame brought in as the file of that ending: store and report; a second run takes nothing."""
    store, path = folder / "store.sqlite", write_frame(frame, folder / f"{site}{ending}")
    report = bring(store, path, site, *options)
    again = bring(store, path, site, *options)
    assert (again["already_there"], again["taken"], again["change_no"]) == (report["read"], 0, None)
    return store, report


@pytest.mark.parametrize("ending", [".fgb", ".zip", *slowly(".parquet", ".kml")])
def test_konstanz_has_its_trees_sizes_and_basal_area_from_each_format(inputs, tmp_path, ending):
    frame = placed(table(inputs / "konstanz" / "KN_Baumkataster_2020.csv"), "X", "Y", 4326)
    store, report = brought(tmp_path, frame, "konstanz", ending)
    assert (report["records"]["trees"]["new"], report["refused"]) == (15_711, 0)
    assert guessed(report, "size")["value"] == "girth in cm"
    whole = figure(store, "konstanz")
    assert (whole["trees"], whole["unmeasured_trees"], whole["measured_stems"]) == (15_711, 10, 15_701)
    assert whole["basal_area_m2"] == printed("2474.2303")
    assert whole["qmd_cm"] == printed("44.793")


@pytest.mark.parametrize("ending", [".kml", *slowly(".fgb", ".zip", ".parquet")])
def test_vancouver_has_its_figures_from_trees_and_areas_of_each_format(inputs, tmp_path, ending):
    source = inputs / "vancouver"
    trees = table(source / "vancouver_3_neighbourhoods.csv")
    lon, lat = (
        next(name for name in trees.columns if name.lower().startswith(word)) for word in ("lon", "lat")
    )
    store, report = brought(tmp_path, placed(trees, lon, lat, 4326), "vancouver", ending)
    assert guessed(report, "size")["value"] == "diameter in inches"
    areas = geopandas.read_file(source / "local-area-boundary.geojson")[["name", "geometry"]]
    path = write_frame(areas, tmp_path / f"areas{ending}")
    assert bring(store, path, "vancouver", "--layer", "areas")["records"]["areas"]["new"] == 22
    assert figure(store, "vancouver")["trees_without_position"] == 14_599 - 12_651
    area = figure(store, "vancouver", "--area", "Kerrisdale")
    assert (area["trees"], area["measured_stems"]) == (6_367, 6_366)
    assert area["area_ha"] == printed("661.4176")
    assert area["basal_area_m2_per_ha"] == printed("1.295150")


@pytest.mark.parametrize("ending", [".parquet", *slowly(".fgb", ".zip")])
def test_alessandria_has_its_trees_and_no_invented_size_from_each_format(inputs, tmp_path, ending):
    list_ = geopandas.read_file(f"zip://{inputs / 'alessandria' / 'alberi.gpkg.zip'}")
    store, report = brought(tmp_path, list_, "alessandria", ending)
    assert guessed(report, "crs")["value"] == "EPSG:3003"
    whole = figure(store, "alessandria")
    assert (whole["trees"], whole["dead_trees"], whole["measured_stems"]) == (14_245, 132, 0)
    assert report["records"]["places"]["new"] == 1_087 + 1_012 + 8


@pytest.mark.parametrize("name", ["boundary", "research"])
def test_macleish_its_own_shapefiles_come_in_as_areas(inputs, tmp_path, name):
    """Shapefiles that were made elsewhere, as they are."""
    source = inputs / "macleish"
    parts = {path.name: path.read_bytes() for path in source.glob(f"{name}.*")}
    truth = geopandas.read_file(source / f"{name}.shp")
    store = tmp_path / "store.sqlite"
    report = bring(store, pack(tmp_path / f"{name}.zip", parts), "macleish", "--layer", "areas")
    assert report["records"]["areas"]["new"] == len(truth)
    rows = done("figures", "--site", "macleish", "--json", store=store).json
    here = [row["area_ha"] for row in rows if row["layer"] not in (None, "places")]
    globe = pyproj.Geod(ellps="WGS84")
    there = [abs(globe.geometry_area_perimeter(shape)[0]) / 10_000 for shape in truth.geometry]
    assert sorted(here) == pytest.approx(sorted(there), rel=1e-6)
