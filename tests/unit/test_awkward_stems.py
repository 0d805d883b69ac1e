"""Awkward trunks: facts, what is done, and what they change in a number; rules for several stems."""

import numpy as np
import pytest

from layers import awkward_stems, girth, stem_rules, telling
from layers.errors import OutsideDomain
from layers.history import state_at
from tests.builders import make_reading, make_records, make_site, make_stem, make_tree


def sized(**reading):
    given = make_records(
        trees=[make_tree()], stems=[make_stem()], readings=[make_reading(**{"tilt_deg": 0.0, **reading})]
    )
    return girth.standardised(given.readings, given.stems, given.trees, make_site()).readings.iloc[0]


def test_facts_come_back_as_they_were_kept():
    facts = {"slope": None, "vine": 2.0, "missing bark": 0.96, "too short for breast height": None}
    assert awkward_stems.facts_of(awkward_stems.joined(facts)) == facts
    assert awkward_stems.joined({}) is None
    assert awkward_stems.facts_of(None) == {}


def test_words_of_others_stay_as_they_are():
    assert awkward_stems.facts_of("wrapped in lights 3, slope") == {
        "wrapped in lights 3": None,
        "slope": None,
    }


@pytest.mark.parametrize("thickness", [0.5, 2.0, 6.0])
def test_a_vine_that_is_taken_off_is_what_it_had_added(thickness):
    read = 30.0 + awkward_stems.vine_over_read_cm(30.0, thickness)
    assert awkward_stems.without_vine_cm(read, thickness) == pytest.approx(30.0)


def test_a_vine_as_thick_as_the_trunk_leaves_no_size():
    assert np.isnan(awkward_stems.without_vine_cm(3.0, 2.0))


def test_a_vine_of_known_thickness_is_taken_off_with_an_error_of_its_own():
    plain, with_vine = (sized(value=50.0, resolution=0.0, awkward=said) for said in (None, "vine 2"))
    off = plain["dbh_cm"] - with_vine["dbh_cm"]
    assert off == pytest.approx(awkward_stems.vine_over_read_cm(50 / np.pi - off, 2.0))
    assert with_vine["own_var_cm2"] - plain["own_var_cm2"] == pytest.approx((off / 3) ** 2, rel=1e-6)
    assert with_vine["dbh_source"].endswith("what a vine of 2 cm adds under the tape is taken off")


@pytest.mark.parametrize("said", [{"awkward": "vine"}, {"awkward": "vine 2", "instrument": "caliper"}])
def test_a_vine_that_was_not_measured_or_not_under_a_tape_is_not_corrected(said):
    without = {name: value for name, value in said.items() if name != "awkward"}
    assert sized(**said)["dbh_cm"] == sized(**without)["dbh_cm"]


def test_missing_bark_is_made_up_for_only_where_the_share_was_written_down():
    assert sized(awkward="missing bark")["dbh_cm"] == sized()["dbh_cm"]
    made_up = sized(awkward="missing bark 0.96")
    assert made_up["dbh_cm"] == pytest.approx(sized()["dbh_cm"] / 0.96)
    assert "divided by the share of 0.96" in made_up["dbh_source"]


@pytest.mark.parametrize("height_m", [0.1, 0.3, 1.3, None])
def test_a_plant_too_short_for_breast_height_has_no_width_there_and_keeps_that_of_its_foot(height_m):
    row = sized(value=6.0, height_m=height_m, awkward="too short for breast height")
    assert np.isnan(row["dbh_cm"])
    assert row["as_measured_cm"] == pytest.approx(6 / np.pi)
    assert row["dbh_source"].startswith("too short for breast height")


@pytest.mark.parametrize(
    "awkward", ["vine 2", "missing bark 0.96", "vine 2, missing bark 0.9", "too short for breast height"]
)
def test_what_is_said_of_an_awkward_trunk_is_known_to_pages(awkward):
    assert telling.LAYERS.knows(sized(awkward=awkward)["dbh_source"])


