"""Positions: coordinate systems told or guessed, swapped, impossible and far-off rows."""

import pytest
from pyproj import Transformer

from service.errors import Ask, InvalidRequest
from service.intake.prepared import SiteFacts
from tests.intake_builders import TODAY, asked, guess_of, prepared_of

HERE = SiteFacts(box=(9.10, 47.60, 9.20, 47.70), today=TODAY)


def table(pairs, header="x,y"):
    return f"tag,umfang cm,{header}\n" + "".join(f"{n},80,{a},{b}\n" for n, (a, b) in enumerate(pairs))


def places(prepared):
    return [(row.lon_deg, row.lat_deg) for row in prepared.trees]


def test_degrees_close_together_are_wgs84(tmp_path):
    prepared = prepared_of(tmp_path, table([(9.15906303880303, 47.7393069000904), (9.16, 47.74)]))
    assert guess_of(prepared, "crs").value == "WGS84 (EPSG:4326)"
    assert places(prepared)[0] == (9.15906303880303, 47.7393069000904)
    assert prepared.trees[0].position_source == "file"


@pytest.mark.parametrize(
    ("code", "headers", "lon", "lat"),
    [
        (3003, "tag;circonferenza cm;CoordX;CoordY;Specie;Altezza", 8.62, 44.91),
        (2154, "tag;circonférence cm;x;y;Espèce;Hauteur", 2.35, 48.86),
        (28992, "tag;stamomtrek cm;x;y;Boomsoort;Hoogte", 5.12, 52.09),
        (3763, "tag;perímetro cm;x;y;Espécie;Altura", -9.14, 38.72),
        (2056, "tag;Stammumfang cm;x;y;Baumart;Höhe", 8.54, 47.37),
        (27700, "tag;girth cm;easting;northing;Species;Height", -0.12, 51.5),
        (31467, "tag;Stammumfang cm;Rechtswert;Hochwert;Baumart;Höhe", 9.17, 47.66),
    ],
)
def test_a_national_system_is_guessed_from_values_and_language(tmp_path, code, headers, lon, lat):
    x, y = Transformer.from_crs(4326, code, always_xy=True).transform(lon, lat)
    text = headers + "\n" + "".join(f"{n};80;{x + n:.3f};{y + n:.3f};Tilia cordata;9\n" for n in range(3))
    prepared = prepared_of(tmp_path, text)
    assert guess_of(prepared, "crs").value == f"EPSG:{code}"
    assert places(prepared)[0] == pytest.approx((lon, lat), abs=1e-5)


def test_zones_of_one_shape_are_asked_for_and_the_site_settles_them(tmp_path):
    text = "tag;Umfang cm;Ostwert;Nordwert\n1;80;513000;5278000\n2;81;513010;5278010\n"
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, text)
    assert found.value.option == "--crs"
    assert {"EPSG:25832", "EPSG:25833"} <= set(found.value.choices)
    assert guess_of(prepared_of(tmp_path, text, site=HERE), "crs").value == "EPSG:25832"


def test_metres_of_a_ground_of_its_own_are_asked_for(tmp_path):
    text = table([(200.0, 8.8), (10.1, 180.2)])
    with pytest.raises(Ask) as found:
        prepared_of(tmp_path, text)
    assert (found.value.option, found.value.choices[0]) == ("--crs", "local")
    row = prepared_of(tmp_path, text, crs="local").trees[0]
    assert (row.x_m, row.y_m, row.lon_deg, row.lat_deg) == (200.0, 8.8, None, None)


def test_a_ground_without_a_place_on_earth_takes_only_metres(tmp_path):
    ground = SiteFacts(frame="local", today=TODAY)
    assert prepared_of(tmp_path, table([(20.0, 8.8)]), site=ground).trees[0].x_m == 20.0
    with pytest.raises(InvalidRequest, match="no place on earth"):
        prepared_of(tmp_path, table([(9.1, 47.6)], "lon,lat"), site=ground)
    with pytest.raises(InvalidRequest, match="place on earth"):
        prepared_of(tmp_path, table([(20.0, 8.8)]), crs="local", site=HERE)


@pytest.mark.parametrize("crs", ["EPSG:999999", "EPSG:abc", "nonsense", "EPSG:4978", "EPSG:5773"])
def test_a_system_that_cannot_be_is_refused(tmp_path, crs):
    with pytest.raises(InvalidRequest, match="--crs"):
        prepared_of(tmp_path, table([(9.1, 47.6)]), crs=crs)


def test_a_system_that_would_put_the_trees_elsewhere_is_refused(tmp_path):
    with pytest.raises(InvalidRequest, match=r"cannot be in EPSG:27700"):
        prepared_of(tmp_path, table([(1470000, 4972000), (1471000, 4973000)]), crs="EPSG:27700")


def test_latitude_and_longitude_exchanged_in_a_whole_file_are_put_right_and_said(tmp_path):
    text = table([(47.65, 9.15), (47.66, 9.16)], "lon,lat")
    prepared = prepared_of(tmp_path, text, site=HERE)
    assert places(prepared)[0] == (9.15, 47.65)
    assert guess_of(prepared, "coordinates").value == "latitude and longitude exchanged"


def test_one_exchanged_row_is_questioned_and_gets_no_position(tmp_path):
    pairs = [(9.15, 47.65), (9.16, 47.66), (9.155, 47.655), (47.65, 9.15)]
    row = prepared_of(tmp_path, table(pairs, "lon,lat")).trees[3]
    assert asked(row) == ["swapped"]
    assert (row.lon_deg, row.lat_deg) == (None, None)
    assert "47.65" in row.questions[0].detail


