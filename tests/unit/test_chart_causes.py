"""The small bar of causes: as wide as the shares, hatched where assumed, and said in words."""

from xml.etree import ElementTree

import pytest

from layers.chart_causes import (
    CAUSE_WORDS,
    CAUSES_WORDS,
    WIDTH_PX,
    better_words,
    causes_bar,
    described,
    largest_first,
)
from layers.explaining_words import BETTER
from layers.explanations import Part
from tests.map_builders import HOSTILE

SVG = "{http://www.w3.org/2000/svg}"
WORDS = {**CAUSES_WORDS, **BETTER}
PARTS = [
    Part("own", 1.0, 0.1, "assumption", False),
    Part("taper", 6.0, 0.6, "measured on this site", True),
    Part("crew", 3.0, 0.3, "assumption", False),
]


def pieces(parts=PARTS, **given):
    root = ElementTree.fromstring(causes_bar(parts, WORDS, given.get("causes", CAUSE_WORDS), "a"))
    return root, root.findall(SVG + "rect")


def test_pieces_are_as_wide_as_their_shares_the_largest_first():
    root, found = pieces()
    widths = [float(node.get("width")) for node in found]
    assert widths == pytest.approx(
        [0.6 * (WIDTH_PX - 2), 0.3 * (WIDTH_PX - 2), 0.1 * (WIDTH_PX - 2)], abs=0.01
    )
    starts = [float(node.get("x")) for node in found]
    assert starts == pytest.approx([1.0, 1.0 + widths[0], 1.0 + widths[0] + widths[1]], abs=0.02)
    assert all(node.get("stroke") for node in found)
    assert root.get("role") == "img"


def test_assumed_pieces_are_hatched_and_measured_ones_filled():
    root, found = pieces()
    hatches = {node.get("id") for node in root.iter(SVG + "pattern")}
    assert [node.get("fill").startswith("#") for node in found] == [True, False, False]
    assert {node.get("fill") for node in found[1:]} == {f"url(#{name})" for name in hatches}
    turns = [node.get("patternTransform") for node in root.iter(SVG + "pattern")]
    assert len(set(turns)) == 2  # neighbours differ in grey print


def test_the_bar_is_said_in_words():
    root, _found = pieces()
    said = root.find(SVG + "title").text
    assert said == described(PARTS, WORDS, CAUSE_WORDS) == root.get("aria-label")
    assert "60 %, measured on this ground" in said and "10 %, assumed" in said
    assert said.index(CAUSE_WORDS["taper"]) < said.index(CAUSE_WORDS["crew"]) < said.index(CAUSE_WORDS["own"])


@pytest.mark.parametrize("kind", BETTER)
def test_the_largest_part_says_what_would_make_the_number_better(kind):
    parts = [*PARTS, Part(kind, 20.0, 2.0, "", False)]
    assert largest_first(parts)[0].kind == kind
    said = better_words(parts, WORDS, CAUSE_WORDS)
    assert CAUSE_WORDS[kind] in said and BETTER[kind] in said


def test_without_an_error_there_is_no_bar_and_nothing_to_better():
    assert causes_bar([], WORDS, CAUSE_WORDS, "a") == ""
    assert better_words([], WORDS, CAUSE_WORDS) == ""


@pytest.mark.parametrize("hostile", HOSTILE)
def test_words_are_text_whatever_they_hold(hostile):
    root, _found = pieces(causes=dict.fromkeys(CAUSE_WORDS, hostile))
    assert hostile in root.get("aria-label")
    assert not list(root.iter(SVG + "script"))
