import base64
import hashlib
import json
import re
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from layers import columns, map_document, maps, symbology
from layers.errors import AddressUnusable, ColumnMissing
from layers.inputs import US_BREAKS_CM
from layers.line_distance import asked_of_people
from layers.map_words import MAP_WORDS
from tests.builders import make_site
from tests.map_builders import (
    DAY,
    HOSTILE,
    STATIC,
    asset_texts,
    box_of,
    make_areas,
    make_document,
    make_figures,
    make_flags,
    make_places,
    make_targets,
    make_trees,
)

ASSETS = maps.MapAssets(
    css=tuple("/static/" + name for name in maps.STYLES), js=tuple("/static/" + name for name in maps.SCRIPTS)
)


class Elements(HTMLParser):
    """The elements of a page with their attributes, and the text inside each."""

    def __init__(self, page):
        super().__init__()
        self.found, self.texts, self.inside = [], [], False
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.found.append((tag, dict(attributes)))
        self.texts.append("")
        self.inside = True

    def handle_endtag(self, tag):
        self.inside = False

    def handle_data(self, data):
        if self.inside:
            self.texts[-1] += data

    def of(self, tag):
        return [
            (attributes, text)
            for (name, attributes), text in zip(self.found, self.texts, strict=True)
            if name == tag
        ]


# ---- the shell


def test_the_shell_loads_only_what_it_was_told_to():
    shell = maps.map_shell(ASSETS, "earth", "/sites/school/map.json")
    links = Elements(shell.header)
    assert [a["src"] for a, _ in links.of("script")] == list(ASSETS.js)
    assert [a["href"] for a, _ in links.of("link")] == list(ASSETS.css)
    assert len(links.found) == len(ASSETS.js) + len(ASSETS.css)
    assert "http" not in shell.header + shell.html + shell.script


def test_the_shell_has_no_inline_style_and_no_script_in_its_html():
    shell = maps.map_shell(ASSETS, "earth", "/sites/school/map.json")
    assert {name for name, _ in Elements(shell.html).found} == {"section", "div", "p"}
    assert "<" not in shell.script


def test_the_shell_is_the_same_each_time():
    assert maps.map_shell(ASSETS, "local") == maps.map_shell(ASSETS, "local")


def test_a_local_ground_is_drawn_in_metres():
    assert "L.CRS.Simple" in maps.map_shell(ASSETS, "local").script
    assert "L.CRS.EPSG3857" in maps.map_shell(ASSETS, "earth").script


@pytest.mark.parametrize("text", HOSTILE)
def test_an_address_that_is_none_is_refused_and_one_in_an_attribute_stays_text(text):
    with pytest.raises(AddressUnusable):
        maps.map_shell(maps.MapAssets(css=(), js=(text,)), "earth")
    shell = maps.map_shell(ASSETS, "earth", text, {"failed": text, "loading": text})
    section = Elements(shell.html).of("section")[0][0]
    assert section["data-source"] == text
    assert section["data-failed"] == text


# ---- the document


@pytest.mark.parametrize("frame", ["earth", "local"])
def test_a_document_is_plain_json_without_numbers_that_are_none(frame):
    document = make_document(frame=frame)
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_trees_come_largest_first_and_removed_ones_not_at_all():
    trees = make_trees(10)
    trees.loc[9, "status"] = "removed"
    document = document_of(trees)
    assert len(document["trees"]["tree_id"]) == 9
    sizes = [size for size in document["trees"]["dbh_cm"] if size is not None]
    assert sizes == sorted(sizes, reverse=True)


def test_a_tree_has_the_class_of_its_diameter_and_none_without_a_size():
    document = make_document()
    by_tag = {text(document["trees"]["tag"], i): i for i in range(40)}
    classes, sizes = document["trees"]["size_class"], document["trees"]["dbh_cm"]
    assert classes[by_tag["T003"]] == -1
    assert all(
        size is None or low <= size < high
        for size, number in zip(sizes, classes, strict=True)
        for low, high in [((0, 10, 20, 40, 60, 80)[number], (10, 20, 40, 60, 80, np.inf)[number])]
    )


def test_a_class_reading_gives_a_tree_its_class_where_it_is_one_of_the_site():
    trees = make_trees(10)
    trees["dbh_cm"] = np.nan
    trees["size_class"] = ["20 to under 40 cm", "20 to 50 cm", *[None] * 8]
    document = document_of(trees)
    assert document["trees"]["size_class"][:3] == [2, -1, -1]
    assert text(document["trees"]["class_said"], 1) == "20 to 50 cm"


