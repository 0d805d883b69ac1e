"""Bad input through the command line: one clear sentence each, and nothing is lost."""

import csv
import json
import math
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from tests.command_line import boleward, done, figure

LIST = """\
tag,species,girth_cm,date,lon,lat
1,Tilia cordata,100,2019-06-01,9.1700,47.6600
2,Quercus robur,150,2019-06-01,9.1710,47.6600
3,Acer campestre,88,2019-06-01,9.1720,47.6600
"""
SQUARE = [[9.17, 47.66], [9.171, 47.66], [9.171, 47.661], [9.17, 47.661], [9.17, 47.66]]
LONG_LINE_MB = 200
ROOM_FOR_A_LONG_LINE_MB = 64


@pytest.fixture(scope="module")
def park(tmp_path_factory):
    """A store with a park of three trees, which no bad input changes."""
    folder = tmp_path_factory.mktemp("park")
    path = folder / "good.csv"
    path.write_text(LIST, encoding="utf-8")
    done("import", path, "--site", "park", store=folder / "s.sqlite")
    return folder / "s.sqlite"


def held(store):
    """Everything that a store holds."""
    with closing(sqlite3.connect(store)) as connection:
        return list(connection.iterdump())


def written(path, content):
    if isinstance(content, bytes):
        path.write_bytes(content)
    else:
        path.write_text(content, encoding="utf-8")
    return path


def refused(store, *words):
    """The one sentence with which a command is refused; the store is as it was."""
    before = held(store)
    ran = boleward(*words, store=store)
    assert ran.code == 2, ran
    assert held(store) == before
    assert ran.err.startswith("boleward: ")
    assert ran.err.count("\n") == 1
    assert len(ran.err) < 500
    assert ran.err.rstrip().endswith((".", ")"))
    return ran.err


def accounted(store, path, *options):
    """The report of an import whose rows are all accounted for, and the sentences about those to look at."""
    report = done("import", path, "--site", path.stem, *options, "--json", store=store).json
    counts = {name: report[name] for name in ("taken", "already_there", "questioned", "refused")}
    assert sum(counts.values()) == report["read"]
    if report["side_file"] is None:
        return counts, {}
    with open(report["side_file"], encoding="utf-8-sig", newline="") as file:
        return counts, {int(row["row"]): row["sentence"] for row in csv.DictReader(file)}


def shapes(*geometries):
    features = [
        {"type": "Feature", "properties": {"name": f"a{n}"}, "geometry": geometry}
        for n, geometry in enumerate(geometries)
    ]
    return json.dumps({"type": "FeatureCollection", "features": features})


def polygon(ring):
    return {"type": "Polygon", "coordinates": [ring]}


# --- files that are no list -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("picture.csv", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)) * 20, "not a text file"),
        ("paper.pdf", b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n", "export the list as CSV"),
        ("program.gpkg", b"MZ\x90\x00" + bytes(4000), "GeoPackage"),
        ("empty.csv", b"", "is empty"),
        ("blank.csv", b"\n  \n\n", "holds no rows"),
        ("header.csv", b"tag,species,girth_cm\n", "no rows"),
        ("empty.geojson", b"", "is empty"),
        ("list.geojson", b"[1, 2, 3]", "GeoJSON"),
        ("cut.geojson", shapes(polygon(SQUARE)).encode()[:90], "ends in the middle"),
        ("quote.csv", (LIST + '4,"Acer camp').encode(), "opens a quote in line 5"),
        ("nul.csv", LIST.replace("cordata", "cor\0data").encode(), "NUL"),
        ("half.csv", LIST.encode() + b"4,Tilia \xed\xa0\x80,99,,9.17,47.66\n", "half of a paired code"),
        ("deep.geojson", b'{"type":"FeatureCollection","features":' + b"[" * 200_000, "nested deeper"),
        ("nan.geojson", shapes(polygon([*SQUARE[:3], [math.nan, 1], SQUARE[0]])).encode(), "NaN"),
    ],
)
def test_a_file_that_is_no_list_is_refused_and_changes_nothing(park, tmp_path, name, content, says):
    path = written(tmp_path / name, content)
    assert says in refused(park, "import", path, "--site", "park", "--json")
    assert says in refused(park, "import", path, "--site", "never-made", "--json")


