"""The list to be looked at: what raises a question, what answers it, and what is counted."""

import dataclasses
import re
import time

import numpy as np
import pandas as pd
import pytest
import shapely

from layers import cautions, columns, findings, screening, screening_rules, sights
from layers.errors import ColumnMissing
from layers.looks import months_later
from layers.screening_questions import questions
from layers.screening_rules import RULES, interval_months, leaves_expected
from layers.surroundings import surroundings
from tests.builders import frame_of, make_records, make_site, make_tree, row

DAY = "2024-06-01"
LOCAL = make_site(frame="local")


def tree(tree_id="t1", **changes):
    place = {"lon_deg": np.nan, "lat_deg": np.nan, "x_m": 0.0, "y_m": 0.0}
    return make_tree(**{"tree_id": tree_id, **place, **changes})


def seen(what, on="2024-05-14", number=1, **changes):
    default = {
        "observation_id": f"o{number}",
        "fid": number,
        "tree_id": "t1",
        "what": what,
        "observed_on": on,
    }
    return row(
        "observation_record",
        **{**default, "date_precision": "day", "received_at": f"{on or '2024-05-20'}T10:00:00Z", **changes},
    )


def height(value, number=90, **changes):
    return seen("height", number=number, **{"value": value, "unit": "m", **changes})


def crown(value, number=91, **changes):
    return seen("crown diameter", number=number, **{"value": value, "unit": "m", **changes})


def target(x, y, target_id="g1", **changes):
    default = {"target_id": target_id, "kind": "bench", "name": "North", "use": "every day"}
    return row("target_record", **{**default, "geometry": shapely.Point(x, y), **changes})


def area(shape, use, area_id="a1", **changes):
    default = {"area_id": area_id, "layer": "drawn", "name": "Yard", "kind": "play area", "use": use}
    return row("area_record", **{**default, "geometry": shape, **changes})


def look(on, number=1, **changes):
    default = {"inspection_id": f"i{number}", "tree_id": "t1", "inspected_on": on, "level": "formal"}
    return row(
        "inspection_record",
        **{
            **default,
            "organisation": "Tree office",
            "qualified": True,
            "answer": "nothing recorded",
            **changes,
        },
    )


def event(status, on, number=1, **changes):
    default = {"status_event_id": f"e{number}", "fid": number, "subject": "tree", "subject_id": "t1"}
    return row(
        "status_event", **{**default, "status": status, "happened_on": on, "as_said": status, **changes}
    )


def finding(key, **changes):
    default = {
        "id": "f1",
        "flag_key": key,
        "rule_version": RULES[key.split(":")[0]].version,
        "tree_id": "t1",
        "found": "an old wound, closed",
        "looked_on": "2024-05-20",
        "look_again_by": "2025-05-20",
        "capacity": "tree inspector",
        "evidence": None,
        "supersedes": None,
        "void": 0,
        "recorded_at": None,
    }
    return {**default, **changes}


def listed(records, terms=LOCAL, as_of=DAY, answers=()):
    if answers:
        records = dataclasses.replace(records, findings=pd.DataFrame(list(answers)).astype(object))
    trees = columns.shaped("trees", records.trees)
    return screening.flags(records, trees, terms, as_of)


def site(*observations, trees=None, **kinds):
    return make_records(trees=trees or [tree()], observations=list(observations), **kinds)


def of(flags, rule):
    return flags[flags["rule"] == rule]


# --- signs


@pytest.mark.parametrize("sight", [s for s in sights.SIGHTS.values() if s.rule and not s.is_note])
def test_every_sight_raises_its_sign_with_what_when_and_by_whom(sight):
    flags = listed(site(seen(sight.word, crew_kind="volunteers", text="over the gate")))
    sign = of(flags, sight.rule).iloc[0]
    assert sign["kind"] == "sign"
    assert sign["flag_key"] == f"{sight.rule}:t1:none"
    for told in (sight.plain, "2024-05-14", "volunteers", "over the gate"):
        assert told in sign["evidence"]
    assert sign["words"] == RULES[sight.rule].question
    assert sign["source"] and sign["who_may_answer"] and sign["answer_by"]


