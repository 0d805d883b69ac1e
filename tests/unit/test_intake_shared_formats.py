"""FlatGeobuf, zipped shapefile, GeoParquet and KML, written by other libraries, read back value for value."""

import datetime as dt
import json
import zipfile

import geopandas
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pyproj
import pytest
import shapely

from service.errors import Ask, InvalidRequest, Unreadable
from service.intake.understand import read_table
from tests.intake_builders import guess_of
from tests.shared_files import ENDINGS, PLACEMARK, kml_of, pack, parts_of, points, write_frame

TREES = (
    {"nr": 1, "baumart": "Größe: Ähre", "umfang_cm": 120.5, "stamm": 1, "datum": dt.date(2024, 2, 29)},
    {"nr": 2, "baumart": "Acer ×freemanii", "umfang_cm": None, "stamm": 2, "datum": None},
    {"nr": 3, "baumart": None, "umfang_cm": 0.1, "stamm": 2**31 - 1, "datum": dt.date(1999, 12, 31)},
    {"nr": 4, "baumart": "日本 🌳", "umfang_cm": 1e-7, "stamm": -5, "datum": dt.date(2024, 1, 1)},
)
WRITTEN = {
    "nr": ["1", "2", "3", "4"],
    "baumart": ["Größe: Ähre", "Acer ×freemanii", "", "日本 🌳"],
    "umfang_cm": ["120.5", "", "0.1", "1e-07"],
    "stamm": ["1", "2", "2147483647", "-5"],
    "datum": ["2024-02-29", "", "1999-12-31", "2024-01-01"],
}
X, Y = 9.123456789012345, 47.65432109876543
GRID = pyproj.Transformer.from_crs(4326, 25832, always_xy=True)


def trees(crs=4326, x=X, y=Y):
    rows = [{**row, "x": x + place / 1000, "y": y} for place, row in enumerate(TREES)]
    return points(rows, crs)


def values(table):
    return dict(zip(table.headers, table.columns, strict=True))


@pytest.mark.parametrize("ending", [*ENDINGS, ".geoparquet"])
def test_every_value_and_position_comes_as_it_was_written(tmp_path, ending):
    table = read_table(write_frame(trees(), tmp_path / f"Bäume{ending}"))
    assert values(table) == WRITTEN
    assert (table.faults, table.left_out, table.rows) == ({}, {}, [1, 2, 3, 4])
    assert table.crs == "EPSG:4326"
    digits = 1e-12 if ending == ".kml" else 0  # GDAL writes 15 digits to KML
    for place, shape in enumerate(table.geometry):
        assert (shape.x, shape.y) == pytest.approx((X + place / 1000, Y), abs=digits, rel=0)
    assert table.layer_name == "Bäume"


@pytest.mark.parametrize("ending", [".fgb", ".zip", ".parquet"])
@pytest.mark.parametrize(
    ("code", "x", "y"),
    [
        (25832, 500_000.25, 5_280_000.75),
        (2056, 2_700_000.5, 1_250_000.5),
        (3003, 1_465_000.0, 4_973_000.0),
        (27700, 530_000.0, 180_000.0),
        (4258, 9.1, 47.6),
    ],
)
def test_the_system_that_a_file_names_is_used(tmp_path, ending, code, x, y):
    table = read_table(write_frame(trees(code, x, y), tmp_path / f"list{ending}"))
    assert table.crs == f"EPSG:{code}"
    assert guess_of(table, "crs").why.startswith("The file names it: ")
    assert (table.geometry[0].x, table.geometry[0].y) == (x, y)


@pytest.mark.parametrize("ending", [".fgb", ".zip", ".parquet"])
def test_a_system_without_a_code_is_said_and_not_used(tmp_path, ending):
    odd = pyproj.CRS.from_proj4("+proj=laea +lat_0=47.123 +lon_0=9.456 +ellps=bessel +units=m")
    table = read_table(write_frame(trees(odd, 10, 20), tmp_path / f"list{ending}"))
    assert table.crs is None
    assert guess_of(table, "crs").value == "not as the file names it"


