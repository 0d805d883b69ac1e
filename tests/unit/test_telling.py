"""Sentences made of data: each is found again by its template, and said in the ground's units and days."""

import re

import numpy as np
import pandas as pd
import pytest

from layers import conversion, girth, telling
from layers.history import state_at
from layers.telling import LAYERS, SENTENCES, Voice
from layers.tree_table import tree_table
from layers.units import feet_and_inches, height_words
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree

US = Voice(units="us", translate=str, day=lambda day: f"<{day}>")
METRES_LEFT = re.compile(r"\d m\b")


def sized(**reading):
    """The sentence of one reading of an oak on a ground in US customary units."""
    records = make_records(
        trees=[
            make_tree(scientific_name=reading.pop("name", "Quercus robur"), genus=reading.pop("genus", None))
        ],
        stems=[make_stem()],
        readings=[make_reading(**reading)],
    )
    site = make_site(breast_height_m=1.3716, units="us")
    return girth.standardised(records.readings, records.stems, records.trees, site).readings["dbh_source"][0]


@pytest.mark.parametrize(
    ("metres", "said"),
    [
        (1.3716, "4 ft 6 in"),
        (1.2192, "4 ft"),
        (1.3, "4 ft 3.2 in"),
        (0.3048 * 4.999, "5 ft"),
        (0.1, "0 ft 3.9 in"),
    ],
)
def test_heights_of_measuring_are_feet_and_inches(metres, said):
    feet, inches = feet_and_inches(metres)
    assert feet * 12 + inches == pytest.approx(metres / 0.0254, abs=0.05)
    assert height_words(metres, "us") == said
    assert US.height(metres) == said


def test_a_conversion_is_said_in_feet_and_inches():
    said = LAYERS.told(sized(height_m=1.0), US)
    assert said.startswith("measured at 3 ft 3.4 in, converted to 4 ft 6 in by the published stem profile")


@pytest.mark.parametrize("height_m", [None, 0.05, 0.3, 1.0, 1.3716, 1.45, 1.8])
@pytest.mark.parametrize("name", ["Quercus robur", "Quercus nulla", "Nulla nulla", None, "Picea nulla"])
def test_every_sentence_of_a_size_is_known_and_leaves_no_metres(height_m, name):
    said = sized(height_m=height_m, name=name)
    assert LAYERS.knows(said)
    assert not METRES_LEFT.search(LAYERS.told(said, US))


@pytest.mark.parametrize("without", [{"value": None}, {"quantity": "class"}, {"unit": "ell"}])
def test_why_there_is_no_size_is_known(without):
    said = sized(**without)
    assert said and LAYERS.knows(said)


def test_readings_as_they_were_said_keep_unit_and_words():
    reading = {"value": 94.2, "unit": "in", "instrument": "girth tape", "height_m": 1.3716}
    records = make_records(trees=[make_tree()], stems=[make_stem()], readings=[make_reading(**reading)])
    site = make_site(units="us", breast_height_m=1.3716)
    table = tree_table(records, state_at(records, site, "2026-01-01"), site, "2026-01-01")
    assert table["measured_as"][0] == "girth 94.2 in, girth tape, at 1.3716 m"
    told = LAYERS.told(table["measured_as"][0], US)
    assert told == "94.2 in round, at 4 ft 6 in, tape round the trunk"


def test_sentences_one_after_the_other_are_each_said():
    said = (
        "We have recorded: a dead branch (2026-05-20, by pupils): “by the path. 3 m long”. "
        "It looked dead; this is in doubt. Recorded 2 times in all, last: 2026-05."
    )
    assert LAYERS.knows(said)
    assert LAYERS.told(said, US) == said.replace("2026-05-20", "<2026-05-20>").replace(
        "2026-05.", "<2026-05>."
    )


def test_what_a_person_wrote_is_no_sentence_of_ours():
    said = "Ask at 3 m, measured on 2024-01-01"
    assert not LAYERS.knows(said)
    assert LAYERS.told(said, US) == said


def test_a_translation_takes_the_values_in_its_own_order():
    words = {
        conversion.MEASURED_AT: "in %(height)s gemessen",
        telling.FEET_AND_INCHES: "%(feet)s Fuß %(inches)s",
    }
    voice = Voice(units="us", translate=lambda text: words.get(text, text))
    assert LAYERS.told("measured at 1.3716 m", voice) == "in 4 Fuß 6 gemessen"


def test_templates_are_filled_with_named_places_only():
    for text in SENTENCES:
        left = re.sub(r"%\(\w+\)s|%%", "", text)
        assert "%" not in left, text
        assert "{" not in left, text


def test_a_number_without_its_meaning_is_no_size():
    assert not LAYERS.knows(str(pd.NA)) and not LAYERS.knows(str(np.nan))
