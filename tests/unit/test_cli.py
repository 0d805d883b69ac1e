"""The command line: exit codes, what it prints, errors of one line."""

import csv
import datetime as dt
import io
import json

import pytest

from layers import columns
from service.cli import site_commands
from tests.command_line import boleward, done, figure

TREES = """\
tag,species,girth_cm,bed,status,date,lon,lat
1,Tilia cordata,100,North,living,2019-06-01,9.1700,47.6600
2,Quercus robur,150,North,living,2019-06-01,9.1710,47.6600
3,Acer campestre,88,South,dead,2021-06-01,9.1720,47.6600
4,Betula pendula,,South,living,2021-06-01,9.1730,47.6600
"""
SLUG = "park"


def square(west, name):
    ring = [[west, 47.659], [west + 0.002, 47.659], [west + 0.002, 47.661], [west, 47.661], [west, 47.659]]
    geometry = {"type": "Polygon", "coordinates": [ring]}
    return {"type": "Feature", "properties": {"name": name, "kind": "lawn"}, "geometry": geometry}


def outlines(path, *features):
    path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features)}), encoding="utf-8")
    return path


@pytest.fixture
def store(tmp_path):
    """A store with a park of four trees."""
    store, path = tmp_path / "s.sqlite", tmp_path / "trees.csv"
    path.write_text(TREES, encoding="utf-8")
    done("init", SLUG, "--name", "The Park", "--country", "DE", "--time-zone", "Europe/Berlin", store=store)
    done("import", path, "--site", SLUG, "--columns", "place=bed", store=store)
    return store


def one_line(ran, code):
    """The sentence of a command that could not be done."""
    assert ran.code == code, ran
    assert ran.err.startswith("boleward: ")
    assert ran.err.count("\n") == 1
    assert "Traceback" not in ran.err
    return ran.err.strip()


# --- exit codes -------------------------------------------------------------------------------------------


def test_what_is_done_ends_with_0_and_says_nothing_on_the_error_stream(store, tmp_path):
    for words in (
        ("figures", "--site", SLUG),
        ("export", tmp_path / "out.geojson", "--site", SLUG),
        ("map", tmp_path / "map.html", "--site", SLUG, "--self-contained"),
        ("settings",),
        ("--help",),
        ("import", "--help"),
    ):
        ran = done(*words, store=store)
        assert ran.err == ""
        assert ran.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("import", "nowhere.csv", "--site", SLUG), "no file nowhere.csv"),
        (("init", "Not A Slug"), "small letters"),
        (("init", "x", "--time-zone", "Mars/Base"), "Area/City"),
        (("init", "x", "--breast-height-m", "nan"), "1.00 and 1.50 m"),
        (("figures", "--site", SLUG, "--as-of", "yesterday"), "YYYY-MM-DD"),
        (("figures", "--site", SLUG, "--as-of", "2024-02-30"), "YYYY-MM-DD"),
        (("export", "no/such/folder/x.csv", "--site", SLUG, "--format", "csv"), "cannot be written"),
        (("map", "no/such/folder/x.html", "--site", SLUG), "cannot be written"),
        (("figures", "--site", SLUG, "--nonsense"), "'boleward figures --help' tells"),
        (("figures",), "--site"),
        (("grow",), "'boleward --help' tells"),
        (("--config", "nowhere.toml", "settings"), "nowhere.toml: cannot be read"),
        (("figures", "--site", "par\ud800k"), "damaged character"),
    ],
)
def test_bad_input_ends_with_2_and_one_line_that_says_what_to_do(store, words, says):
    assert says in one_line(boleward(*words, store=store), 2)


def test_an_unknown_site_ends_with_3_wherever_it_is_named(store, tmp_path):
    for words in (
        ("figures", "--site", "nowhere"),
        ("export", tmp_path / "x.csv", "--site", "nowhere", "--format", "csv"),
        ("map", tmp_path / "x.html", "--site", "nowhere"),
    ):
        assert one_line(boleward(*words, store=store), 3) == "boleward: There is no site 'nowhere'."
    assert sorted(path.name for path in tmp_path.iterdir() if path.name.startswith("x.")) == []


def test_an_area_that_is_not_there_and_a_site_that_is_end_with_3(store):
    assert "'zoo'" in one_line(boleward("figures", "--site", SLUG, "--area", "zoo", store=store), 3)
    assert SLUG in one_line(boleward("init", SLUG, store=store), 3)


def test_a_store_that_is_none_ends_with_4(store, tmp_path):
    for path in (tmp_path, tmp_path / "trees.csv", tmp_path / "trees.csv" / "s.sqlite"):
        one_line(boleward("figures", "--site", SLUG, store=path), 4)
    assert (tmp_path / "trees.csv").read_text(encoding="utf-8") == TREES