@pytest.mark.parametrize("ending", [".fgb", ".zip"])
@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_file_without_a_system_says_none(tmp_path, ending):
    table = read_table(write_frame(trees(None, 10, 20), tmp_path / f"list{ending}"))
    assert table.crs is None
    assert [guess.what for guess in table.guesses if guess.what == "crs"] == []


def test_geoparquet_without_a_word_is_wgs84_and_with_null_unknown(tmp_path):
    frame = trees().drop(columns="datum")
    for said, crs in (({}, "EPSG:4326"), ({"crs": None}, None)):
        geo = {
            "version": "1.1.0",
            "primary_column": "geometry",
            "columns": {"geometry": {"encoding": "WKB", "geometry_types": [], **said}},
        }
        plain = pa.table({"nr": [1], "geometry": [frame.geometry[0].wkb]})
        pq.write_table(
            plain.replace_schema_metadata({"geo": json.dumps(geo)}),
            tmp_path / "a.parquet",
        )
        table = read_table(tmp_path / "a.parquet")
        assert table.crs == crs
        assert table.geometry[0].equals(frame.geometry[0])


SHAPES = {
    "POLYGON with a hole": shapely.Polygon(
        [(0, 0), (0, 10), (10, 10), (10, 0)], [[(2, 2), (4, 2), (4, 4), (2, 4)]]
    ),
    "two polygons, one with a hole": shapely.MultiPolygon(
        [
            shapely.Polygon([(0, 0), (0, 10), (10, 10), (10, 0)], [[(2, 2), (4, 2), (4, 4), (2, 4)]]),
            shapely.Polygon([(20, 20), (20, 30), (30, 30)]),
        ]
    ),
    "a line": shapely.LineString([(0, 0), (1.5, 2.5), (3, 3)]),
    "two lines": shapely.MultiLineString([[(0, 0), (1, 1)], [(5, 5), (6, 6), (7, 5)]]),
    "two points": shapely.MultiPoint([(0, 0), (1.25, 2.5)]),
    "a point with a height": shapely.Point(1, 2, 345),
}


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("name", SHAPES)
def test_every_kind_of_shape_comes_as_it_was_drawn(tmp_path, ending, name):
    shape = SHAPES[name]
    frame = geopandas.GeoDataFrame({"name": ["A"]}, geometry=[shape], crs=4326)
    table = read_table(write_frame(frame, tmp_path / f"shapes{ending}"))
    assert table.faults == {}
    assert table.geometry[0].geom_type == shape.geom_type
    assert table.geometry[0].equals(shapely.force_2d(shape))
    assert not table.geometry[0].has_z


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_row_without_a_shape_stays_a_row(tmp_path, ending):
    frame = trees()
    frame.loc[1, "geometry"] = None
    table = read_table(write_frame(frame, tmp_path / f"list{ending}"))
    assert [shape is None for shape in table.geometry] == [False, True, False, False]
    assert values(table) == WRITTEN


@pytest.mark.parametrize("ending", [".zip", ".parquet", ".fgb"])
def test_empty_shapes_are_missing(tmp_path, ending):
    frame = trees()[:2]
    frame.loc[1, "geometry"] = shapely.Point()
    assert read_table(write_frame(frame, tmp_path / f"list{ending}")).geometry[1] is None


def test_flatgeobuf_with_and_without_its_index_gives_the_same_rows(tmp_path):
    rows = [{"nr": n, "x": 9 + n / 500, "y": 47 + (n * 7 % 100) / 100} for n in range(300)]
    for count in (1, 2, 16, 17, 256, 257, 300):
        frame = points([dict(row) for row in rows[:count]])
        found = []
        for index in ("YES", "NO"):
            table = read_table(write_frame(frame, tmp_path / f"{count}{index}.fgb", SPATIAL_INDEX=index))
            found.append({(nr, s.x, s.y) for nr, s in zip(table.column("nr"), table.geometry, strict=True)})
        assert found[0] == found[1]
        assert len(found[0]) == count


