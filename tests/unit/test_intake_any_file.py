"""Whatever a file holds, reading it answers with rows or with one of our sentences, and loses no row."""

import csv
import io
import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.errors import InvalidRequest
from service.intake.bounded_shapes import from_geojson, from_wkb, from_wkt
from service.intake.prepared import ImportOptions, SiteFacts
from service.intake.understand import prepare

HEADERS = [
    "tag",
    "species",
    "girth_cm",
    "height_m",
    "lon",
    "lat",
    "date",
    "status",
    "type",
    "dbh 2010 (cm)",
    "place",
]
ODD = st.sampled_from(
    [
        *("", "0", "-5", "9000", "1e999", "NA", "1_000", "٣", "nan", "240 - 184", "3x10", "DEAD - 3", "DEAD"),
        *("=1+1", "2020-13-40", "31.02.2020", "9999-12-31", "0001-01-01", "<= 20", "1) > 5cm", "x" * 300),
        *("'", '"', "1/0/3", "180", "-90.5", "1e30", "99999999999999999", "\u202e", "{{7*7}}", "\x07", "🌳"),
        *("12\n13", "30x3", "0x9", "12,5", "1.234,5"),
    ]
)
CELL = st.one_of(ODD, st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12))
SLOW = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
SITE = SiteFacts(today="2026-05-04")


@SLOW
@given(rows=st.lists(st.lists(CELL, min_size=11, max_size=11), min_size=1, max_size=6), size=st.booleans())
def test_any_cells_give_a_row_each_or_a_sentence(tmp_path, rows, size):
    out = io.StringIO(newline="")
    csv.writer(out).writerows([HEADERS, *rows])
    path = tmp_path / "any.csv"
    path.write_text(out.getvalue(), encoding="utf-8", newline="")
    options = ImportOptions(size="girth-cm" if size else None, crs="EPSG:4326")
    try:
        prepared = prepare(path, options, SITE)
    except InvalidRequest as said:
        assert str(said)
        return
    assert len(prepared.trees) == sum(any(cell.strip() for cell in row) for row in rows)
    for row in prepared.trees:
        for reading in row.readings:
            assert reading.value is None or 0 < reading.value < math.inf
        assert row.lon_deg is None or abs(row.lon_deg) <= 180
    accounted = [*prepared.understood, *prepared.kept, *prepared.left_out]
    assert sorted(accounted) == sorted(HEADERS)


@SLOW
@given(data=st.binary(max_size=400), name=st.sampled_from(["a.csv", "a.geojson", "a.gpkg", "a.txt"]))
def test_any_bytes_give_rows_or_a_sentence(tmp_path, data, name):
    path = tmp_path / name
    path.write_bytes(data)
    try:
        prepared = prepare(path, ImportOptions(), SITE)
    except InvalidRequest as said:
        assert str(said)
        return
    assert prepared.trees or prepared.shapes


@SLOW
@given(
    value=st.recursive(
        st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=6)),
        lambda inner: st.one_of(
            st.lists(inner, max_size=4),
            st.dictionaries(
                st.sampled_from(
                    ["type", "coordinates", "geometry", "features", "properties", "crs", "name", "id"]
                ),
                inner,
                max_size=5,
            ),
        ),
        max_leaves=30,
    ),
    kind=st.sampled_from(["FeatureCollection", "Feature", "Polygon", "Point", "MultiPolygon"]),
)
def test_any_json_gives_rows_or_a_sentence(tmp_path, value, kind):
    feature = {
        "type": "Feature",
        "properties": {"a": value},
        "geometry": {"type": "Point", "coordinates": value},
    }
    for document in (value, {"type": kind, "features": [feature, value], "coordinates": value, "crs": value}):
        path = tmp_path / "any.geojson"
        path.write_text(json.dumps(document), encoding="utf-8", errors="surrogatepass")
        try:
            prepare(path, ImportOptions(layer="areas"), SITE)
        except InvalidRequest as said:
            assert str(said)


@SLOW
@given(data=st.binary(max_size=120), head=st.integers(0, 0xFFFF_FFFF))
def test_any_bytes_as_geometry_give_a_shape_or_a_reason(data, head):
    for blob in (
        data,
        b"\x01" + head.to_bytes(4, "little") + data,
        b"\x01" + (head % 8).to_bytes(4, "little") + data,
    ):
        shape, reason = from_wkb(blob)
        assert shape is None or reason is None


@SLOW
@given(text=st.text(st.sampled_from("POLYGNTMUIZE (),.-0123456789eSRD=;"), max_size=60))
def test_any_words_as_geometry_give_a_shape_or_a_reason(text):
    shape, reason, _ = from_wkt(text)
    assert shape is None or reason is None


@pytest.mark.parametrize(
    "coordinates", [[], [[]], [[[]]], [[[[]]]], [1], [1, 2, 3, 4, 5], ["a", 1], {}, None, True]
)
@pytest.mark.parametrize("kind", ["Point", "LineString", "Polygon", "MultiPolygon", "MultiPoint"])
def test_odd_coordinates_give_a_shape_or_a_reason(kind, coordinates):
    shape, reason = from_geojson({"type": kind, "coordinates": coordinates})
    assert shape is None or reason is None
