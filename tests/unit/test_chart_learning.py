"""Pictures of what was learned: their numbers are those given, teams differ by shape, others stay unnamed."""

from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from layers import chart_learning
from layers.class_learning import middle_of
from layers.growth_of_trees import GrowingGroup
from tests.builders import make_site
from tests.map_builders import HOSTILE

SVG = "{http://www.w3.org/2000/svg}"
US = make_site(units="us")


def rows(teams=("A", "B", "A", "B")):
    number = len(teams)
    read = np.linspace(40.0, 200.0, number)
    guess = read * np.resize([0.9, 1.2], number)
    return pd.DataFrame(
        {"read_cm": read, "guess_cm": guess, "tape_cm": read, "hand_cm": guess, "team": teams}
    )


def groups(names=("all of them", "Tilia")):
    return [GrowingGroup(name, 12, 0.5, 0.1, 0.3, 0.7) for name in names]


def drawn(narrow=False, terms=None, teams=("A", "B", "A", "B"), own=None):
    terms = terms or make_site()
    apart = np.array([0.2, 1.4, 1.6, 3.0, 40.0])
    return {
        "guesses": chart_learning.guesses_chart(rows(teams), terms, narrow=narrow, own=own),
        "hands": chart_learning.hands_chart(rows(teams), terms, narrow=narrow, own=own),
        "teams": chart_learning.apart_chart(apart, middle_of(apart), terms, narrow=narrow),
        "trees": chart_learning.grown_chart(groups(), terms, narrow=narrow),
    }


def texts(svg):
    return [node.text or "" for node in ElementTree.fromstring(svg).iter(SVG + "text")]


def told(svg):
    root = ElementTree.fromstring(svg)
    return root.find(SVG + "title").text, root.find(SVG + "desc").text


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("terms", [make_site(), US], ids=["metric", "us"])
def test_every_picture_has_a_title_a_description_and_its_width(narrow, terms):
    for svg in drawn(narrow, terms).values():
        title, desc = told(svg)
        assert title
        assert len(desc) > 20
        assert "{" not in desc
        assert float(ElementTree.fromstring(svg).get("width")) == (360 if narrow else 680)


def test_descriptions_hold_the_numbers_in_the_units_of_the_ground():
    metric, us = drawn(), drawn(terms=US)
    assert "from 40 to 200 cm" in told(metric["guesses"])[1]
    assert "from 16 to 79 in" in told(us["guesses"])[1]
    assert "half of them lie within 1.6 cm" in told(metric["teams"])[1]
    assert "half of them lie within 0.6 in" in told(us["teams"])[1]
    assert "Tilia: 1.6, from 0.9 to 2.2" in told(metric["trees"])[1]  # pi times 0.5, 0.3, 0.7
    assert "Tilia: 0.6, from 0.4 to 0.9" in told(us["trees"])[1]


def test_each_team_is_named_once_and_one_team_sees_the_others_as_they_are_called():
    said = texts(drawn()["guesses"])
    assert [text for text in said if text.startswith("guess")] == ["guess: A", "guess: B"]
    for name in ("guesses", "hands"):
        joined = " ".join(texts(drawn(teams=("A", "another team", "A", "another team"), own="A")[name]))
        assert joined.count("another team") == 1


def test_one_mistaken_giant_does_not_squeeze_all_others_and_is_drawn_at_the_edge():
    many = rows(("A",) * 100)
    many.loc[99, "read_cm"] = 2000.0
    said = [text for text in texts(chart_learning.guesses_chart(many, make_site())) if text.isdigit()]
    assert max(map(int, said)) < 500


def test_hostile_names_are_drawn_as_text():
    svg = drawn(teams=HOSTILE, own=HOSTILE[0])["guesses"]
    trees = chart_learning.grown_chart(groups(HOSTILE), make_site())
    for each in (svg, trees):
        root = ElementTree.fromstring(each)
        assert not [node for node in root.iter() if node.tag.endswith(("script", "img"))]
    assert any("7*7" in text for text in texts(svg))


def test_a_few_pairs_have_dots_and_no_line_of_a_middle():
    svg = chart_learning.apart_chart(np.array([1.0, 2.0]), None, make_site())
    assert "half of the dots lie left of this line" not in texts(svg)
    assert "2 dots" in told(svg)[1]