def test_flatgeobuf_knows_all_kinds_of_columns(tmp_path):
    frame = geopandas.GeoDataFrame(
        {
            "yes": [True, False],
            "small": pd.array([-7, 8], dtype="int16"),
            "large": [2**53 + 1, -(2**62)],
            "single": pd.array([1.1, 2.5], dtype="float32"),
            "double": [0.1 + 0.2, float("nan")],
            "at": pd.to_datetime(["2024-05-06T07:08:09", None]),
        },
        geometry=[shapely.Point(9, 47)] * 2,
        crs=4326,
    )
    table = read_table(write_frame(frame, tmp_path / "all.fgb"))
    assert values(table) == {
        "yes": ["true", "false"],
        "small": ["-7", "8"],
        "large": ["9007199254740993", "-4611686018427387904"],
        "single": ["1.1", "2.5"],
        "double": ["0.30000000000000004", ""],
        "at": ["2024-05-06T07:08:09", ""],
    }


def test_geoparquet_knows_all_kinds_of_columns(tmp_path):
    columns = {
        "dictionary": pa.array(["Tilia", None]).dictionary_encode(),
        "single": pa.array([1.1, None], pa.float32()),
        "midnight": pa.array(["2024-05-06", None]).cast(pa.timestamp("ms")),
        "berlin": pa.array(["2024-05-06T22:30Z", None]).cast(pa.timestamp("ns", "Europe/Berlin")),
        "nothing": pa.nulls(2),
        "decimal": pa.array([12.5, None]).cast(pa.decimal128(10, 2)),
        "list": pa.array([["a", None], None]),
        "nested.name": pa.array([{"a": 1}, None]),
        "nested": pa.array([1, 2]),
        "picture": pa.array([b"\x89PNG", None]),
    }
    pq.write_table(pa.table(columns), tmp_path / "all.parquet")
    table = read_table(tmp_path / "all.parquet")
    assert values(table) == {
        "dictionary": ["Tilia", ""],
        "single": ["1.1", ""],
        "midnight": ["2024-05-06", ""],
        "berlin": ["2024-05-07T00:30:00+02:00", ""],
        "nothing": ["", ""],
        "decimal": ["12.50", ""],
        "list": ['["a",null]', ""],
        "nested.name": ['{"a":1}', ""],
        "nested": ["1", "2"],
    }
    assert table.left_out == {"picture": "It holds pictures or other binary data."}
    assert table.geometry is None


@pytest.mark.parametrize("encoding", ["WKB", "geoarrow"])
@pytest.mark.parametrize("name", SHAPES)
def test_geoparquet_is_read_in_both_encodings_and_without_its_box(tmp_path, encoding, name):
    frame = geopandas.GeoDataFrame({"name": ["A"]}, geometry=[SHAPES[name]], crs=25832)
    frame.to_parquet(
        tmp_path / "a.parquet", geometry_encoding=encoding, schema_version="1.1.0", write_covering_bbox=True
    )
    table = read_table(tmp_path / "a.parquet")
    assert table.geometry[0].equals(shapely.force_2d(SHAPES[name]))
    assert (table.headers, list(table.left_out)) == (["name"], ["bbox"])


# --- shapefiles -------------------------------------------------------------------------------------------


def shapefile(tmp_path, frame, *, without=(), **options):
    shapes = tmp_path / "made" / "Bäume.shp"
    write_frame(frame, shapes.with_suffix(".zip"), **options)
    return {part.suffix: part.read_bytes() for part in parts_of(shapes) if part.suffix not in without}


def packed(tmp_path, parts, name="Bäume"):
    return pack(tmp_path / "out.zip", {f"{name}{ending}": content for ending, content in parts.items()})


UMLAUTS = [{"baumart": "Bäume", "x": 9, "y": 47}, {"baumart": "Größe", "x": 9, "y": 47}]


@pytest.mark.parametrize(
    ("encoding", "page"),
    [("UTF-8", "UTF-8"), ("ISO-8859-1", "ISO8859-1"), ("cp1252", "CP1252"), ("cp850", "CP850")],
)
def test_a_shapefile_is_in_the_code_page_that_it_names(tmp_path, encoding, page):
    parts = shapefile(tmp_path, points([dict(row) for row in UMLAUTS]), encoding=encoding)
    table = read_table(packed(tmp_path, parts))
    assert table.column("baumart") == ["Bäume", "Größe"]
    assert guess_of(table, "encoding").value == page