def test_half_a_geopackage_is_refused_and_changes_nothing(park, tmp_path):
    whole = tmp_path / "whole.gpkg"
    done("export", whole, "--site", "park", "--format", "gpkg", store=park)
    half = written(tmp_path / "half.gpkg", whole.read_bytes()[: whole.stat().st_size // 2])
    assert "damaged" in refused(park, "import", half, "--site", "park", "--layer", "trees", "--json")


def test_half_a_list_takes_its_whole_rows_and_refuses_the_broken_one(park, tmp_path):
    path = written(tmp_path / "cut.csv", LIST[: LIST.index("Acer camp") + 4])
    counts, said = accounted(park, path)
    assert (counts["taken"], counts["refused"]) == (2, 1)
    assert set(said) == {4}


# --- a very long line -------------------------------------------------------------------------------------

PEAK = """
import resource, sys
from tests.command_line import boleward
ran = boleward("import", sys.argv[1], "--site", "park", store=sys.argv[2])
sys.stderr.write(ran.err)
print(ran.code, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def run_alone(path, store):
    """Exit code and peak memory [MB] of an import in a process of its own, and its sentence."""
    ran = subprocess.run(
        [sys.executable, "-c", PEAK, path, store], capture_output=True, text=True, check=True, timeout=300
    )
    code, peak = map(int, ran.stdout.split())
    return code, peak, ran.stderr


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "start", "fill", "end"),
    [
        ("line.csv", "tag,species,girth_cm\n1,Tilia cordata,100\n2,", "x", ",88\n"),
        ("cells.csv", "tag,species,girth_cm\n1,Tilia cordata,100\n2", ",", "\n"),
        ("line.geojson", '{"type":"FeatureCollection","features":[{"type":"', "x", '"}]}'),
    ],
)
def test_a_line_of_200_mb_is_refused_in_bounded_memory(park, tmp_path, name, start, fill, end):
    small = written(tmp_path / "small.csv", LIST.partition("\n2,")[0] + "\n")
    huge = tmp_path / name
    with huge.open("w", encoding="ascii") as out:
        out.write(start)
        for _ in range(LONG_LINE_MB):
            out.write(fill * (1 << 20))
        out.write(end)
    before = held(park)
    _, usual, _ = run_alone(small, tmp_path / "small.sqlite")
    code, peak, said = run_alone(huge, park)
    assert code == 2
    assert f"{name} " in said
    assert "MB" in said
    assert said.count("\n") == 1
    assert held(park) == before
    assert peak - usual < ROOM_FOR_A_LONG_LINE_MB


# --- shapes -----------------------------------------------------------------------------------------------

BOW_TIE = polygon([[9.17, 47.66], [9.171, 47.661], [9.171, 47.66], [9.17, 47.661], [9.17, 47.66]])


def wheel(corners):
    turn = [2 * math.pi * n / corners for n in range(corners)]
    ring = [[9.17 + 0.001 * math.cos(t), 47.66 + 0.001 * math.sin(t)] for t in turn]
    return polygon([*ring, ring[0]])


def nested(depth):
    shape = {"type": "Point", "coordinates": [9.17, 47.66]}
    for _ in range(depth):
        shape = {"type": "GeometryCollection", "geometries": [shape]}
    return shape


@pytest.mark.parametrize(
    ("name", "bad", "says"),
    [
        ("bow-tie", BOW_TIE, "self-intersection"),
        ("two-corners", polygon([[9.17, 47.66], [9.171, 47.66]]), None),
        ("enormous", wheel(600_000), "more than 10,000 points"),
        ("many-parts", {"type": "MultiPolygon", "coordinates": [[SQUARE]] * 120_000}, None),
        ("nested", nested(300), "points, lines or polygons"),
        ("words", polygon([["nine", 47.66], *SQUARE[1:]]), None),
        ("nothing", None, None),
    ],
)
def test_a_shape_that_cannot_be_is_refused_with_its_reason_and_the_good_one_is_taken(
    park, tmp_path, name, bad, says
):
    path = written(tmp_path / f"{name}.geojson", shapes(polygon(SQUARE), bad))
    counts, said = accounted(park, path, "--layer", "areas")
    assert (counts["taken"], counts["refused"]) == (1, 1), said
    (sentence,) = said.values()
    assert says is None or says in sentence
    assert 15 < len(sentence) < 400
    rows = done("figures", "--site", name, "--json", store=park).json
    assert [row["name"] for row in rows[1:]] == ["a0"]


def test_an_invalid_polygon_on_the_fly_is_refused(park, tmp_path):
    path = written(tmp_path / "tie.geojson", shapes(BOW_TIE))
    said = refused(park, "figures", "--site", "park", "--polygon", path, "--json")
    assert "no usable polygon" in said
    assert "self-intersection" in said


def test_coordinates_beyond_all_measure_are_refused_in_a_short_sentence(park, tmp_path):
    path = written(tmp_path / "far.geojson", shapes(polygon([[1e308, 47], [9, 1e308], [9, 47], [1e308, 47]])))
    refused(park, "import", path, "--site", "park", "--layer", "areas", "--json")


# --- coordinate systems that cannot be --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("crs", "says"),
    [
        ("EPSG:99999999", "EPSG:n or local"),
        ("EPSG:123456", "EPSG:n"),
        ("moon", "EPSG:n or local"),
        ("EPSG:4978", "no system of positions on a map"),  # geocentric
        ("EPSG:5773", "no system of positions on a map"),  # heights
        ("EPSG:32632", "degrees"),  # metres
        ("local", "on earth"),
    ],
)
def test_a_coordinate_system_that_cannot_be_is_refused(park, tmp_path, crs, says):
    path = written(tmp_path / "list.csv", LIST)
    assert says in refused(park, "import", path, "--site", "park", "--crs", crs, "--json")


# --- cells ------------------------------------------------------------------------------------------------


def with_row(path, tag="4", girth="99", date="2019-06-01", lon="9.173", lat="47.66"):
    return written(path, f"{LIST}{tag},Betula pendula,{girth},{date},{lon},{lat}\n")


@pytest.mark.parametrize(
    ("girth", "outcome", "sized"),
    [
        ("-5", "refused", 3),
        ("9000", "refused", 3),
        ("4501", "refused", 3),
        ("1001", "questioned", 4),
        ("0", "taken", 3),
        ("NaN", "taken", 3),  # a word for missing
        ("inf", "questioned", 3),
        ("-inf", "questioned", 3),
        ("Infinity", "questioned", 3),
        ("1e999", "questioned", 3),
        ("1e308", "questioned", 3),
        ("ninety", "questioned", 3),
    ],
)
def test_a_girth_that_cannot_be_is_refused_or_questioned_and_no_size(park, tmp_path, girth, outcome, sized):
    site = f"girth-{outcome}-{sum(girth.encode())}"
    counts, said = accounted(park, with_row(tmp_path / f"{site}.csv", girth=girth))
    assert counts["taken"] == (4 if outcome == "taken" else 3)
    assert counts[outcome] == (4 if outcome == "taken" else 1)
    assert bool(said.get(5)) == (outcome != "taken")
    row = figure(park, site)
    assert (row["trees"], row["measured_stems"]) == (3 if outcome == "refused" else 4, sized)
    assert math.isfinite(row["basal_area_m2"])


@pytest.mark.parametrize("lon", ["NaN", "inf", "-inf", "1e999", "1e308", "east"])
def test_a_coordinate_that_cannot_be_is_questioned_and_the_tree_taken(park, tmp_path, lon):
    site = f"lon-{sum(lon.encode())}"
    counts, _ = accounted(park, with_row(tmp_path / f"{site}.csv", lon=lon))
    assert (counts["taken"], counts["questioned"]) == (3, 1)
    row = figure(park, site)
    assert (row["trees"], row["measured_stems"], row["trees_without_position"]) == (4, 4, 1)


@pytest.mark.parametrize(
    ("date", "outcome", "trees"),
    [
        ("2999-01-01", "refused", 3),
        ("9999-12-31", "refused", 3),
        ("2019-02-30", "questioned", 4),
        ("soon", "questioned", 4),
    ],
)
def test_a_date_that_cannot_be_is_refused_or_questioned(park, tmp_path, date, outcome, trees):
    site = f"date-{sum(date.encode())}"
    counts, said = accounted(park, with_row(tmp_path / f"{site}.csv", date=date))
    assert (counts["taken"], counts[outcome]) == (3, 1)
    assert date in said[5]
    assert figure(park, site)["trees"] == trees


def test_a_day_of_the_coming_year_is_questioned_and_counts(park, tmp_path):
    import datetime as dt

    ahead = (dt.date.today() + dt.timedelta(days=40)).isoformat()  # noqa: DTZ011 - any day ahead
    counts, said = accounted(park, with_row(tmp_path / "date-ahead.csv", date=ahead))
    assert (counts["taken"], counts["questioned"]) == (3, 1)
    assert ahead in said[5]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--measured-on", "2999-01-01"), "a year in the future"),
        (("--measured-on", "2019-13-01"), "YYYY-MM-DD"),
        (("--height-m", "nan"), "height"),
        (("--height-m", "-3"), "height"),
        (("--size", "shoe"), "girth-cm"),
        (("--columns", "shoe=tag"), "no column of ours"),
        (("--columns", "tag=shoe"), "no column 'shoe'"),
        (("--columns", "tag"), "word=header"),
    ],
)
def test_an_option_that_cannot_be_is_refused(park, tmp_path, words, says):
    path = written(tmp_path / "list.csv", LIST)
    assert says in refused(park, "import", path, "--site", "park", *words, "--json")


@pytest.mark.parametrize(
    ("name", "tag", "code"),
    [("nul", "a\\u0000b", 0), ("surrogate", "a\\ud800b", 2), ("pair", "\\ud83c\\udf33", 0)],
)
def test_characters_that_cannot_be_kept_are_refused_and_a_whole_pair_is_kept(park, tmp_path, name, tag, code):
    text = (
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"tag":"TAG","girth_cm":99},'
        '"geometry":{"type":"Point","coordinates":[9.17,47.66]}}]}'
    )
    path = written(tmp_path / f"{name}.geojson", text.replace("TAG", tag))
    words = ("import", path, "--site", name, "--size", "girth-cm", "--json")
    if code:
        assert "half of a paired" in refused(park, *words)
        return
    counts, said = accounted(park, path, "--size", "girth-cm")
    assert counts["refused"] == (1 if name == "nul" else 0)
    assert (name == "nul") == any("NUL" in sentence for sentence in said.values())
    if name == "pair":
        assert "\N{DECIDUOUS TREE}" in exported(park, name, tmp_path)


def exported(store, site, folder):
    path = folder / "out.csv"
    done("export", path, "--site", site, "--format", "csv", store=store)
    return path.read_text(encoding="utf-8-sig")
