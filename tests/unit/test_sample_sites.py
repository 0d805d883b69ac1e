"""The two invented grounds: made again the same, believable, and without the simulator's own truth."""

import collections
import csv
import datetime as dt
import json
import math
import statistics
import tomllib

import pytest
from shapely.geometry import shape

from layers import columns
from layers.sights import SIGHTS
from sample_sites import generate, growing, measuring
from sample_sites.growing import HERE, Dice, Stem, Tree

OWN_WORDS = {
    "reading_no",
    "observation_no",
    "inspection_no",
    "look_note",
    "remark",
    "girth_cm",
    "diameter_in",
}
OWN_WORDS |= {"record_kind", "height_ft", "crown_diameter_ft", "area", "from_on", "to_on", "id", "code"}


@pytest.fixture(scope="module", params=generate.RECIPES)
def made(request):
    return generate.Sample(request.param)


@pytest.fixture(scope="module")
def school():
    return generate.Sample("school")


@pytest.fixture(scope="module")
def park():
    return generate.Sample("park")


def rows_of(made, name):
    with open(HERE / made.slug / name, encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_the_folder_is_made_again_byte_for_byte(made, tmp_path):
    generate.write(made.recipe_file.removeprefix("recipe_").removesuffix(".toml"), tmp_path)
    there = {path.name: path.read_bytes() for path in (HERE / made.slug).iterdir()}
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == there


def test_the_school_has_about_140_trees_and_six_yearly_rounds(school):
    assert 130 <= len(school.trees) <= 150
    days = [row["from_on"] for row in rows_of(school, "rounds.csv")]
    assert [day[:4] for day in days] == ["2021", "2022", "2023", "2024", "2025", "2026"]
    assert {row["instrument"] for row in rows_of(school, "rounds.csv")} == {
        "string and ruler",
        "girth tape",
        "hand breadths",
    }
    assert tomllib.loads((HERE / school.slug / "site.toml").read_text())["units"] == "metric"


def test_the_park_has_about_900_trees_two_crews_and_three_rounds_in_inches(park):
    assert 880 <= len(park.trees) <= 920
    assert len(rows_of(park, "rounds.csv")) == 3
    assert {row["kind"] for row in rows_of(park, "crews.csv")} == {"volunteers", "trained staff"}
    assert {row["unit"] for row in rows_of(park, "readings.csv")} == {"in"}
    wood = [tree for tree in park.trees if tree.area == "Woodland corner"]
    assert 300 <= len(wood) <= 450


def test_a_site_says_that_it_is_invented(made):
    site = tomllib.loads((HERE / made.slug / "site.toml").read_text(encoding="utf-8"))
    assert site["invented"] is True
    assert site["phone"] == made.recipe["site"]["phone"]
    assert "invented" in site["phone"] and "invented" in site["qualified"]
    assert not any(letter.isdigit() for letter in site["phone"])
    assert "invented" in (HERE / made.slug / "ORIGIN.md").read_text(encoding="utf-8")


def test_headers_are_words_of_the_nomenclature_or_explained(made):
    known = {column.name for frame in columns.FRAMES.values() for column in frame}
    for path in (HERE / made.slug).glob("*.csv"):
        assert set(rows_of(made, path.name)[0]) <= known | OWN_WORDS, path.name


def test_the_simulators_truth_is_in_no_file(made):
    slips = {*measuring.SLIPS, "the neighbour", "another trunk"}
    for path in (HERE / made.slug).iterdir():
        text = path.read_text(encoding="utf-8")
        hidden = ["mistake,", "true_cm", "departure", "vigour", *(f",{slip}," for slip in slips)]
        assert not [word for word in hidden if word in text], path.name
    truth = {reading.reading_no: reading.true_cm for reading in made.readings}
    exact = 0
    for row in rows_of(made, "readings.csv"):
        size_cm = float(row["value"]) * measuring.CM_PER[row["unit"]]
        diameter_cm = size_cm / math.pi if row["quantity"] == "girth" else size_cm
        exact += math.isclose(diameter_cm, truth[row["reading_no"]], rel_tol=1e-4)
    assert exact < 0.01 * len(truth)


def test_about_six_in_a_hundred_readings_are_wrong_and_some_are_corrected(made):
    wrong = [reading for reading in made.readings if reading.mistake]
    assert 0.045 < len(wrong) / len(made.readings) < 0.075
    corrected = {reading.supersedes for reading in made.readings if reading.supersedes}
    assert corrected < {reading.reading_no for reading in wrong}
    assert 0.1 < len(corrected) / len(wrong) < 0.5


def test_every_kind_of_mistake_happens_in_the_park(park):
    assert {reading.mistake for reading in park.readings} == {
        None,
        *measuring.SLIPS,
        "the neighbour",
        "another trunk",
    }


def test_mistakes_are_what_they_are_called(park):
    factor = {"other unit": 2.54, "other face of the tape": None}
    for reading in (r for r in park.readings if r.mistake in factor and r.value > 8):
        size = reading.true_cm / 2.54 * (math.pi if reading.quantity == "girth" else 1.0)
        face = 1 / math.pi if reading.quantity == "girth" else math.pi
        assert reading.value == pytest.approx(size * (factor[reading.mistake] or face), rel=0.3)


@pytest.mark.parametrize(("height_m", "of"), [(1.3716, 32.6213), (1.30, 32.8071)])
def test_trunks_taper_by_the_published_profile(height_m, of):
    # Raile 1982 (NC-224), mixed hardwood (B = 0.12766): 40 cm at 0.30 m is 32.6213 cm at 1.3716 m and
    # 32.8071 cm at 1.30 m; computed from the published form and coefficient.
    recipe = growing.recipe_of("park")
    kind = growing.Kind(**next(k for k in recipe["species"] if k["name"] == "Fraxinus americana"))
    day = dt.date(2026, 7, 1)
    tree = Tree(1, "", "open", kind, 0, 0, dt.date(1960, 1, 1), 1.0, [Stem(1.0, 0.0)])
    ratio = tree.diameter_cm(0, day, height_m, 1.3716) / tree.diameter_cm(0, day, 0.30, 1.3716)
    assert 40.0 * ratio == pytest.approx(of, abs=5e-5)


def test_a_trunk_may_depart_from_the_profile_but_not_at_breast_height():
    recipe = growing.recipe_of("school")
    kind = growing.Kind(**recipe["species"][0])
    tree = Tree(1, "", "open", kind, 0, 0, dt.date(1980, 1, 1), 1.0, [Stem(1.0, 0.0), Stem(1.0, 1.0)])
    day = dt.date(2026, 5, 1)
    assert tree.diameter_cm(0, day, 1.30, 1.30) == tree.diameter_cm(1, day, 1.30, 1.30)
    assert tree.diameter_cm(1, day, 0.6096, 1.3716) / tree.diameter_cm(
        0, day, 0.6096, 1.3716
    ) == pytest.approx(1.035, abs=1e-4)


def test_readings_without_a_mistake_err_as_much_as_their_crew_is_assumed_to(park):
    for kind, low, high in (("volunteers", 0.6, 1.1), ("staff", 0.25, 0.75)):
        off = [
            reading.value * 2.54 / (math.pi if reading.quantity == "girth" else 1.0) - reading.true_cm
            for reading in park.readings
            if reading.crew == kind and not reading.mistake and not reading.note and reading.true_cm < 40
        ]
        assert low < statistics.stdev(off) < high


def test_trees_grow_from_round_to_round(school):
    day = [dt.date(year, 5, 15) for year in (2021, 2026)]
    yearly = [
        (tree.dbh_cm(0, day[1]) - tree.dbh_cm(0, day[0])) / 5 for tree in school.trees if tree.mix == "open"
    ]
    assert 0.3 < statistics.mean(yearly) < 1.0
    assert all(0 < growth < 2.6 for growth in yearly)


def test_the_tree_list_has_the_faults_of_real_lists(made):
    rows, said = rows_of(made, "trees.csv"), made.recipe["list"]
    trees = [row for row in rows if row["record_kind"] == "tree"]
    assert len(rows) - len(trees) == said["stumps"] + said["vacant"]
    size = f"{said['quantity']}_{said['unit']}"
    assert sum("/" in row[size] for row in trees) >= 3
    assert sum(row[size] == "0" for row in trees) == said["zeros"]
    assert sum(not row["lon_deg"] for row in trees) == said["without_position"]
    tags = collections.Counter(row["tag"] for row in trees)
    assert tags.pop("") >= said["without_tag"]
    assert sum(count > 1 for count in tags.values()) >= said["duplicate_tags"] - 1
    names = {row["scientific_name"].strip() for row in trees}
    assert names & {kind["wrong"] for kind in made.recipe["species"]}
    assert names & {"unknown", "?", "not known"}
    assert sum(row["status"] == "dead" for row in trees) == said["dead_at_start"]


def test_every_reading_is_of_a_known_tree_crew_and_round_and_of_a_living_tree(made):
    trees = {row["external_id"] for row in rows_of(made, "trees.csv")}
    crews = {(row["round_id"], row["code"]) for row in rows_of(made, "crews.csv")}
    rounds = {row["id"]: row for row in rows_of(made, "rounds.csv")}
    gone = {row["external_id"]: row["happened_on"] for row in rows_of(made, "statuses.csv")}
    readings = rows_of(made, "readings.csv")
    assert len({row["reading_no"] for row in readings}) == len(readings)
    for row in readings:
        assert row["external_id"] in trees
        assert (row["round_id"], row["crew"]) in crews
        given = rounds[row["round_id"]]
        assert given["from_on"] <= row["measured_on"] <= given["to_on"]
        assert row["measured_on"] <= gone.get(row["external_id"], "9999")


def test_what_crews_saw_is_said_in_the_words_of_the_list_of_sights(made):
    said = {row["what"] for row in rows_of(made, "observations.csv")}
    assert {"height", "crown diameter"} < said
    assert said - {"height", "crown diameter"} <= set(SIGHTS)
    assert len(said) >= 8


def test_a_few_trees_that_nobody_reaches_have_no_size_at_all(made):
    said = made.recipe["list"]
    size = f"{said['quantity']}_{said['unit']}"
    measured = {row["external_id"] for row in rows_of(made, "readings.csv")}
    listed = [row for row in rows_of(made, "trees.csv") if row["record_kind"] == "tree" and not row[size]]
    never = {row["external_id"] for row in listed} - measured
    assert len(never) >= said["never_measured"]


def test_corrections_point_to_an_earlier_reading_of_the_same_trunk(made):
    known = {}
    for row in rows_of(made, "readings.csv"):
        if row["supersedes"]:
            assert known[row["supersedes"]] == (row["external_id"], row["number"])
            assert row["reason"]
        known[row["reading_no"]] = (row["external_id"], row["number"])


def test_hands_are_kept_as_they_were_counted(school):
    rows = [row for row in rows_of(school, "readings.csv") if row["instrument"] == "hand breadths"]
    counted = [row for row in rows if row["parts"]]
    assert len(counted) > 50
    for row in counted:
        hands, width = row["parts"].split(" x ")
        assert float(hands) * float(width) == float(row["value"])


def test_areas_do_not_overlap_and_lie_in_the_boundary(made):
    features = json.loads((HERE / made.slug / "areas.geojson").read_text(encoding="utf-8"))["features"]
    outlines = {f["properties"]["name"]: shape(f["geometry"]) for f in features}
    kinds = [f["properties"]["kind"] for f in features]
    assert kinds.count("boundary") == 1
    whole = outlines.pop(features[kinds.index("boundary")]["properties"]["name"])
    for name, outline in outlines.items():
        assert outline.is_valid and outline.exterior.is_ccw
        assert outline.difference(whole).area < 0.002 * whole.area, name
        others = [other for known, other in outlines.items() if known != name]
        assert all(outline.intersection(other).area < 1e-12 for other in others), name


def test_nobody_stands_in_a_building(made):
    buildings = [
        growing.Polygon(target["ring"]) for target in made.recipe["targets"] if target["kind"] == "building"
    ]
    assert not [
        tree.number
        for tree in made.trees
        if any(building.contains(growing.Point(tree.x_m, tree.y_m)) for building in buildings)
    ]


def test_a_qualified_person_looked_at_the_play_area_two_years_ago(made):
    looks = rows_of(made, "inspections.csv")
    formal = [row for row in looks if row["level"] == "formal"]
    assert {row["area"] for row in formal} & {"Play area", "Playground"}
    assert {row["qualified"] for row in formal} == {"true"}
    assert all(row["inspected_on"].startswith("2024") for row in formal)
    assert {row["answer"] for row in looks} == {"nothing recorded", "recorded", "not reached"}


def test_dice_fall_the_same_for_the_same_seed_only():
    one, same, other = (Dice(seed, "x") for seed in (1, 1, 2))
    thrown = [one.normal() for _ in range(5)]
    assert thrown == [same.normal() for _ in range(5)]
    assert thrown != [other.normal() for _ in range(5)]