@pytest.mark.parametrize("encoding", ["UTF-8", "cp1252", "cp850"])
def test_a_shapefile_that_names_no_code_page_is_read_by_its_letters(tmp_path, encoding):
    parts = shapefile(tmp_path, points([dict(row) for row in UMLAUTS]), encoding=encoding)
    del parts[".cpg"]
    dbf = bytearray(parts[".dbf"])
    dbf[29] = 0
    table = read_table(packed(tmp_path, {**parts, ".dbf": bytes(dbf)}))
    assert table.column("baumart") == ["Bäume", "Größe"]


def test_a_shapefile_without_index_system_or_table_is_read_as_far_as_it_goes(tmp_path):
    parts = shapefile(
        tmp_path, points([dict(row) for row in UMLAUTS], 25832), without=(".shx", ".prj", ".cpg")
    )
    table = read_table(packed(tmp_path, parts))
    assert (table.crs, len(table.rows)) == (None, 2)
    del parts[".dbf"]
    table = read_table(packed(tmp_path, parts))
    assert (table.headers, len(table.geometry)) == ([], 2)


def test_deleted_rows_of_a_shapefile_are_gone_with_their_shapes(tmp_path):
    parts = shapefile(tmp_path, trees())
    dbf = bytearray(parts[".dbf"])
    head, width = int.from_bytes(dbf[8:10], "little"), int.from_bytes(dbf[10:12], "little")
    dbf[head + width] = ord("*")
    table = read_table(packed(tmp_path, {**parts, ".dbf": bytes(dbf)}))
    assert table.column("nr") == ["1", "3", "4"]
    assert [round(shape.x - X, 6) for shape in table.geometry] == [0, 0.002, 0.003]


def test_a_shapefile_in_folders_and_capitals_is_found(tmp_path):
    parts = shapefile(tmp_path, trees())
    path = pack(tmp_path / "a.zip", {f"data/TREES{end.upper()}": content for end, content in parts.items()})
    table = read_table(path)
    assert (table.layer_name, len(table.rows)) == ("TREES", 4)


def test_shapes_and_rows_that_do_not_belong_together_are_refused(tmp_path):
    parts = shapefile(tmp_path, trees())
    other = shapefile(tmp_path / "other", trees()[:3])
    with pytest.raises(Unreadable, match=r"4 shapes .* 3 rows"):
        read_table(packed(tmp_path, {**parts, ".dbf": other[".dbf"]}))


def several(tmp_path, layers):
    files = {}
    for name, frame in layers.items():
        for ending, content in shapefile(tmp_path / name, frame).items():
            files[f"{name}{ending}"] = content
    return pack(tmp_path / "several.zip", files)


AREA = geopandas.GeoDataFrame({"name": ["A"]}, geometry=[shapely.box(9, 47, 9.1, 47.1)], crs=4326)


def test_of_several_shapefiles_the_one_is_taken_whose_shapes_fit_the_layer(tmp_path):
    path = several(tmp_path, {"Bäume": trees(), "Flächen": AREA})
    assert read_table(path, "trees").layer_name == "Bäume"
    assert read_table(path, "areas").layer_name == "Flächen"
    with pytest.raises(Ask) as asked:
        read_table(path)
    assert (asked.value.option, asked.value.choices) == ("--layer", ["trees", "areas"])
    assert "several.zip holds several tables (Bäume, Flächen)" in str(asked.value)
    with pytest.raises(InvalidRequest, match="none of them alone is one of targets"):
        read_table(path, "targets")


# --- KML --------------------------------------------------------------------------------------------------


def kml(tmp_path, inside, **options):
    path = tmp_path / "a.kml"
    path.write_bytes(kml_of(inside, **options))
    return read_table(path)


def placed(name, shape="<Point><coordinates>9.1,47.6,400</coordinates></Point>", data=""):
    return f"<Placemark><name>{name}</name>{data}{shape}</Placemark>"