def test_a_row_far_from_the_others_is_questioned(tmp_path):
    pairs = [(9.15 + n / 1000, 47.65) for n in range(20)] + [(11.58, 48.14)]
    rows = prepared_of(tmp_path, table(pairs, "lon,lat")).trees
    assert asked(rows[-1]) == ["far_off"]
    assert rows[-1].lon_deg == 11.58
    assert not any(asked(row) for row in rows[:-1])


def test_a_file_far_from_the_site_is_refused_with_the_distance(tmp_path):
    with pytest.raises(InvalidRequest, match=r"lie about \d+ km"):
        prepared_of(tmp_path, table([(11.58, 48.14), (11.59, 48.15)], "lon,lat"), site=HERE)


def test_impossible_coordinates_are_questioned_and_the_tree_taken(tmp_path):
    pairs = [(9.15, 47.65), (9.16, 47.66), (9.17, 97.0), ("east", 47.6), ("", 47.6)]
    rows = prepared_of(tmp_path, table(pairs, "lon,lat")).trees
    assert [asked(row) for row in rows] == [[], [], ["position"], ["position"], ["position"]]
    assert [row.lon_deg for row in rows[2:]] == [None, None, None]
    assert all(row.refused is None for row in rows)


def test_missing_positions_are_allowed_and_zero_zero_is_missing(tmp_path):
    prepared = prepared_of(tmp_path, table([(9.15, 47.65), ("", ""), (0, 0)], "lon,lat"))
    assert places(prepared)[1:] == [(None, None), (None, None)]
    assert not any(asked(row) for row in prepared.trees)
    assert guess_of(prepared, "position").value == "missing in 1 rows"


def test_a_column_of_pairs_and_one_of_words_are_positions(tmp_path):
    pair = prepared_of(tmp_path, 'tag,umfang cm,geo_point_2d\n1,80,"47.65, 9.15"\n2,81,"47.66, 9.16"\n')
    assert places(pair)[0] == (9.15, 47.65)
    words = prepared_of(
        tmp_path, "tag,umfang cm,wkt\n1,80,POINT (9.15 47.65)\n2,81,SRID=4326;POINT(9.16 47.66)\n"
    )
    assert places(words)[0] == (9.15, 47.65)


def test_rows_at_zero_zero_do_not_hide_that_the_others_are_degrees_close_together(tmp_path):
    prepared = prepared_of(tmp_path, "tag,x,y\n1,9.1,47.6\n2,9.2,47.6\n3,0,0\n")
    assert guess_of(prepared, "crs").value == "WGS84 (EPSG:4326)"
    assert [row.lon_deg for row in prepared.trees] == [9.1, 9.2, None]


WRITTEN = [("51°30'12\"N", "0°07'39\"W"), ("51 30 12 N", "0 07 39 W"), ("51.5033333 N", "0.1275 W")]


def of_texts(rows, header="Latitude,Longitude"):
    cells = (",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows)
    return f"tag,girth cm,{header}\n" + "".join(f"{n},80,{row}\n" for n, row in enumerate(cells))


@pytest.mark.parametrize("written", WRITTEN)
def test_degrees_with_letters_minutes_and_seconds_are_read(tmp_path, written):
    found = places(prepared_of(tmp_path, of_texts([written, written])))
    assert found[1] == pytest.approx((-0.1275, 51.0 + 30 / 60 + 12 / 3600), abs=1e-6)


def test_degrees_and_decimal_minutes_are_read_without_letters(tmp_path):
    found = places(prepared_of(tmp_path, of_texts([("51°30.2'", "-0°07.65'")])))
    assert found == [pytest.approx((-0.1275, 51.0 + 30.2 / 60))]


def test_both_coordinates_with_letters_may_stand_in_one_cell(tmp_path):
    found = places(prepared_of(tmp_path, of_texts([("51°30'12\"N, 0°07'39\"W",)], "Position")))
    assert found == [pytest.approx((-0.1275, 51.0 + 30 / 60 + 12 / 3600))]


@pytest.mark.parametrize("cell", ["0.1275 W", "51°61'N", "51.5 O", "somewhere"])
def test_a_coordinate_that_cannot_be_read_gets_a_sentence_in_its_row(tmp_path, cell):
    row = prepared_of(tmp_path, of_texts([WRITTEN[0], (cell, "0.1 W"), WRITTEN[0]])).trees[1]
    assert (row.lon_deg, asked(row)) == (None, ["position"])
    assert repr(cell) in row.questions[0].detail


def test_columns_of_coordinates_that_cannot_be_read_get_a_sentence_each(tmp_path):
    prepared = prepared_of(tmp_path, of_texts([("near the gate", "5 steps left")] * 3))
    said = {g.value: g.why for g in prepared.guesses if g.what == "position"}
    assert "'near the gate'" in said["not taken from 'Latitude'"]
    assert "'5 steps left'" in said["not taken from 'Longitude'"]


def test_a_latitude_without_a_longitude_is_said(tmp_path):
    prepared = prepared_of(tmp_path, of_texts([("51.5",), ("51.6",)], "Latitude"))
    assert "the other of the two" in guess_of(prepared, "position").why


@pytest.mark.parametrize("cell", ["TQ 123 456", "SU12345678", "33U VP 12345 12345"])
def test_references_of_a_grid_with_letters_are_not_read_but_said(tmp_path, cell):
    prepared = prepared_of(tmp_path, of_texts([(cell,), (cell,)], "Grid ref"))
    assert repr(cell) in guess_of(prepared, "position").why
    assert prepared.trees[0].kept["Grid ref"] == cell