def test_the_legend_counts_living_trees():
    document = make_document()
    trees = make_trees()
    living = trees[(trees["status"] == "living") & trees["dbh_cm"].notna()]
    assert sum(size["trees"] for size in document["classes"]) == len(living)


def test_a_tree_without_a_position_is_there_to_be_found():
    document = make_document()
    i = [text(document["trees"]["tag"], i) for i in range(40)].index("T005")
    assert document["trees"]["x"][i] is None
    assert document["trees"]["y"][i] is None


def test_answered_flags_are_left_out_and_open_ones_point_to_their_tree():
    document = make_document()
    flags = document["flags"]
    tags = [text(document["trees"]["tag"], i) for i in flags["tree"]]
    kinds = [text(flags["kind"], i) for i in range(len(tags))]
    assert dict(zip(tags, kinds, strict=True)) == {"T006": "sign", "T007": "gap"}


def test_areas_come_largest_first_and_a_boundary_sets_no_step():
    document = make_document()
    assert next(area["kind"] for area in document["areas"]) == "boundary"
    steps = {area["name"]: area["step"]["basal_area"] for area in document["areas"]}
    assert steps == {"School ground": -1, "North yard": 0, "Wood corner": 2}
    assert document["shadings"]["basal_area"]["breaks"] == [10.0, 20.0]


def test_shading_is_stepped_in_the_display_unit():
    document = make_document(terms=make_site(units="us", breaks_cm=US_BREAKS_CM))
    # 27.9 m2/ha is 121.5 square feet per acre, 140 stems/ha are 56.7 per acre
    assert document["shadings"]["basal_area"]["breaks"] == [25.0, 50.0, 75.0, 100.0]
    assert document["shadings"]["stems"]["breaks"] == [20.0, 40.0]
    assert document["areas"][1]["basal_area_m2_per_ha"] in (9.1, 27.9)


def test_an_area_without_figures_has_none():
    areas = map_document.areas_with_figures(make_areas(), [])
    assert areas["stems_per_ha"].isna().all()


def test_figures_of_a_place_are_not_taken_for_those_of_an_area_of_the_same_id():
    place = {"area_id": "a1", "layer": "places", "stems_per_ha": 1.0}
    assert map_document.areas_with_figures(make_areas(), [place])["stems_per_ha"].isna().all()


def test_the_first_view_holds_all_areas_and_trees():
    west, south, east, north = make_document()["bounds"]
    lon, lat = make_trees()["lon_deg"], make_trees()["lat_deg"]
    assert west <= lon.min()
    assert lon.max() <= east
    assert south <= lat.min()
    assert lat.max() <= north


def test_one_tree_far_off_does_not_make_a_crowded_map_tiny():
    trees = make_trees(1200)
    trees.loc[7, ["lon_deg", "lat_deg"]] = (0.0, 0.0)
    west, south, _, _ = document_of(trees)["bounds"]
    assert west > 9
    assert south > 47


def test_an_empty_ground_gives_an_empty_document():
    empty = columns.empty
    areas = map_document.areas_with_figures(empty("area_record"), [])
    document = map_document.map_document(
        empty("trees"), areas, empty("target_record"), pd.DataFrame(), empty("flags"), make_site(), DAY
    )
    assert document["bounds"] is None
    assert document["trees"]["tree_id"] == []
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_closures_name_their_trees_and_hazards_what_they_ask_in_the_units_of_the_ground():
    first, removed = make_document()["trees"]["tree_id"][0], "not on the map"
    said = {"from_on": "2026-05-01", "why": "storm", "how_marked": None, "who_may_reopen": "council"}
    closures = [
        {"name": "corner", "trees": [first, removed], "geometry": box_of(0, 0, 0.5, 0.5), **said},
        {"name": "in words", "trees": [], "geometry": None, **said},
    ]
    line = {
        "kind": "overhead line",
        "note": None,
        "ask": asked_of_people(115),
        "geometry": box_of(0, 0, 1, 0.1),
    }
    drawn = make_document(closures=closures, hazards=[line], terms=make_site(units="us"))
    assert [(one["name"], one["trees"]) for one in drawn["closures"]] == [("corner", [0]), ("in words", [])]
    assert drawn["closures"][0]["geometry"]["type"] == "Polygon"
    assert drawn["closures"][1]["geometry"] is None
    assert "at least 12.2 ft away" in drawn["hazards"][0]["ask"]
    json.dumps(drawn, allow_nan=False)


def test_a_frame_without_its_columns_is_named():
    with pytest.raises(ColumnMissing, match="dbh_cm"):
        document_of(make_trees().drop(columns="dbh_cm"))