def test_kml_gives_names_descriptions_and_data_in_their_own_columns(tmp_path):
    data = (
        "<description><![CDATA[old & <b>tall</b>]]></description><ExtendedData>"
        '<Data name="girth_cm"><displayName>Girth</displayName><value>120</value></Data>'
        '<SchemaData schemaUrl="#a"><SimpleData name="Baumart">Tilia &amp; Ähre</SimpleData></SchemaData>'
        "</ExtendedData>"
    )
    table = kml(tmp_path, placed("A 1", data=data) + placed("A 2"))
    assert values(table) == {
        "name": ["A 1", "A 2"],
        "description": ["old & <b>tall</b>", ""],
        "girth_cm": ["120", ""],
        "Baumart": ["Tilia & Ähre", ""],
    }
    assert (table.geometry[0].x, table.geometry[0].y) == (9.1, 47.6)


def test_kml_of_folders_of_one_kind_is_one_list_with_a_column_of_folders(tmp_path):
    folder = "<Folder><name>{}</name>{}</Folder>"
    inside = folder.format("Nord", placed("1")) + folder.format("Süd", folder.format("Hof", placed("2")))
    table = kml(tmp_path, inside)
    assert values(table) == {"name": ["1", "2"], "Folder": ["Nord", "Süd / Hof"]}


def test_of_kml_folders_of_several_kinds_the_one_is_taken_that_fits_the_layer(tmp_path):
    ring = "9,47 9.1,47 9.1,47.1 9,47"
    polygon = (
        "<Polygon><outerBoundaryIs><LinearRing><coordinates>"
        f"{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
    )
    folder = "<Folder><name>{}</name>{}</Folder>"
    inside = folder.format("Bäume", placed("1")) + folder.format("Höfe", placed("2", polygon))
    path = tmp_path / "two.kml"
    path.write_bytes(kml_of(inside))
    assert read_table(path, "trees").column("name") == ["1"]
    assert read_table(path, "areas").geometry[0].area == pytest.approx(0.005)
    with pytest.raises(Ask, match=r"two\.kml holds several tables \(Bäume, Höfe\)"):
        read_table(path)


def test_kml_multigeometry_of_one_kind_is_taken_and_of_several_refused(tmp_path):
    one = "<Point><coordinates>9,47</coordinates></Point>"
    line = "<LineString><coordinates>9,47 9.1,47.1</coordinates></LineString>"
    table = kml(
        tmp_path,
        placed("1", f"<MultiGeometry>{one}{one}</MultiGeometry>")
        + placed("2", f"<MultiGeometry>{one}{line}</MultiGeometry>"),
    )
    assert table.geometry[0].geom_type == "MultiPoint"
    assert "GeometryCollection" in table.faults[1]


def test_kmz_is_read_as_the_kml_within(tmp_path):
    path = pack(tmp_path / "a.kmz", {"doc.kml": kml_of(PLACEMARK), "files/icon.png": b"\x89PNG"})
    assert read_table(path).column("name") == ["A 1"]


def test_kmz_that_gdal_wrote_is_read_though_its_first_file_only_links_to_the_others(tmp_path):
    """LIBKML of GDAL writes each layer to a file of its own in the archive."""
    frame = points([{"Baumart": "Ähre", "x": 9.1, "y": 47.6}])
    pyogrio.write_dataframe(frame, tmp_path / "a.kmz", driver="LIBKML", layer="trees")
    assert zipfile.ZipFile(tmp_path / "a.kmz").namelist()[0] == "doc.kml"
    table = read_table(tmp_path / "a.kmz")
    assert values(table) == {"Baumart": ["Ähre"]}
    assert [guess for guess in table.guesses if guess.what == "links"] == []


def test_several_kml_files_in_a_kmz_are_folders_and_links_out_of_it_are_said(tmp_path):
    def named(name, inside):
        return kml_of(f"<name>{name}</name>{inside}")

    far = "<NetworkLink><Link><href>http://far.example/c.kml</href></Link></NetworkLink>"
    files = {"doc.kml": named("Nord", placed("1") + far), "layers/b.kml": named("Süd", placed("2"))}
    table = read_table(pack(tmp_path / "a.kmz", files))
    assert values(table) == {"name": ["1", "2"], "Folder": ["Nord", "Süd"]}
    assert guess_of(table, "links").value == "1"