def test_an_old_file_stays_when_a_new_one_cannot_be_made(store, tmp_path):
    out = tmp_path / "map.html"
    out.write_text("the old one")
    one_line(boleward("map", out, "--site", "nowhere", store=store), 3)
    assert out.read_text() == "the old one"


# --- debug ------------------------------------------------------------------------------------------------


def broken(*_arguments):
    raise RuntimeError("secret inner words")


def test_a_fault_of_the_program_ends_with_1_and_tells_no_inner_words(store, monkeypatch):
    monkeypatch.setattr(site_commands, "view_of", broken)
    said = one_line(boleward("figures", "--site", SLUG, store=store), 1)
    assert "--debug" in said
    assert "secret" not in said


def test_with_debug_it_is_told_where_an_error_came_from(store, monkeypatch):
    ran = boleward("--debug", "figures", "--site", "nowhere", store=store)
    assert ran.code == 3
    assert "Traceback" in ran.err
    assert "There is no site 'nowhere'." in ran.err.splitlines()[-1]
    monkeypatch.setattr(site_commands, "view_of", broken)
    ran = boleward("--debug", "figures", "--site", SLUG, store=store)
    assert ran.code == 1
    assert "secret inner words" in ran.err


# --- what is printed --------------------------------------------------------------------------------------


def test_the_json_of_an_import_has_the_keys_of_the_contract(store, tmp_path):
    path = tmp_path / "more.csv"
    path.write_text(TREES.replace("\n1,", "\n11,").replace(",100,", ",-5,"), encoding="utf-8")
    report = done("import", path, "--site", "other", "--json", store=store).json
    assert set(report) >= {
        "read", "taken", "already_there", "questioned", "refused", "records", "columns", "guesses",
        "not_in_file", "side_file",
    }  # fmt: skip
    assert report["read"] == 4
    assert sum(report[name] for name in ("taken", "already_there", "questioned", "refused")) == 4
    assert report["refused"] == 1
    kinds = {"trees", "stems", "readings", "observations", "places", "areas", "targets"}
    assert set(report["records"]) == kinds
    assert all(set(counts) == {"new", "changed"} for counts in report["records"].values())
    assert set(report["columns"]) == {"understood", "kept", "left_out"}
    assert all(set(guess) == {"what", "value", "why", "sure"} for guess in report["guesses"])
    assert all(0.0 <= guess["sure"] <= 1.0 and guess["why"] for guess in report["guesses"])
    with open(report["side_file"], encoding="utf-8-sig", newline="") as file:
        assert [row["outcome"] for row in csv.DictReader(file)] == ["refused"]


def test_a_dry_run_says_the_same_and_takes_nothing(store, tmp_path):
    words = ("import", tmp_path / "trees.csv", "--site", "dry")
    dry = done(*words, "--dry-run", "--json", store=store).json
    assert boleward("figures", "--site", "dry", store=store).code == 3
    wet = done(*words, "--json", store=store).json
    for name in ("read", "taken", "questioned", "refused", "records", "columns", "guesses"):
        assert dry[name] == wet[name]


def test_without_json_an_import_tells_its_guesses_and_counts(store, tmp_path):
    ran = done("import", tmp_path / "trees.csv", "--site", "told", store=store)
    assert "size: girth in cm (" in ran.out
    assert "4 rows read: 4 taken, 0 already there, 0 to check, 0 not taken in." in ran.out
    assert "Columns kept as written: bed\n" in ran.out


def test_a_question_of_the_import_is_asked_on_both_streams(store, tmp_path):
    path = tmp_path / "unclear.csv"
    path.write_text("tag,species,diameter\n1,Tilia cordata,13.5\n2,Quercus robur,14.2\n3,Acer campestre,12\n")
    ran = boleward("import", path, "--site", "asked", "--json", store=store)
    ask = ran.json["ask"]
    assert set(ask) == {"option", "choices", "why"}
    assert ask["option"] in one_line(ran, 2)
    assert boleward("figures", "--site", "asked", store=store).code == 3


def test_the_json_of_figures_has_every_key_of_the_nomenclature_and_the_site_first(store):
    rows = done("figures", "--site", SLUG, "--json", store=store).json
    assert [row["name"] for row in rows] == ["The Park", "North", "South"]
    assert rows[0]["area_id"] is None
    for row in rows:
        assert set(row) == set(columns.names("figures"))
        for name, value in row.items():
            if value is None and name not in ("area_id", "layer", "kind"):
                assert row["why"].get(name), name


def test_the_table_of_figures_lines_up(store):
    lines = done("figures", "--site", SLUG, store=store).out.splitlines()
    assert len({len(line) for line in lines}) == 1
    assert lines[1].startswith("The Park")


