"""What the phone page asks and draws of sights, awkward trunks and places is what the program knows."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import get_args

from layers.awkward_stems import FACTS, SIDES
from layers.sights import NONE_SEEN, SIGHTS
from service.field_records import POSITION_SOURCES

FIELD = Path(__file__).parents[2] / "service" / "web" / "static" / "field"
SVG = "{http://www.w3.org/2000/svg}"


def script(name):
    return (FIELD / name).read_text(encoding="utf-8")


def words_of(name, constant):
    """The texts of a list of a script."""
    listed = re.search(rf"const {constant} = \[(.*?)\];", script(name), re.DOTALL)[1]
    return re.findall(r'"([^"]*)"', listed)


def test_the_phone_asks_for_every_fact_about_awkward_trunks_and_for_every_side():
    assert sorted(words_of("awkward.js", "FACTS")) == sorted(FACTS)
    assert tuple(words_of("awkward.js", "SIDES")) == SIDES


def test_everything_that_is_drawn_has_its_drawing_and_no_drawing_is_left_over():
    root = ET.parse(FIELD / "drawings.svg").getroot()
    drawn = {symbol.get("id") for symbol in root.iter(f"{SVG}symbol")}
    seen = {sight.word for sight in SIGHTS.values() if not sight.danger and sight.word != NONE_SEEN}
    named = set(
        re.findall(r'drawing\("([a-z]+)"\)', "".join(map(script, ("hands.js", "heights.js", "awkward.js"))))
    )
    asked = {word.replace(" ", "-") for word in (*seen, *FACTS, *get_args(POSITION_SOURCES))} | named
    assert drawn == asked
    assert all(symbol.get("viewBox") == "0 0 64 64" and len(symbol) for symbol in root.iter(f"{SVG}symbol"))


def test_the_ways_to_find_a_place_are_those_that_the_server_knows():
    table = re.search(r"const WAYS = \{(.*?)\n\};", script("where.js"), re.DOTALL)[1]
    ways = re.findall(r'^  (?:"([^"]+)"|\[?(\w+)\]?):', table, re.MULTILINE)
    words = {"TAP": "tap on plan", "GPS": "GPS"}
    assert [quoted or words.get(bare, bare) for quoted, bare in ways] == list(get_args(POSITION_SOURCES))