def test_the_six_dangers_are_those_of_the_design():
    assert {s.word for s in sights.DANGERS} == {
        "hanging or broken branch",
        "new lean",
        "lifted or cracked soil",
        "fresh crack",
        "large fungus at the foot",
        "on a wire",
    }


def test_a_danger_is_to_be_answered_on_the_day_it_was_seen_and_stands_first():
    flags = listed(site(seen("fungus"), seen("fresh crack", number=2)))
    assert flags["rule"].iloc[0] == "crack"
    assert flags["answer_by"].iloc[0] == "2024-05-14"
    assert of(flags, "fungus")["answer_by"].iloc[0] == "2024-05-21"


def test_none_of_these_raises_nothing():
    assert not len(listed(site(seen("none of these"))).query("kind == 'sign'"))


def test_a_lean_alone_is_a_note_and_beside_another_sign_a_sign():
    assert of(listed(site(seen("lean"))), "lean").empty
    assert len(of(listed(site(seen("lean"), seen("torn roots", number=2))), "lean")) == 1
    assert len(of(listed(site(seen("lean"), trees=[tree(status="dead")])), "lean")) == 1


def test_a_crossed_out_a_corrected_and_a_later_sight_raise_nothing():
    crossed_out = site(seen("crack"), seen("crack", number=2, supersedes="o1", void=True))
    corrected = site(seen("crack"), seen("note", number=2, supersedes="o1"))
    later = site(seen("crack", on="2024-06-02"))
    for records in (crossed_out, corrected, later):
        assert of(listed(records), "crack").empty


def test_a_sight_without_a_date_counts_from_the_day_of_receipt_and_says_no_date():
    records = site(seen("crack", on=None))
    assert "no date" in of(listed(records), "crack")["evidence"].iloc[0]
    assert of(listed(records, as_of="2024-05-19"), "crack").empty


def test_a_month_is_told_as_a_month():
    records = site(seen("crack", on="2024-05-15", date_precision="month"))
    assert "(2024-05," in of(listed(records), "crack")["evidence"].iloc[0]


def test_dead_as_said_in_a_list_is_a_sign_with_the_word_that_was_used():
    flags = listed(site(trees=[tree(status="dead", status_as_said="Morto")]))
    evidence = of(flags, "dead")["evidence"].iloc[0]
    assert "“Morto”" in evidence and "doubt" not in evidence


def test_dead_from_a_dated_event_says_the_day():
    records = site(trees=[tree(status="dead")], status_events=[event("dead", "2024-03-01")])
    assert "(2024-03-01)" in of(listed(records), "dead")["evidence"].iloc[0]


def test_looked_dead_from_a_doubtful_event_is_in_doubt_until_settled():
    doubt = event("dead", "2024-03-01", in_doubt=True)
    assert "looked dead" in of(listed(site(status_events=[doubt])), "dead")["evidence"].iloc[0]
    settled = site(status_events=[doubt, event("living", "2024-05-20", number=2)])
    assert of(listed(settled), "dead").empty


@pytest.mark.parametrize(
    ("on", "crew_kind", "lat", "is_doubtful"),
    [
        ("2024-03-01", "trained staff", 47.0, True),
        ("2024-05-14", "trained staff", 47.0, False),
        ("2024-05-14", "pupils", 47.0, True),
        ("2024-01-14", "trained staff", -35.0, False),
        ("2024-01-14", "trained staff", 1.0, False),
    ],
)
def test_dead_is_in_doubt_when_seen_out_of_leaf_or_by_helpers(on, crew_kind, lat, is_doubtful):
    records = site(
        seen("dead", on=on, crew_kind=crew_kind),
        trees=[tree(lon_deg=9.0, lat_deg=lat, x_m=np.nan, y_m=np.nan)],
    )
    evidence = of(listed(records, make_site()), "dead")["evidence"].iloc[0]
    assert ("in doubt" in evidence) is is_doubtful