@pytest.mark.parametrize("encoding", ["windows-1252", "ISO-8859-15", "UTF-16", "koi8-r"])
def test_kml_is_read_in_the_encoding_that_it_names(tmp_path, encoding):
    word = "Ель" if encoding == "koi8-r" else "Größe"
    path = tmp_path / "a.kml"
    path.write_bytes(kml_of(placed(word)).decode().replace("UTF-8", encoding).encode(encoding))
    assert read_table(path).column("name") == [word]


def test_kml_in_an_encoding_that_is_not_read_says_so(tmp_path):
    path = tmp_path / "a.kml"
    path.write_bytes(kml_of(PLACEMARK).replace(b"UTF-8", b"x-odd-1"))
    with pytest.raises(Unreadable, match="encoding that is not read here; export it in UTF-8"):
        read_table(path)


@pytest.mark.parametrize(
    ("written", "point"),
    [
        ("\n  9.1,47.6,400\n", (9.1, 47.6)),
        ("9.1, 47.6, 400", (9.1, 47.6)),  # no KML, but what people write
        ("+9.1,4.76e1", (9.1, 47.6)),
        ("9.1,47.6, 9.2,47.7", None),
        ("9,1;47,6", None),
        ("9.1", None),
        ("nan,47.6", None),
        ("1_0,47.6", None),
    ],
)
def test_a_placemark_whose_position_is_none_is_a_fault_of_its_row(tmp_path, written, point):
    shape = f"<Point><coordinates>{written}</coordinates></Point>"
    table = kml(tmp_path, placed("1") + placed("2", shape))
    assert table.geometry[0] is not None
    if point is None:
        assert table.geometry[1] is None
        assert "is no position" in table.faults[1]
    else:
        assert (table.geometry[1].x, table.geometry[1].y) == point
        assert table.faults == {}


# --- what is refused, with what to do ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("a.fgb", b"", "is empty"),
        ("a.fgb", b"no such thing at all", "is no FlatGeobuf"),
        ("a.fgb", b"fgb\x02fgb\x00" + bytes(40), "another version"),
        ("a.zip", b"PK\x03\x04 but no zip", "no whole zip"),
        ("a.parquet", b"PAR1 and then nothing", "no Parquet file"),
        ("a.kml", b"<kml><Document>", "no whole XML"),
        ("a.kml", b"<gpx></gpx>", "is no KML but 'gpx'"),
        ("a.kml", kml_of(""), "no placemarks"),
        ("a.shp", b"\0\0\x27\x0a", "into one zip"),
    ],
)
def test_what_is_no_such_file_is_refused_with_what_to_do(tmp_path, name, content, sentence):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(Unreadable, match=sentence) as refused:
        read_table(path)
    assert name in str(refused.value)
    assert "{file}" not in str(refused.value)


def test_a_zip_without_a_shapefile_says_what_is_in_it(tmp_path):
    path = pack(tmp_path / "a.zip", {"list.csv": b"a,b\n1,2\n"})
    with pytest.raises(Unreadable, match=r"holds no shapefile .* only 'list\.csv'"):
        read_table(path)


def test_everything_of_a_ground_as_tables_says_which_file_brings_it_back(tmp_path):
    path = pack(tmp_path / "site.zip", {"layers/trees.csv": b"a\n", "records/tree.csv": b"a\n"})
    with pytest.raises(Unreadable, match=r"site\.gpkg"):
        read_table(path)


@pytest.mark.parametrize("ending", [".fgb", ".zip", ".parquet", ".kml"])
def test_a_file_without_rows_is_said(tmp_path, ending):
    if ending == ".kml":
        path = tmp_path / "a.kml"
        path.write_bytes(kml_of(""))
    else:
        path = write_frame(trees()[:0].astype({"datum": str}), tmp_path / f"a{ending}")
    with pytest.raises(Unreadable, match="nothing to take in"):
        read_table(path)
