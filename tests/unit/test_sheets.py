"""Measuring sheets on paper: read back from the PDF as text, with its page sizes."""

import datetime as dt
import math
import re
import types

import numpy as np
import pandas as pd
import pypdfium2
import pytest
import shapely

from layers import columns
from layers.caution import caution
from layers.sights import DANGERS
from layers.stop_card import STOP
from layers.units import height_words
from service.errors import InvalidRequest, NotFound, StoreUnavailable
from service.outlets import sheets
from service.outlets.sheet_layout import rows_a_sheet
from service.outlets.sheet_rows import RowMaker, SheetJob, direction, expected_cm, ground_of
from service.outlets.sheet_words import SHEET_WORDS
from service.outlets.sheets import area_sheet, sheet_of
from tests.builders import frame_of, make_site, row

# About 1 m each at this latitude: metres to degrees, so that distances on the sheets can be checked by hand.
LAT_M = 1 / 111_229.0
LON_M = 1 / (111_320.0 * math.cos(math.radians(50.0)))


def tree(number, x_m, y_m, **changes):
    place = {} if x_m is None else {"lon_deg": 10.0 + x_m * LON_M, "lat_deg": 50.0 + y_m * LAT_M}
    default = {
        "tree_id": f"tree-{number}",
        "tag": str(100 + number),
        "scientific_name": "Tilia cordata",
        "common_name": "small-leaved lime",
        "genus": "Tilia",
        "place": "Old lawn",
        "status": "living",
        "signs": [],
    }
    return row("trees", **{**default, **place, **changes})


def stem(number, of=1, trunk=1):
    return row("stem_record", stem_id=f"stem-{number}-{trunk}", tree_id=f"tree-{number}", number=trunk)


def last(number, trunk=1, **changes):
    default = {"dbh_cm": 30.0, "own_var_cm2": 0.49, "as_measured_cm": 33.3, "height_m": 0.61}
    ids = {"stem_id": f"stem-{number}-{trunk}", "tree_id": f"tree-{number}", "measured_on": "2025-05-14"}
    return row("stem_state", **{**default, **ids, **changes})


def target(name, kind, shape):
    return row("target_record", target_id=name, name=name, kind=kind, geometry=shape)


def ring(west, south, east, north):
    return shapely.box(10 + west * LON_M, 50 + south * LAT_M, 10 + east * LON_M, 50 + north * LAT_M)


BENCH = target("Bench", "bench", shapely.Point(10.0, 50.0))


def sheet(job=None, terms=None, trees=None, stems=None, state=None, targets=(BENCH,), **more):
    trees = trees if trees is not None else [tree(1, 0, 10), tree(2, 5, 10)]
    stems = stems if stems is not None else [stem(1), stem(2)]
    state = state if state is not None else [last(1), last(2)]
    return area_sheet(
        terms or make_site(phone="0 555 777"),
        job or SheetJob("Old lawn", "Spring", day="2026-05-14"),
        trees=frame_of("trees", trees),
        stems=frame_of("stem_record", stems),
        stem_state=frame_of("stem_state", state),
        targets=frame_of("target_record", list(targets)),
        **more,
    )


def pages(pdf):
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    finally:
        document.close()


def size_mm(pdf):
    document = pypdfium2.PdfDocument(pdf)
    try:
        return tuple(round(points / 72 * 25.4, 1) for points in document[0].get_size())
    finally:
        document.close()