def test_leaves_are_expected_by_latitude_else_by_country_else_nobody_knows():
    assert leaves_expected(7, 47.0, None) is True
    assert leaves_expected(7, -35.0, "DE") is False
    assert leaves_expected(12, None, "AU") is True
    assert leaves_expected(12, float("nan"), "DE") is False
    assert leaves_expected(7, None, None) is None
    assert leaves_expected(None, 47.0, "DE") is None


def test_a_removed_tree_raises_nothing():
    assert listed(site(seen("crack"), trees=[tree(status="removed")])).empty


# --- circumstances


def reach_at(metres, *, status="living", accuracy=0.0, size=20.0):
    records = site(
        height(size, method="clinometer", crew_kind="trained staff"),
        trees=[tree(status=status, position_accuracy_m=accuracy)],
        targets=[target(metres, 0.0)],
    )
    return of(listed(records), "reach")


def test_reach_is_the_upper_bound_of_the_height_and_half_as_much_again_when_dead():
    """Zones of 1.0 x and 1.5 x the height; height error of Luoma et al. 2017: 0.58 m at 20 m, 1 m steps."""
    upper = 20 + 1.6448536 * np.hypot(0.58, 1 / np.sqrt(12))
    assert len(reach_at(upper - 0.01)) == 1
    assert len(reach_at(upper + 0.01)) == 0
    assert len(reach_at(1.5 * upper - 0.01, status="dead")) == 1
    assert len(reach_at(1.5 * upper + 0.01, status="dead")) == 0


def test_the_error_of_the_position_is_added_and_assumed_where_it_is_not_said():
    upper = 20 + 1.6448536 * np.hypot(0.58, 1 / np.sqrt(12))
    assert len(reach_at(upper + 2.9, accuracy=3.0)) == 1
    assert len(reach_at(upper + 3.1, accuracy=3.0)) == 0
    assert len(reach_at(upper + 4.9, accuracy=np.nan)) == 1
    assert len(reach_at(upper + 5.1, accuracy=np.nan)) == 0


def test_reach_says_the_length_the_target_the_distance_and_the_use():
    flag = reach_at(8.0).iloc[0]
    assert flag["flag_key"] == "reach:t1:g1"
    assert flag["target_id"] == "g1"
    for told in ("21.1 m", "bench “North”", "8.0 m away", "people are there: every day", "error of trained"):
        assert told in flag["evidence"]


def test_without_a_height_the_reach_is_not_known_and_not_invented():
    flags = listed(site(targets=[target(500.0, 0.0)]))
    assert of(flags, "reach").empty
    assert of(flags, "reach not known")["flag_key"].tolist() == ["reach not known:t1:none"]
    assert of(flags, "height")["kind"].tolist() == ["gap"]


def test_nothing_underneath_drawn_gives_no_circumstance_of_reach():
    assert not set(listed(site())["rule"]) & {"reach", "reach not known", "crown over"}


def test_a_crown_hangs_over_what_is_within_half_its_width():
    records = site(
        crown(10.0, method="tape"), trees=[tree(position_accuracy_m=0.0)], targets=[target(5.4, 0.0)]
    )
    flag = of(listed(records), "crown over").iloc[0]
    assert flag["flag_key"] == "crown over:t1:g1"
    far = site(crown(10.0, method="tape"), trees=[tree(position_accuracy_m=0.0)], targets=[target(5.6, 0.0)])
    assert of(listed(far), "crown over").empty


def test_distances_on_earth_are_metres_of_the_local_frame():
    """One arc second of latitude at 47.66 degrees is 30.88 m (meridian radius of WGS84)."""
    there = shapely.Point(9.17, 47.66 + 1 / 3600)
    records = site(
        height(25.0, method="eye"), trees=[make_tree(tree_id="t1")], targets=[target(0, 0, geometry=there)]
    )
    assert "30.9 m away" in of(listed(records, make_site()), "reach")["evidence"].iloc[0]