def test_a_plan_image_is_in_the_first_view_and_a_street_map_only_on_earth():
    plan = {"url": "/sites/school/plan.png", "bounds": [-50.0, -20.0, 300.0, 200.0]}
    streets = {"url": "/tiles/{z}/{x}/{y}.png", "attribution": "the mappers"}
    local = make_document(frame="local", plan_image=plan, basemap=streets)
    assert local["bounds"] == plan["bounds"]
    assert local["basemap"] is None
    assert make_document(basemap=streets)["basemap"] == streets


def test_the_caution_names_the_number_to_call():
    assert make_document()["messages"]["caution"].endswith("keep people away and call 01 234 567 now.")
    without = make_document(terms=make_site())
    assert without["messages"]["caution"].endswith("call the site's number now.")


def test_words_can_be_translated_one_by_one():
    messages = make_document(messages={"trees": "Bäume"})["messages"]
    assert messages["trees"] == "Bäume"
    assert messages["dead"] == MAP_WORDS["dead"]


def test_the_words_the_scripts_ask_for_are_those_of_the_table():
    scripts = "".join((STATIC / name).read_text(encoding="utf-8") for name in maps.SCRIPTS[1:])
    asked = set(re.findall(r'say\("([a-z_]+)"[,)]', scripts))
    assert len(asked) > 30
    assert asked <= set(MAP_WORDS)
    in_python = {*symbology.CLASS_WORDS, "no_phone", "loading", "failed"}
    built = ("kind.", "use.", "status.", "keeper.", "hazard.", "shade_", "unit_")
    for key in set(MAP_WORDS) - in_python:
        assert key.startswith(built) or f'"{key}"' in scripts or f".{key}" in scripts, key


def test_no_word_of_the_map_calls_a_tree_harmless():
    words = " ".join(text for key, text in MAP_WORDS.items() if key != "caution").lower()
    assert not re.search(r"\b(safe|sound|ok|clear|passed|low risk|healthy|good)\b", words)


# ---- data as data


@pytest.mark.parametrize("said", HOSTILE)
def test_embedded_data_cannot_end_its_element_and_comes_back_verbatim(said):
    document = make_document(said=said, terms=make_site(name=said))
    element = maps.embedded(document)
    inside = element.removeprefix('<script type="application/json" id="map_data">').removesuffix("</script>")
    assert not set("<>&\u2028\u2029") & set(inside)
    assert json.loads(inside) == document


@pytest.mark.parametrize("said", HOSTILE)
def test_one_file_shows_hostile_names_as_text_and_adds_no_element(said):
    calm = Elements(maps.self_contained(make_document(), asset_texts()))
    page = Elements(maps.self_contained(make_document(said=said, terms=make_site(name=said)), asset_texts()))
    assert [name for name, _ in page.found] == [name for name, _ in calm.found]
    assert page.of("h1")[0][1] == said


# ---- one file


def test_one_file_points_to_nothing_outside():
    page = maps.self_contained(make_document(basemap={"url": "https://tiles/{z}"}), asset_texts())
    for _, attributes in Elements(page).found:
        assert not {"src", "href"} & set(attributes)
    assert "sourceMappingURL" not in page
    assert not re.search(r"url\(", "".join(text for _, text in Elements(page).of("style")))
    assert "https://tiles" not in page


def test_one_file_lets_only_its_own_scripts_and_styles_run():
    page = Elements(maps.self_contained(make_document(), asset_texts()))
    policy = next(a["content"] for a, _ in page.of("meta") if "http-equiv" in a)
    assert policy.startswith("default-src 'none'; ")
    runs = [text for attributes, text in page.of("script") if attributes.get("type") != "application/json"]
    for said in (*runs, *(text for _, text in page.of("style"))):
        digest = base64.b64encode(hashlib.sha256(said.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy


def test_one_file_says_what_it_is_of_and_of_when():
    page = Elements(maps.self_contained(make_document(lang="de"), asset_texts()))
    assert page.of("html")[0][0]["lang"] == "de"
    assert page.of("title")[0][1] == f"School ground, as of {DAY}"
    assert page.of("h1")[0][1] == "School ground"


def document_of(trees):
    flags = make_flags(make_trees(10))
    return map_document.map_document(
        trees,
        map_document.areas_with_figures(make_areas(), make_figures()),
        make_targets(),
        make_places(),
        flags,
        make_site(),
        DAY,
    )


def text(column, i):
    code = column["codes"][i]
    return None if code < 0 else column["values"][code]