def many(count):
    trees = [tree(n, 3 * (n % 10), 4 * (n // 10)) for n in range(count)]
    stems = [stem(n) for n in range(count)]
    return {"trees": trees, "stems": stems, "state": []}


def test_every_sheet_has_the_stop_box_with_all_six_sights_and_the_number_to_call():
    found = pages(sheet(**many(40)))
    assert len(found) > 2
    for text in found:
        assert STOP in text
        assert len(DANGERS) == 6
        assert all(sight.plain in text for sight in DANGERS)
        assert "Call 0 555 777" in text


def test_every_sheet_repeats_unit_instrument_height_and_headings():
    for text in pages(sheet(**many(40))):
        assert "CENTIMETRES (cm)" in text
        assert "TAPE, distance round the trunk" in text
        assert "at 1.30 m above the ground" in text
        for head in ("first your guess (cm)", "1st reading (cm)", "2nd reading (cm)", "tree number"):
            assert head in text


def test_the_short_caution_stands_on_every_sheet_word_for_word():
    assert all(caution("0 555 777") in text for text in pages(sheet(**many(40))))


def test_sheets_are_numbered_and_hold_every_tree_once():
    found = pages(sheet(**many(40)))
    for number, text in enumerate(found, start=1):
        assert f"sheet {number} of {len(found)}" in text
    tags = [word for text in found for word in text.split() if word.isdigit() and 100 <= int(word) < 140]
    counted = [int(tag) for tag in tags if tag not in ("100",)]  # 100 is also the length of the rule
    assert sorted(counted) == list(range(101, 140))


def test_helpers_never_see_a_last_size_and_the_leader_does():
    # 33.3 cm across at 0.61 m is 104.6 cm round: 105 on the leader's copy.
    helpers, leader = pages(sheet())[0], pages(sheet(SheetJob("Old lawn", "Spring", leader=True)))[0]
    assert "105" not in helpers
    assert "last time (cm)" not in helpers and "expect" not in helpers
    assert "105" in leader
    assert "last time (cm)" in leader and "expect about (cm)" in leader


def test_the_height_of_the_last_time_is_on_both():
    assert "0.61 m" in pages(sheet())[0]
    assert "0.61 m" in pages(sheet(SheetJob("Old lawn", "Spring", leader=True)))[0]


def test_there_is_a_line_for_initials_and_none_for_a_name():
    text = pages(sheet())[0]
    assert "Leader's initials" in text
    assert "name" not in text.lower()


@pytest.mark.parametrize(("paper", "size"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_both_papers_have_their_size(paper, size):
    assert size_mm(sheet(SheetJob("Old lawn", "Spring", paper=paper))) == size
    assert rows_a_sheet(paper) >= 12


def test_us_sheets_speak_of_inches_and_feet():
    job = SheetJob("Lawn", "Summer", unit="in", instrument="diameter tape", height_m=1.3716)
    text = pages(sheet(job, make_site(units="us", breast_height_m=1.3716)))[0]
    assert "INCHES (in)" in text
    assert "TAPE WITH WIDTHS" in text
    assert "at 4 ft 6 in above the ground" in text
    assert "2 ft" in text


def test_a_tree_is_found_from_the_nearest_named_thing():
    # 10 m north of the bench; the second 5 m further east of the first.
    text = pages(sheet())[0]
    assert "10 m north of Bench" in text
    assert "5 m east of number 1" in text


def test_a_tree_without_a_place_on_the_map_is_looked_for_by_its_place():
    text = pages(sheet(trees=[tree(1, None, None)], stems=[stem(1)], state=[]))[0]
    assert "no place on the map; look in Old lawn" in text
    assert "None of these trees has a place on the map yet." in text


def test_two_trunks_are_two_rows_that_say_which():
    text = pages(sheet(trees=[tree(1, 0, 5)], stems=[stem(1), stem(1, trunk=2)], state=[]))[0]
    assert "1 of 2" in text and "2 of 2" in text


def test_a_name_that_no_list_has_is_printed_as_it_was_written():
    unknown = {"scientific_name": None, "common_name": None, "genus": None, "name_as_written": "red oak"}
    text = pages(sheet(trees=[tree(1, 0, 5, **unknown)], stems=[stem(1)], state=[]))[0]
    assert "red oak" in text and "kind not known" not in text


def test_the_code_is_the_same_for_helpers_and_leader_on_every_day_and_another_for_other_trees():
    def code(pdf):
        return pages(pdf)[0].split("for typing it back: ")[1].split(" ")[0]

    assert code(sheet()) == code(sheet(SheetJob("Old lawn", "Spring", leader=True)))
    assert code(sheet()) != code(sheet(trees=[tree(3, 0, 0)], stems=[stem(3)], state=[]))
    assert code(sheet()) == code(sheet(SheetJob("Old lawn", "Autumn")))


def test_the_same_sheet_is_the_same_file():
    assert sheet() == sheet()


def test_the_check_rule_is_a_hundred_millimetres_long():
    document = pypdfium2.PdfDocument(sheet())
    try:
        boxes = [thing.get_bounds() for thing in document[0].get_objects()]
    finally:
        document.close()
    stroke = 0.4  # bounds hold half a stroke of 0.2 mm at each end, and as much again
    flat = [box for box in boxes if (box[3] - box[1]) / 72 * 25.4 <= stroke + 0.1]
    lengths = [(box[2] - box[0]) / 72 * 25.4 - stroke for box in flat]
    assert sum(abs(length - 100.0) < 0.1 for length in lengths) == 1
    assert "This rule is 100 mm long" in pages(sheet())[0]


def test_names_that_look_like_code_are_printed_as_they_are():
    hostile = "{7*7} {{x}} **b** <b>x</b> {% raw %}"
    job = SheetJob(hostile, "Spring", team="{phone}", meet="{x}")
    text = pages(sheet(job, trees=[tree(1, 0, 10, common_name=hostile)], stems=[stem(1)], state=[]))[0]
    assert text.count("{7*7} {{x}} **b** <b>x</b>") >= 1
    assert "{phone}" in text


def test_a_name_in_letters_that_the_font_lacks_still_prints():
    assert pages(sheet(trees=[tree(1, 0, 10, common_name="木 lime")], stems=[stem(1)], state=[]))


def test_no_word_of_a_sheet_calls_a_tree_safe():
    words = " ".join(text for key, text in SHEET_WORDS.items() if key != "caution").lower()
    for claim in ("safe", "sound", "healthy", "low risk", "passed", " ok"):
        assert claim not in words


def test_without_a_tree_there_is_no_sheet():
    with pytest.raises(InvalidRequest, match="no tree to measure"):
        sheet(trees=[], stems=[], state=[])


def test_without_the_font_the_error_says_what_to_run(monkeypatch):
    monkeypatch.setattr(sheets, "_FONTS", (("", "NotThere.ttf"),))
    with pytest.raises(StoreUnavailable, match=r"NotThere\.ttf .*service\.assets\.build"):
        sheet()


def test_what_is_expected_follows_from_last_size_growth_and_errors():
    # Same height: 30 cm; a year of growth adds 2.5 cm at most; two standard errors are
    # 2 sqrt(0.49 + 0.49) = 1.98 cm: 28.0 to 34.5 cm.
    before = types.SimpleNamespace(dbh_cm=30.0, own_var_cm2=0.49, measured_on="2025-05-14")
    lime = {"scientific_name": "Tilia cordata", "genus": "Tilia"}
    low, high = expected_cm(make_site(), SheetJob("", "", day="2026-05-14"), lime, before)
    assert low == pytest.approx(30 - 1.98, abs=0.01)
    assert high == pytest.approx(30 + 1.98 + 2.5, abs=0.01)


def test_lower_down_a_thicker_trunk_is_expected():
    before = types.SimpleNamespace(dbh_cm=30.0, own_var_cm2=0.49, measured_on="2026-05-14")
    lime = {"scientific_name": "Tilia cordata", "genus": "Tilia"}
    low, high = expected_cm(make_site(), SheetJob("", "", height_m=0.61, day="2026-05-14"), lime, before)
    # Raile 1982 (NC-224), B = 0.12766: f(0.61 m) = 0.8327, f(1.30 m) = 0.0446: 30 cm becomes 33.0 cm.
    assert (low + high) / 2 == pytest.approx(30 * (1 + 0.12766 * 0.8327) / (1 + 0.12766 * 0.0446), abs=0.02)
    assert expected_cm(make_site(), SheetJob("", "", height_m=2.0), lime, before) is None


@pytest.mark.parametrize(
    ("metres", "units", "words"),
    [
        (1.3, "metric", "1.30 m"),
        (1.3716, "us", "4 ft 6 in"),
        (0.6096, "us", "2 ft"),
        (1.3, "us", "4 ft 3.2 in"),
    ],
)
def test_heights_are_said_as_people_say_them(metres, units, words):
    assert height_words(metres, units) == words


@pytest.mark.parametrize(
    ("end", "word"), [((0, 5), "north"), ((5, 5), "north-east"), ((-5, 0), "west"), ((0.1, -5), "south")]
)
def test_directions_are_words(end, word):
    assert direction((0, 0), end, SHEET_WORDS) == word


def sectors(trees, stems, most):
    terms = make_site()
    trees, stems = frame_of("trees", trees), frame_of("stem_record", stems)
    at, around = ground_of(trees, None, columns.empty("target_record"), terms)
    maker = RowMaker(terms, SheetJob("", ""), stems, columns.empty("stem_state"), around, SHEET_WORDS)
    return maker.sectors(trees, at, most)


def test_sectors_are_compact_and_hold_no_more_rows_than_fit():
    found = sectors(**{k: v for k, v in many(100).items() if k != "state"}, most=15)
    assert all(len(sector.rows) <= 15 for sector in found)
    assert len(found) <= 10
    assert sorted(r.tree_id for s in found for r in s.rows) == sorted(f"tree-{n}" for n in range(100))
    for sector in found:
        at = np.array([(r.x, r.y) for r in sector.rows])
        assert np.hypot(*np.ptp(at, axis=0)) < 30.0  # the whole ground is 27 m by 36 m


def test_a_tree_with_more_trunks_than_a_sheet_has_rows_goes_on_two_sheets():
    found = sectors([tree(1, 0, 0)], [stem(1, trunk=n) for n in range(1, 21)], most=15)
    assert [len(sector.rows) for sector in found] == [15, 5]


def _view(trees, **more):
    frame = frame_of("trees", trees)
    area = row("area_record", area_id="lawn", name="Old lawn", kind="lawn", geometry=ring(-5, -5, 30, 30))
    records = types.SimpleNamespace(
        stems=frame_of("stem_record", [stem(n) for n in range(1, 4)]),
        targets=frame_of("target_record", [BENCH]),
        places=pd.DataFrame({"id": ["gate"], "name": ["Gate"]}),
        trees=frame.assign(place_id=["gate", None, None][: len(frame)]),
    )
    return types.SimpleNamespace(
        terms=make_site(),
        trees=frame,
        areas=frame_of("area_record", [area]),
        membership=pd.DataFrame({"area_id": "lawn", "tree_id": frame["tree_id"], "near_edge": False}),
        records=records,
        state=types.SimpleNamespace(stem_state=columns.empty("stem_state")),
        **_CALM | more,
    )


_CALM = {
    "hazards": pd.DataFrame(),
    "closures": pd.DataFrame(),
    "closed_trees": {},
    "trees_in_danger": frozenset(),
}


@pytest.mark.parametrize("crew_kind", ["pupils", "volunteers", "trained staff"])
def test_a_tree_with_a_danger_nobody_answered_is_on_no_sheet_and_a_sheet_of_before_is_still_found(crew_kind):
    trees = [tree(1, 0, 10), tree(2, 5, 10), tree(3, 9, 10)]
    job = SheetJob("Old lawn", "Spring", leader=True)
    found = pages(
        sheet_of(_view(trees, trees_in_danger=frozenset({"tree-2"})), "lawn", job, crew_kind=crew_kind)
    )
    assert "102" not in found[0] and "101" in found[0]
    assert "102: a danger that was seen" in found[-1]
    before = re.search(r"[A-Z0-9]{3}-[A-Z0-9]{3}", pages(sheet_of(_view(trees), "lawn", job))[0]).group()
    _area, sector = sheets.sheet_with(_view(trees, trees_in_danger=frozenset({"tree-2"})), ["lawn"], before)
    assert [one.tree_id for one in sector.rows] == ["tree-1", "tree-2", "tree-3"]


def test_heads_of_columns_are_not_broken_within_a_word():
    heads = {"head.number": "Karte", "head.tag": "Baumnummer", "head.trunk": "welcher Stamm"}
    for leader in (False, True):
        text = pages(sheet(SheetJob("Old lawn", "Spring", leader=leader), words={**SHEET_WORDS, **heads}))[0]
        assert all(word in text for head in heads.values() for word in head.split())


def test_the_day_of_a_sheet_is_said_as_its_reader_says_days():
    text = pages(sheet(SheetJob("Old lawn", "Spring", day="2026-05-14", day_said="14. Mai 2026")))[0]
    assert "14. Mai 2026" in text and "2026-05-14" not in text


def test_trees_with_a_sign_are_left_out_for_pupils_and_the_leaders_copy_says_why():
    view = _view([tree(1, 0, 10), tree(2, 5, 10, signs=["a fungus at the foot"]), tree(3, 9, 10)])
    job = SheetJob("Old lawn", "Spring", leader=True)
    found = pages(sheet_of(view, "lawn", job))
    assert "102" not in found[0] and "101" in found[0] and "103" in found[0]
    assert "102: to be looked at: a fungus at the foot" in found[-1]
    staff = pages(sheet_of(view, "lawn", job, crew_kind="trained staff"))
    assert "102" in staff[0]


def closed(name, shape):
    return pd.DataFrame([{"name": name, "from_on": "2026-05-01", "geometry": shape}])


@pytest.mark.parametrize(
    ("crew_kind", "is_out"), [("pupils", True), ("volunteers", True), ("trained staff", False)]
)
def test_trees_in_a_closed_place_are_on_no_sheet_of_helpers_and_the_leaders_copy_says_why(crew_kind, is_out):
    shut = {"closures": closed("by the gate", ring(4, 8, 7, 12)), "closed_trees": {"tree-2": [0]}}
    view = _view([tree(1, 0, 10), tree(2, 5, 10, signs=["a crack"]), tree(3, 9, 10)], **shut)
    job = SheetJob("Old lawn", "Spring", leader=True)
    found = pages(sheet_of(view, "lawn", job, crew_kind=crew_kind))
    assert ("102" not in found[0]) == is_out
    why = "102: closed since 2026-05-01: by the gate"
    signs = "; to be looked at: a crack" if crew_kind == "pupils" else ""
    assert (f"{why}{signs}" in found[-1]) == is_out


def test_what_is_closed_is_hatched_on_the_map_of_the_sheet_and_hazards_have_their_names():
    line = shapely.LineString([(10.0, 50.0), (10.0 + 9 * LON_M, 50.0 + 9 * LAT_M)])
    hazards = pd.DataFrame([{"kind": "overhead line", "geometry": line}])
    bare = sheet()
    drawn = sheet(hazards=hazards, closures=closed("gate", ring(1, 2, 4, 6)))
    assert "overhead line" in pages(drawn)[0] and "closed: keep out" in pages(drawn)[0]
    assert "closed: keep out" not in pages(bare)[0]
    assert inked(drawn) > 1.1 * inked(bare)


def inked(pdf):
    """How many pixels of the map on the first sheet are not paper."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        picture = np.asarray(document[0].render(scale=2).to_pil().convert("L"))
    finally:
        document.close()
    high, wide = picture.shape
    return int(
        (picture[int(0.06 * high) : int(0.34 * high), int(0.55 * wide) : int(0.94 * wide)] < 128).sum()
    )


def test_a_sheet_with_a_hatched_outline_of_many_parts_is_drawn():
    parts = shapely.union_all([ring(0, 0, 2, 2), ring(3, 3, 9, 9).difference(ring(4, 4, 6, 6))])
    assert pages(sheet(closures=closed("two parts", parts)))


def test_dead_and_removed_trees_are_on_no_sheet():
    view = _view([tree(1, 0, 10), tree(2, 5, 10, status="dead"), tree(3, 9, 10, status="removed")])
    text = pages(sheet_of(view, "lawn", SheetJob("Old lawn", "Spring")))[0]
    assert "101" in text and "102" not in text and "103" not in text


def test_a_place_without_an_outline_has_sheets_of_the_trees_put_in_it():
    view = _view([tree(1, 0, 10), tree(2, 5, 10), tree(3, 9, 10)])
    text = pages(sheet_of(view, "gate", SheetJob("Gate", "Spring")))[0]
    assert "101" in text and "102" not in text
    with pytest.raises(NotFound):
        sheet_of(view, "nowhere", SheetJob("", ""))


def test_the_day_of_the_sheet_is_the_day_of_the_file():
    document = pypdfium2.PdfDocument(sheet(SheetJob("Old lawn", "Spring", day="2026-05-14")))
    try:
        made = document.get_metadata_dict()["CreationDate"]
    finally:
        document.close()
    assert made.startswith(f"D:{dt.date(2026, 5, 14):%Y%m%d}")