def test_busy_ground_is_a_circumstance_and_sets_the_order():
    yard, wood = shapely.box(-1, -1, 1, 1), shapely.box(49, -1, 51, 1)
    records = site(
        seen("fungus", tree_id="quiet"),
        seen("fungus", tree_id="busy", number=2),
        trees=[tree("quiet", x_m=50.0), tree("busy")],
        areas=[area(yard, "most of the day"), area(wood, "hardly ever", "a2", name="Wood")],
    )
    flags = listed(records)
    assert flags.loc[flags["kind"] == "sign", "tree_id"].tolist() == ["busy", "quiet"]
    assert "people are there: most of the day" in of(flags, "use")["evidence"].iloc[0]
    assert of(flags, "use")["tree_id"].tolist() == ["busy"]
    assert of(flags, "fungus")["answer_by"].tolist() == ["2024-05-21", "2024-08-12"]


def test_a_busy_place_that_it_could_reach_is_named():
    records = site(
        height(12.0),
        targets=[target(8.0, 0.0, use="hardly ever"), target(9.0, 0.0, "g2", name="Gate", kind="path")],
        areas=[area(shapely.box(-1, -1, 1, 1), "now and then")],
    )
    evidence = of(listed(records), "use")["evidence"].iloc[0]
    assert evidence == "It could reach what is underneath: The path “Gate” (people are there: every day)."


def test_an_area_that_has_ended_counts_no_more():
    records = site(areas=[area(shapely.box(-1, -1, 1, 1), "every day", valid_to="2024-05-31")])
    assert of(listed(records), "use").empty
    assert len(of(listed(records, as_of="2024-05-31"), "use")) == 1


# --- gaps


def looked(*inspections, use=None, terms=LOCAL, as_of=DAY):
    areas = [area(shapely.box(-1, -1, 1, 1), use)] if use else []
    return of(listed(site(inspections=list(inspections), areas=areas), terms, as_of), "look")


def test_measuring_never_counts_as_looking():
    records = site(height(12.0), seen("none of these", crew_kind="trained staff"))
    assert "no look by a qualified person" in of(listed(records), "look")["evidence"].iloc[0]


@pytest.mark.parametrize(
    "inspection",
    [
        look("2024-05-01", qualified=False),
        look("2024-05-01", answer="not reached"),
        look("2024-05-01", void=True),
        look("2024-06-02"),
        look("2024-05-01", tree_id="another"),
    ],
    ids=["not qualified", "not reached", "crossed out", "later", "another tree"],
)
def test_what_is_no_qualified_look_at_the_tree_does_not_count(inspection):
    assert len(looked(inspection)) == 1


@pytest.mark.parametrize(
    ("use", "on_time", "late"),
    [
        ("most of the day", "2023-06-01", "2023-05-31"),
        ("every day", "2023-06-01", "2023-05-31"),
        ("now and then", "2022-06-01", "2022-05-31"),
        ("hardly ever", "2021-06-01", "2021-05-31"),
        (None, "2023-06-01", "2023-05-31"),
    ],
)
def test_a_look_is_due_after_12_24_or_36_months_by_use(use, on_time, late):
    """Reminders taken from US Forest Service and FLL intervals; see the source of the rule."""
    assert looked(look(on_time), use=use).empty
    overdue = looked(look(late), use=use)
    assert screening_rules.OUR_REMINDER in overdue["evidence"].iloc[0]


def test_the_sites_own_interval_goes_first_and_is_no_longer_our_reminder():
    terms = make_site(frame="local", inspection_months={"every day": 6})
    overdue = looked(look("2023-11-30"), use="every day", terms=terms)
    assert overdue["answer_by"].tolist() == ["2024-05-30"]
    assert "set for this ground" in overdue["evidence"].iloc[0]
    assert looked(look("2023-12-01"), use="every day", terms=terms).empty


def test_a_use_nobody_said_gets_the_shortest_interval():
    assert interval_months(None, {}) == (12, False)
    assert interval_months(None, {"hardly ever": 6}) == (6, False)
    assert interval_months("now and then", {"now and then": 18}) == (18, True)