def test_what_is_said_of_counts_is_known_to_pages():
    said = sized(unit="hands", instrument="hand breadths", value=12.0)["dbh_source"]
    assert telling.LAYERS.knows(said)


@pytest.mark.parametrize(
    ("facts", "height_m", "said"),
    [
        ({"missing bark": 0.2}, 1.3, "Without bark 0.2"),
        ({"vine": -1.0}, 1.3, "A vine of -1 cm"),
        ({"too short for breast height": None}, None, "Say at which height"),
        ({"too short for breast height": None}, 0.1, None),
        ({"slope": None, "vine": 2.0}, None, None),
    ],
)
def test_what_cannot_be_is_said(facts, height_m, said):
    faults = " ".join(awkward_stems.faults_of(facts, height_m).values())
    assert faults == "" if said is None else faults.startswith(said)


def test_every_fact_says_what_is_done_and_where_that_is_from():
    assert all(fact.plain and fact.rule and fact.source for fact in awkward_stems.FACTS.values())


def test_no_rule_of_a_code_but_one_keeps_the_cut_face():
    sizes = [30.0, 20.0, 14.0, 10.0]
    area = sum(girth.basal_area_m2(sizes))
    found = stem_rules.by_every_rule(sizes)
    keeping = [name for name, d in found.items() if girth.basal_area_m2(d) == pytest.approx(area)]
    assert keeping == ["equal basal area"]


def test_a_rule_is_used_only_for_as_many_stems_as_it_is_meant_for():
    assert set(stem_rules.by_every_rule([30.0])) == set()
    assert "mean and number" not in stem_rules.by_every_rule([1, 2, 3, 4, 5])
    assert "mean and number" in stem_rules.by_every_rule([1, 2, 3, 4, 5, 6])
    with pytest.raises(OutsideDomain):
        stem_rules.combined("mean and number", [1, 2])


def test_every_rule_lies_between_the_largest_stem_and_their_sum():
    sizes = np.array([30.0, 20.0, 14.0, 10.0, 9.0, 8.0])
    for name, size in stem_rules.by_every_rule(sizes).items():
        assert size <= sizes.sum()
        assert size >= sizes.max() or name == "half of three largest"


def counted_by(state):
    return stem_rules.counted_by_rules(state.stem_state, state.stem_parts, state.causes)


def test_the_error_of_a_rule_is_that_of_its_stems():
    records = make_records(
        trees=[make_tree()],
        stems=[make_stem(stem_id=f"s{n}", fid=n, number=n) for n in range(3)],
        readings=[
            make_reading(reading_id=f"r{n}", stem_id=f"s{n}", quantity="diameter", value=value, height_m=1.0)
            for n, value in enumerate((30.0, 20.0, 10.0))
        ],
    )
    state = state_at(records, make_site(), "2025-01-01")
    found = {each.rule: each for each in counted_by(state)}
    stems = state.stem_state
    own = stems["own_var_cm2"].to_numpy()
    joined = state.stem_parts.merge(state.causes, on="cause").assign(
        effect=lambda rows: rows["sensitivity_cm"] * np.sqrt(rows["variance"])
    )
    shared = joined.pivot_table(index="stem_id", columns="cause", values="effect").fillna(0.0).to_numpy()
    for rule, slopes in (
        ("sum", np.ones(3)),
        ("largest and half", np.array([1.0, 0.5, 0.5])),
        ("equal basal area", stems["dbh_cm"].to_numpy() / found["equal basal area"].size_cm),
    ):
        variance = np.sum(slopes**2 * own) + np.sum((slopes @ shared) ** 2)
        assert found[rule].se_cm == pytest.approx(np.sqrt(variance), rel=1e-4)


def test_one_trunk_has_no_rule_for_several():
    state = state_at(
        make_records(trees=[make_tree()], stems=[make_stem()], readings=[make_reading()]),
        make_site(),
        "2025-01-01",
    )
    assert counted_by(state) == []
