import re
import threading
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

from layers import charts, symbology
from layers.chart_words import CHART_WORDS
from layers.inputs import US_BREAKS_CM
from tests.builders import make_site
from tests.map_builders import HOSTILE

SVG = "{http://www.w3.org/2000/svg}"
LARGER = (10, 31, 46, 24, 9, 3)


def a_figure_row(stems=LARGER, kinds=("Tilia cordata", "Acer campestre", None)):
    bounds = [(0.0, 10.0), (10.0, 20.0), (20.0, 40.0), (40.0, 60.0), (60.0, 80.0), (80.0, None)]
    classes = [
        {"from_cm": low, "to_cm": high, "stems": number, "basal_area_m2": 0.1}
        for (low, high), number in zip(bounds, stems, strict=True)
    ]
    species = [
        {"scientific_name": name, "trees": 40 - i, "share": (40 - i) / 100, "share_basal_area": 0.2}
        for i, name in enumerate(kinds)
    ]
    return {"size_classes": classes, "species": species}


def some_readings(**changes):
    given = {
        "measured_on": ["2019-05-02", "2022-06-01", "2026-05-12"],
        "as_measured_cm": [40.1, 42.5, 43.0],
        "height_m": [1.0, np.nan, 1.3],
        "dbh_cm": [38.9, 42.5, 43.0],
        "dbh_se_cm": [1.0, 0.6, 0.5],
        "assumed": [True, True, False],
    }
    return pd.DataFrame({**given, **changes})


def all_charts(narrow=False, terms=None):
    terms = terms or make_site()
    return {
        "sizes": charts.size_class_chart(a_figure_row(), terms, narrow=narrow),
        "tree": charts.tree_chart(some_readings(), terms, narrow=narrow),
        "species": charts.species_chart(a_figure_row(), terms, narrow=narrow),
    }


def texts(svg):
    return [node.text or "" for node in ElementTree.fromstring(svg).iter(SVG + "text")]


def described(svg):
    root = ElementTree.fromstring(svg)
    return root.find(SVG + "title").text, root.find(SVG + "desc").text


@pytest.mark.parametrize("chart", ["sizes", "tree", "species"])
@pytest.mark.parametrize(("narrow", "width"), [(False, 680), (True, 360)])
def test_a_chart_is_one_picture_of_its_width_with_a_title_and_a_description(chart, narrow, width):
    svg = all_charts(narrow)[chart]
    root = ElementTree.fromstring(svg)
    assert root.tag == SVG + "svg"
    assert float(root.get("width")) == width
    assert root.get("viewBox").split()[2] == str(width)
    assert root.get("role") == "img"
    title, desc = described(svg)
    assert title
    assert len(desc) > 40


@pytest.mark.parametrize("chart", ["sizes", "tree", "species"])
def test_a_chart_is_the_same_each_time_and_says_no_day_of_making(chart):
    svg = all_charts()[chart]
    assert svg == all_charts()[chart]
    assert "metadata" not in svg
    assert "dc:date" not in svg


@pytest.mark.parametrize("chart", ["sizes", "tree", "species"])
def test_a_chart_holds_nothing_that_a_strict_page_refuses(chart):
    svg = all_charts()[chart]
    tags = {node.tag.removeprefix(SVG) for node in ElementTree.fromstring(svg).iter()}
    assert not tags & {"style", "script", "image", "foreignObject", "metadata"}
    addresses = re.findall(r"https?://[^\"' ]+", svg)
    assert all(address.startswith("http://www.w3.org/") for address in addresses)


def test_the_process_keeps_its_own_settings_of_the_drawing_library():
    before = dict(mpl.rcParams)
    all_charts()
    assert dict(mpl.rcParams) == before