def test_what_the_inspector_wrote_as_next_look_goes_before_the_interval():
    assert looked(look("2021-01-01", next_look_by="2024-06-01")).empty
    overdue = looked(look("2024-01-01", next_look_by="2024-05-31"))
    assert "due by 2024-05-31 (as written down then)" in overdue["evidence"].iloc[0]


def test_a_walked_zone_counts_for_the_trees_inside_it():
    zone = look("2024-05-01", tree_id=None, area_id="a1", answer=None)
    records = site(
        trees=[tree(), tree("t2", x_m=40.0)],
        inspections=[zone],
        areas=[area(shapely.box(-1, -1, 1, 1), "every day")],
    )
    assert of(listed(records), "look")["tree_id"].tolist() == ["t2"]


def test_months_later_ends_with_the_month():
    on = np.array(["2024-02-29", "2023-08-31", "NaT"], dtype="datetime64[D]")
    got = months_later(on, np.array([12, 6, 12]))
    assert got.astype(str).tolist() == ["2025-02-28", "2024-02-29", "NaT"]


def test_a_doubtful_name_is_a_gap_with_what_was_written_and_taken():
    doubtful = tree(name_sure="doubtful", name_as_written="Tilia cordta")
    unknown = tree("t2", name_sure="unknown", name_as_written=None, scientific_name=None)
    evidence = of(listed(site(trees=[doubtful, unknown, tree("t3")])), "name")["evidence"].tolist()
    assert evidence == [
        "Written as “Tilia cordta”, taken for Tilia cordata, in doubt.",
        "No name is recorded.",
    ]


# --- answers


def crack_answered(*answers, observations=(), as_of=DAY):
    records = site(seen("crack"), *observations)
    return of(listed(records, as_of=as_of, answers=answers), "crack")["answered"].iloc[0]


def test_a_finding_answers_its_question_and_no_other():
    records = site(seen("crack"), seen("fungus", number=2))
    flags = listed(records, answers=[finding("crack:t1:none")])
    told = of(flags, "crack")["answered"].iloc[0]
    for words in ("2024-05-20", "tree inspector", "an old wound, closed", "look again by 2025-05-20"):
        assert words in told
    assert of(flags, "fungus")["answered"].iloc[0] is None
    assert flags["rule"].iloc[-1] == "crack"  # answered ones come last


@pytest.mark.parametrize(
    "changes",
    [
        {"look_again_by": "2024-05-31"},
        {"rule_version": 0},
        {"looked_on": "2024-06-02"},
        {"looked_on": "2024-05-13"},
        {"looked_on": "2024-05-14", "evidence": "something else"},
        {"capacity": "Volunteers"},
        {"void": 1},
        {"flag_key": "crack:t2:none"},
    ],
    ids=[
        "date passed",
        "other version",
        "not yet",
        "seen after",
        "seen on the day",
        "helper",
        "void",
        "other",
    ],
)
def test_a_finding_that_lapsed_or_does_not_fit_leaves_the_question_open(changes):
    assert crack_answered(finding("crack:t1:none")) is not None
    assert crack_answered(finding("crack:t1:none", **changes)) is None


def test_a_sign_seen_again_after_the_look_opens_the_question_again():
    again = seen("crack", on="2024-05-25", number=2)
    assert crack_answered(finding("crack:t1:none"), observations=[again]) is None


def test_a_finding_without_a_date_lapses_after_twelve_months():
    undated = finding("crack:t1:none", look_again_by=None)
    assert crack_answered(undated, as_of="2025-05-20") is not None
    assert crack_answered(undated, as_of="2025-05-21") is None


def test_a_superseding_finding_stands_for_the_first():
    second = finding("crack:t1:none", id="f2", supersedes="f1", found="a seam in the bark")
    assert "a seam in the bark" in crack_answered(second, finding("crack:t1:none"))


def reach_answered(size, evidence, use="every day"):
    records = site(height(size), targets=[target(8.0, 0.0, use=use)])
    answer = finding("reach:t1:g1", evidence=evidence)
    return of(listed(records, answers=[answer]), "reach")["answered"].iloc[0]