def test_csv_of_figures_parses_to_the_same_numbers(store):
    rows = list(csv.DictReader(io.StringIO(done("figures", "--site", SLUG, "--csv", store=store).out)))
    expected = done("figures", "--site", SLUG, "--json", store=store).json
    assert list(rows[0]) == columns.names("figures")
    for row, known in zip(rows, expected, strict=True):
        assert int(row["trees"]) == known["trees"]
        assert row["name"] == known["name"]
        assert (float(row["basal_area_m2"]) if row["basal_area_m2"] else None) == known["basal_area_m2"]
        assert json.loads(row["species"]) == known["species"]


def test_geojson_of_figures_parses_and_places_have_no_outline(store, tmp_path):
    path = outlines(tmp_path / "a.geojson", square(9.169, "lawn"))
    done("import", path, "--site", SLUG, "--layer", "areas", store=store)
    found = json.loads(done("figures", "--site", SLUG, "--geojson", store=store).out)
    assert found["type"] == "FeatureCollection"
    outline = {f["properties"]["name"]: f["geometry"] for f in found["features"]}
    assert outline["lawn"]["type"] in ("Polygon", "MultiPolygon")
    assert outline["North"] is None


def test_of_two_areas_with_one_name_the_ids_are_told_and_each_can_be_had(store, tmp_path):
    path = outlines(tmp_path / "a.geojson", square(9.169, "lawn"), square(9.172, "lawn"))
    done("import", path, "--site", SLUG, "--layer", "areas", store=store)
    said = one_line(boleward("figures", "--site", SLUG, "--area", "lawn", "--json", store=store), 2)
    ids = said.removesuffix(".").rpartition("id: ")[2].split(", ")
    assert len(set(ids)) == 2
    found = [figure(store, SLUG, "--area", id) for id in ids]
    assert sorted(row["area_id"] for row in found) == sorted(ids)
    assert {row["name"] for row in found} == {"lawn"}
    rows = done("figures", "--site", SLUG, "--kind", "lawn", "--json", store=store).json
    assert {row["area_id"] for row in rows} == set(ids)


def test_a_polygon_of_a_file_is_judged_and_not_kept(store, tmp_path):
    path = outlines(tmp_path / "p.geojson", square(9.1695, "here"), square(9.2, "elsewhere"))
    rows = done("figures", "--site", SLUG, "--polygon", path, "--json", store=store).json
    assert [(row["name"], row["trees"]) for row in rows] == [("here", 2), ("elsewhere", 0)]
    assert rows[0]["trees_per_ha"] == pytest.approx(2 / rows[0]["area_ha"])
    assert len(done("figures", "--site", SLUG, "--json", store=store).json) == 3


# --- days -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "trees", "dead", "measured"),
    [("2019-05-31", 1, 0, 0), ("2019-06-01", 3, 0, 2), ("2021-05-31", 3, 0, 2), ("2021-06-01", 3, 1, 2)],
)
def test_figures_of_a_day_in_the_past_are_what_was_true_then(store, day, trees, dead, measured):
    row = figure(store, SLUG, "--as-of", day)  # tree 4 has no dated record: it stands always
    assert row["as_of"] == day
    assert (row["trees"], row["dead_trees"], row["measured_stems"]) == (trees, dead, measured)


def test_figures_of_a_day_ahead_carry_the_sizes_forward(store):
    ahead = (dt.date.today() + dt.timedelta(days=3650)).isoformat()  # noqa: DTZ011 - any day far ahead
    now, then = figure(store, SLUG), figure(store, SLUG, "--as-of", ahead)
    assert then["as_of"] == ahead
    assert then["basal_area_m2"] == now["basal_area_m2"]
    assert then["trees"] == now["trees"]


def test_today_is_the_default(store):
    from service.view import today_in

    assert figure(store, SLUG)["as_of"] == today_in("Europe/Berlin")


# --- snapshots --------------------------------------------------------------------------------------------


def test_a_snapshot_of_a_site_comes_back_in_another_store_and_only_there(store, tmp_path):
    out, other = tmp_path / "park.gpkg", tmp_path / "other.sqlite"
    done("export", out, "--site", SLUG, "--format", "gpkg", store=store)
    said = done("import", out, "--json", store=other).json
    assert (said["site"], said["read"], said["taken"]) == (SLUG, said["taken"], said["read"])
    assert said["records"]["trees"] == {"new": 4, "changed": 0}
    figures = [done("figures", "--site", SLUG, "--json", store=each).json for each in (store, other)]
    assert figures[0] == figures[1]
    assert "This ground is here already" in one_line(boleward("import", out, store=store), 3)


def test_a_list_needs_its_ground_named(store, tmp_path):
    assert "--site" in one_line(boleward("import", tmp_path / "trees.csv", store=store), 2)