def test_charts_made_at_the_same_time_do_not_mix():
    alone = all_charts()
    made = []
    threads = [threading.Thread(target=lambda: made.append(all_charts())) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == [alone] * 4


@pytest.mark.parametrize("said", [*HOSTILE, "costs $5 and $x^2$", "a\x00b\ud800c", "木", "\\frac{1}{2}"])
def test_hostile_names_are_drawn_as_text(said):
    row = a_figure_row(kinds=(said, "Acer campestre"))
    calm = charts.species_chart(a_figure_row(kinds=("Tilia cordata", "Acer campestre")), make_site())
    svg = charts.species_chart(row, make_site())
    shown = re.sub("[\x00\ud800]", "\ufffd", said)
    assert len(list(ElementTree.fromstring(svg).iter())) <= len(list(ElementTree.fromstring(calm).iter())) + 2
    assert any(shown.split("\n")[0][:20] in text for text in texts(svg))
    assert shown in described(svg)[1]


def test_every_class_has_its_label_its_number_and_its_colour():
    svg = charts.size_class_chart(a_figure_row(), make_site())
    for size, number in zip(symbology.drawn_classes(make_site()), LARGER, strict=True):
        assert size.label in texts(svg)
        assert str(number) in texts(svg)
        assert f"fill: {size.fill}" in svg or f'fill="{size.fill}"' in svg
    assert described(svg)[1].startswith("Bars, from thin to thick: under 10 cm: 10, ")


def test_classes_are_told_apart_by_hatch_too():
    hatches = [size.hatch for size in symbology.drawn_classes(make_site())]
    assert len(set(hatches)) == len(hatches)
    svg = charts.size_class_chart(a_figure_row(), make_site())
    assert len(set(re.findall(r'<pattern id="([^"]+)"', svg))) == len(hatches) - 1  # the thinnest is plain


def test_a_bar_is_as_long_as_its_number():
    svg = charts.size_class_chart(a_figure_row(stems=(10, 20, 40, 0, 0, 0)), make_site())
    outlines = re.findall(r'<path d="([^"]+z)\s*"[^>]*style="fill: none; stroke: #1d2a3a', svg)
    lengths = [
        max(x) - min(x) for path in outlines if (x := [float(a) for a in re.findall(r"[ML] ([\d.]+)", path)])
    ]
    assert len(lengths) == 6
    assert lengths[1] == pytest.approx(2 * lengths[0], rel=1e-3)
    assert lengths[2] == pytest.approx(4 * lengths[0], rel=1e-3)
    assert lengths[3:] == [0, 0, 0]


def test_an_area_without_a_size_says_that_nothing_is_measured():
    for row in (a_figure_row(stems=(0,) * 6), {"size_classes": None}, {"size_classes": []}):
        assert "nothing measured yet" in texts(charts.size_class_chart(row, make_site()))
    assert "nothing measured yet" in texts(charts.species_chart({"species": []}, make_site()))
    assert "nothing measured yet" in texts(charts.tree_chart(some_readings().iloc[:0], make_site()))


def test_the_tree_chart_tells_size_and_error_of_each_day():
    desc = described(charts.tree_chart(some_readings(), make_site()))[1]
    assert "2019-05-02: 38.9 cm, give or take 2.0 cm" in desc  # 1.96 standard errors
    assert "2026-05-12: 43.0 cm, give or take 1.0 cm" in desc


def test_whiskers_are_dashed_where_the_error_is_assumed():
    def dashes(assumed):
        svg = charts.tree_chart(some_readings(assumed=assumed), make_site())
        return svg.count("stroke-dasharray"), [w for w in texts(svg) if w.startswith("error")]

    assert dashes([False] * 3) == (0, [CHART_WORDS["whisker_measured"]])
    some, words = dashes([True, True, False])
    every, _ = dashes([True] * 3)
    assert 0 < some < every
    assert set(words) == {CHART_WORDS["whisker_measured"], CHART_WORDS["whisker_assumed"]}


def test_a_height_other_than_breast_height_stands_beside_the_reading():
    assert "at 1.00 m" in texts(charts.tree_chart(some_readings(), make_site()))
    same = charts.tree_chart(some_readings(height_m=[1.3, 1.3, 1.3]), make_site())
    assert not [text for text in texts(same) if text.startswith("at ")]


def test_a_site_in_inches_has_charts_in_inches():
    terms = make_site(units="us", breast_height_m=1.3716, breaks_cm=US_BREAKS_CM)
    svg = charts.tree_chart(some_readings(), terms)
    assert "width of the trunk at 4 ft 6 in, in" in texts(svg)
    assert "16.9 in" in described(svg)[1]
    assert "8 to under 16 in" in texts(charts.size_class_chart({"size_classes": []}, terms))


@pytest.mark.parametrize(
    "changes",
    [
        {"dbh_cm": [np.nan] * 3, "dbh_se_cm": [np.nan] * 3},
        {"dbh_se_cm": [np.nan] * 3},
        {"measured_on": [None, None, "2026-05-12"]},
        {"measured_on": ["2026-05-12"] * 3, "stem_number": [1, 2, 3]},
    ],
)
def test_a_tree_with_gaps_in_what_is_known_is_drawn_without_a_word_of_warning(changes):
    assert described(charts.tree_chart(some_readings(**changes), make_site()))[0]


def test_a_small_change_is_not_drawn_large():
    svg = charts.tree_chart(
        some_readings(dbh_cm=[40.0, 40.1, 40.2], dbh_se_cm=[0.01, 0.01, 0.01]), make_site()
    )
    ticks = [float(text) for text in texts(svg) if re.fullmatch(r"\d\d(\.\d)?", text)]
    assert max(ticks) - min(ticks) >= 3


def test_rare_kinds_are_one_row_and_one_that_is_left_alone_is_named():
    many = charts.species_chart(a_figure_row(kinds=tuple(f"Genus k{i}" for i in range(12))), make_site())
    assert "4 other kinds" in texts(many)
    nine = charts.species_chart(a_figure_row(kinds=tuple(f"Genus k{i}" for i in range(9))), make_site())
    assert "Genus k8" in texts(nine)
    assert not [text for text in texts(nine) if "other" in text]


def test_words_can_be_translated():
    words = CHART_WORDS | {"sizes_title": "Stämme nach Dicke in {height}"}
    svg = charts.size_class_chart(a_figure_row(), make_site(), words)
    assert described(svg)[0] == "Stämme nach Dicke in 1.30 m"