def test_an_answer_to_reach_lapses_when_it_reaches_farther_or_more_people_are_there():
    before = of(listed(site(height(12.0), targets=[target(8.0, 0.0)])), "reach")["evidence"].iloc[0]
    assert reach_answered(12.0, before) is not None
    assert reach_answered(11.0, before) is not None
    assert reach_answered(13.0, before) is None
    assert reach_answered(12.0, before, use="most of the day") is None
    assert reach_answered(12.0, before, use="now and then") is not None


def test_words_never_settle_a_look_or_a_height():
    flags = listed(site(), answers=[finding("look:t1:none"), finding("height:t1:none", id="f2")])
    assert of(flags, "look")["answered"].iloc[0] is None
    assert of(flags, "height")["answered"].iloc[0] is None


def test_findings_without_their_columns_answer_nothing():
    assert findings.live_findings(pd.DataFrame(), DAY).empty


# --- counts


def counted(records, terms=LOCAL, as_of=DAY, answers=()):
    flags = listed(records, terms, as_of, answers)
    if answers:
        records = dataclasses.replace(records, findings=pd.DataFrame(list(answers)).astype(object))
    trees = columns.shaped("trees", records.trees)
    return screening.with_flags(trees, flags, records, terms, as_of), flags


def test_a_tree_is_told_its_open_signs_circumstances_and_last_look():
    records = site(
        seen("crack"),
        seen("fungus", number=2),
        height(12.0),
        trees=[tree(), tree("gone", status="removed")],
        targets=[target(8.0, 0.0), target(9.0, 0.0, "g2")],
        inspections=[look("2024-05-01"), look("2020-05-01", 2, level="walk-over")],
    )
    trees, _ = counted(records, answers=[finding("crack:t1:none")])
    first, gone = trees.iloc[0], trees.iloc[1]
    assert first["signs"] == ["fungus"]
    assert first["circumstances"] == ["could reach what is underneath", "people are here often"]
    assert (first["last_inspected_on"], first["inspection_level"]) == ("2024-05-01", "formal")
    assert (gone["signs"], gone["last_inspected_on"], gone["questions_asked"]) == ([], None, 0)


def asked(records, terms=LOCAL):
    return questions(surroundings(records, columns.shaped("trees", records.trees), terms, DAY))


def test_questions_that_could_not_be_asked_are_counted_with_the_reason():
    bare = asked(site(trees=[tree(x_m=np.nan, status="unknown")]))
    assert (bare.asked.tolist(), bare.not_askable.tolist()) == ([3], [12])
    assert bare.words("t1") == (
        "15 questions: 3 asked, 12 could not be asked (nobody wrote down what was seen 9, no height 1, "
        "no crown 1, not said how much people are here 1)."
    )


def test_all_questions_can_be_asked_of_a_tree_that_was_looked_over_and_measured():
    records = site(
        seen("none of these"),
        height(5.0),
        crown(2.0),
        targets=[target(90, 0)],
        areas=[area(shapely.box(-1, -1, 1, 1), "hardly ever")],
    )
    full = asked(records)
    assert full.words() == "15 questions: 15 asked, 0 could not be asked."
    with pytest.raises(KeyError):
        full.words("nobody")


def test_seeing_one_thing_does_not_mean_that_the_others_were_looked_for():
    assert asked(site(seen("crack"))).asked[0] == asked(site()).asked[0] + 1


def test_areas_count_trees_with_signs_never_circumstances_or_gaps():
    records = site(
        seen("crack", tree_id="t1"),
        seen("fungus", tree_id="t1", number=2),
        height(12.0, tree_id="t2"),
        trees=[tree("t1"), tree("t2"), tree("t3"), tree("t4", status="removed")],
        targets=[target(8.0, 0.0)],
        inspections=[look("2024-05-01", tree_id="t2")],
    )
    trees, flags = counted(records)
    members = pd.DataFrame({"area_id": ["a", "a", "a", "a", "b"], "tree_id": ["t1", "t2", "t3", "t4", "t2"]})
    counts = screening.per_area(members, trees, flags)
    assert counts.loc["a", ["to_be_looked_at", "looked_at", "look_overdue"]].tolist() == [1, 1, 2]
    assert counts.loc["b", ["to_be_looked_at", "looked_at", "look_overdue"]].tolist() == [0, 1, 0]
    assert counts.loc["a", "circumstances"] == {
        "could reach what is underneath": 1,
        "reach not known, treated as far": 2,
        "people are here often": 1,
    }
    assert counts.loc["a", "questions_asked"] == trees["questions_asked"].iloc[:3].sum()
    assert (counts["questions_asked"] + counts["questions_not_askable"]).tolist() == [45, 15]


def test_an_answered_sign_is_no_longer_counted():
    trees, flags = counted(site(seen("crack")), answers=[finding("crack:t1:none")])
    counts = screening.per_area(pd.DataFrame({"area_id": ["a"], "tree_id": ["t1"]}), trees, flags)
    assert counts.loc["a", "to_be_looked_at"] == 0


def test_never_looked_at_is_said_once_for_a_site_not_once_a_tree():
    trees, flags = counted(site(trees=[tree(f"t{i}") for i in range(140)]))
    assert len(of(flags, "look")) == 140
    said = screening.gap_sentences(trees, flags)
    assert said[0] == "We have recorded no look by a qualified person at any of the 140 trees."
    assert said[1] == "Of 140 trees, 140 have no height recorded."
    assert len(said) == 2


def test_late_looks_are_told_beside_those_that_never_were():
    records = site(
        trees=[tree(), tree("t2"), tree("t3")],
        inspections=[look("2020-01-01"), look("2024-05-01", tree_id="t2")],
    )
    said = screening.gap_sentences(*counted(records))
    assert said[0] == (
        "Of 3 trees, we have recorded no look by a qualified person at 1, and the next look is late at 1."
    )


# --- the frame


def test_keys_are_unique_and_the_same_however_the_records_are_ordered():
    observations = [seen("crack"), seen("fungus", number=2), height(12.0)]
    targets = [target(8.0, 0.0), target(9.0, 0.0, "g2")]
    one = listed(site(*observations, targets=targets))
    two = listed(site(*reversed(observations), targets=list(reversed(targets))), as_of="2024-06-02")
    assert one["flag_key"].is_unique
    assert set(one["flag_key"]) == set(two["flag_key"])
    assert one["order"].tolist() == list(range(1, len(one) + 1))


def test_the_frame_has_the_columns_of_the_nomenclature_and_no_nan():
    flags = listed(site(seen("crack")))
    assert list(flags.columns) == columns.names("flags")
    assert flags["target_id"].tolist() == [None] * len(flags)
    assert list(listed(make_records()).columns) == columns.names("flags")


def test_the_qualified_person_of_the_site_is_named_where_one_is_entered():
    terms = make_site(frame="local", qualified="Tree office, 555 0100")
    flags = listed(site(seen("crack")), terms)
    assert of(flags, "crack")["who_may_answer"].iloc[0] == "a qualified person (here: Tree office, 555 0100)"


def test_trees_without_their_columns_are_refused():
    with pytest.raises(ColumnMissing):
        screening.flags(make_records(), pd.DataFrame({"tree_id": []}), LOCAL, DAY)


def test_hostile_words_are_only_text():
    records = site(
        seen("crack", text="{{7*7}} <script> ${x} {0} %(a)s"),
        trees=[tree(tag="'{%", place="</b>")],
        targets=[target(1, 1, name="{x}")],
    )
    flags = listed(records)
    assert "{{7*7}} <script> ${x} {0} %(a)s" in of(flags, "crack")["evidence"].iloc[0]
    assert flags["tag"].iloc[0] == "'{%"


def test_sixteen_thousand_trees_take_less_than_half_a_second():
    number = 16_000
    ids = [f"t{i}" for i in range(number)]
    spread = np.random.default_rng(1).random((2, number)) * 3000
    trees = pd.DataFrame({"tree_id": ids, "tag": ids, "status": "living", "name_sure": "sure"})
    trees = columns.shaped("tree_record", trees.assign(x_m=spread[0], y_m=spread[1]))
    sizes = {"observation_id": [f"o{i}" for i in range(2 * number)], "tree_id": ids * 2, "unit": "m"}
    what = ["height"] * number + ["crown diameter"] * number
    observations = pd.DataFrame(sizes | {"what": what, "value": 9.0, "received_at": "2024-01-01T00:00:00Z"})
    targets = frame_of("target_record", [target(i * 30.0, i * 30.0, f"g{i}") for i in range(100)])
    records = dataclasses.replace(
        make_records(),
        trees=trees,
        observations=columns.shaped("observation_record", observations),
        targets=targets,
    )
    table = columns.shaped("trees", trees)
    taken = []
    for _ in range(3):
        start = time.process_time()
        assert len(screening.flags(records, table, LOCAL, DAY)) > number
        taken.append(time.process_time() - start)
    assert min(taken) < 0.5


# --- words

CLAIMS = re.compile(
    r"\b(un)?safe(ly|ty)?\b|\bsound\b|\bok(ay)?\b|\bclear(ed|s)?\b|\bhealthy\b|\bgood\b|\bpass(ed|es)?\b"
    r"|\b(low|no|minor|high)[ -]risk\b|\brisks?\b|\bno action\b|\bresolved\b|\bfine\b"
    r"|\bdangerous\b|\bharmless\b|\bhazardous\b|\bremov\w+|\bfelling\b|\bmust\b",
    re.IGNORECASE,
)


def own_words():
    for rule in RULES.values():
        yield from (rule.word, rule.question, rule.short, rule.who, rule.worse)
    for sight in sights.SIGHTS.values():
        yield from (sight.word, sight.plain)
    yield from screening_rules.REASONS
    yield screening_rules.OUR_REMINDER
    records = site(
        *(seen(word, number=i) for i, word in enumerate(sights.SIGHTS)),
        height(12.0),
        crown(9.0),
        trees=[tree(), tree("t2", status="dead"), tree("t3", name_sure="doubtful")],
        targets=[target(4.0, 0.0)],
        inspections=[look("2020-01-01")],
        areas=[area(shapely.box(-1, -1, 1, 1), "every day")],
        status_events=[event("dead", "2024-03-01", subject_id="t3", in_doubt=True)],
    )
    trees, flags = counted(records, answers=[finding("crack:t1:none")])
    for name in ("words", "evidence", "who_may_answer", "answered"):
        yield from flags[name].dropna()
    yield from screening.gap_sentences(trees, flags)
    yield asked(records).words()


def test_no_word_says_that_a_tree_is_good_or_bad_or_is_to_be_taken_down():
    words = list(own_words())
    assert len(words) > 100
    assert [text for text in words if CLAIMS.search(text)] == []


def test_the_check_of_words_finds_what_it_looks_for():
    for text in ("The tree is safe.", "looks OK", "all clear", "low risk", "in good condition", "remove it"):
        assert CLAIMS.search(text)


def test_the_short_caution_is_the_agreed_one_word_for_word():
    assert cautions.SHORT == (
        "This list comes from what was measured and written down. It is not an inspection. "
        "A tree that is not on it has not been found sound; a tree that is on it has not been found bad. "
        "A qualified person decides. "
        "Branch hanging, fresh crack, new lean, soil lifting: keep people away and call {phone} now."
    )


def test_the_long_caution_has_its_fifteen_points_with_their_sources():
    assert len(cautions.LONG) == 15
    assert len({point.key for point in cautions.LONG}) == 15
    assert all(point.title and point.text.endswith(".") and point.source for point in cautions.LONG)
    claims = re.compile(r"\b(safe|safely|sound|OK|healthy|cleared|low risk)\b")
    assert not [point.key for point in cautions.LONG if claims.search(point.text + point.title)]


def test_every_rule_has_a_source_or_says_that_there_is_none():
    assert all(rule.source for rule in RULES.values())
    assert {RULES[sight.rule].word for sight in sights.SIGHTS.values() if sight.rule} == set(
        screening_rules.SIGN_RULES
    )
