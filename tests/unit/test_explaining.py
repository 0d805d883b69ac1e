"""What an explanation shows is enough to work its number and error out again, and tells their sources."""

import copy
import json
import math

import numpy as np
import pytest

from layers import explained_figures, ground
from layers.errors import NothingToCompute
from layers.explaining import of_stem, of_tree
from layers.explaining_words import EQUATIONS
from layers.explanations import Explanation
from layers.history import state_at
from layers.intervals import degrees_of_freedom, quantile_of
from layers.recomputing import recomputed
from layers.site_model import FROM_SITE, PUBLISHED, Effect, Factor, SiteModel
from layers.tree_table import tree_table
from tests.builders import SITE_ID, STEM_ID, make_reading, make_records, make_site, make_stem, make_tree
from tests.stand_builders import AS_OF, area_row, figure_of, figures_of, local_site, stand
from tests.unit.test_figures import IN, SIZES, SQUARE

LEARNED = SiteModel(
    version=3,
    own=Factor(0.7, 40.0),
    crew=Factor(0.5, 14.0),
    departure=Factor(1.2, 22.0),
    effects={
        "taper:mixed hardwood": Effect(0.012, 0.0004),
        f"instrument:{SITE_ID}:girth tape": Effect(0.4, 0.01),
    },
)
AWKWARD = (
    {"quantity": "girth", "value": 41.5, "unit": "in", "height_m": 0.9, "tilt_deg": 6.0},
    {"quantity": "diameter", "value": 31.2, "value_2": 33.0, "instrument": "caliper"},
    {"value": 104.0, "height_m": 0.9, "awkward": "vine 2", "crew_kind": "pupils"},
    {"value": 99.0, "awkward": "missing bark 0.96", "height_m": None, "instrument": "string and ruler"},
)


def shown(explanation: Explanation):
    """What leaves of an explanation: text and back."""
    return json.loads(json.dumps(explanation.as_json()))


def holds(explanation: Explanation):
    """The shown parts give the shown number and error."""
    said = shown(explanation)
    again = recomputed(said)
    assert again.value == pytest.approx(said["value"], rel=1e-9)
    if said["se"] is not None:
        assert again.se == pytest.approx(said["se"], rel=1e-9)
        assert again.parts == pytest.approx({part["kind"]: part["variance"] for part in said["parts"]})
        assert sum(part["share"] for part in said["parts"]) == pytest.approx(1)
    return said


def measured(*readings, **terms):
    """The only stem of a tree with readings of one day."""
    rows = [make_reading(**{"reading_id": f"r{n}", "fid": n + 1, **each}) for n, each in enumerate(readings)]
    records = make_records(trees=[make_tree()], stems=[make_stem()], readings=rows)
    site = make_site(**terms)
    state = state_at(records, site, AS_OF)
    return of_stem(records, state, site, AS_OF, STEM_ID), state, records, site


@pytest.mark.parametrize("model", [PUBLISHED, LEARNED])
@pytest.mark.parametrize("readings", [AWKWARD, *[(each,) for each in AWKWARD]])
def test_the_size_of_a_trunk_follows_from_its_readings(readings, model):
    explanation, state, _records, _site = measured(*readings, model=model)
    said = holds(explanation)
    row = state.stem_state.iloc[0]
    assert said["value"] == row["dbh_cm"]
    assert len(said["inputs"]) == len(readings)
    own = sum(part["variance"] for part in said["parts"] if part["kind"] in ("own", "departure"))
    assert own == pytest.approx(row["own_var_cm2"])


def test_a_part_that_is_not_as_shown_comes_out_as_a_difference():
    said = shown(measured(*AWKWARD)[0])
    for change in ("weight", "own_var_cm2", "cm_per_unit", "profile_b"):
        other = copy.deepcopy(said)
        other["inputs"][0][change] *= 1.01
        again = recomputed(other)
        assert (again.value, again.se) != (pytest.approx(said["value"], rel=1e-9), said["se"]), change


def test_the_worked_example_of_a_shared_error_comes_out():
    # By hand: 30 and 40 cm, own sd 0.3 each, one shared effect of sd 0.2, Var(BA) = 1.03878e-05 m4.
    stems = [
        {"dbh_cm": d, "own_var_cm2": 0.09, "departure_var_cm2": 0.0, "shared": {"crew:x": 1.0}}
        for d in (30.0, 40.0)
    ]
    given = {"equation": {"key": "sum_of_faces"}, "constants": {}, "inputs": stems, "parts": [{}]}
    again = recomputed({**given, "causes": [{"cause": "crew:x", "kind": "crew", "variance": 0.04}]})
    assert again.parts["own"] == pytest.approx(5.5517e-06, rel=1e-4)
    assert again.parts["crew"] == pytest.approx(4.8361e-06, rel=1e-4)
    assert again.se == pytest.approx(0.0032230, rel=1e-4)


def test_a_trunk_without_a_size_says_why_and_an_unknown_one_is_refused():
    explanation, state, records, site = measured({"height_m": 0.05})
    assert math.isnan(explanation.value) and "ground line" in explanation.why
    assert shown(explanation)["value"] is None
    with pytest.raises(NothingToCompute):
        of_stem(records, state, site, AS_OF, "no such trunk")


def test_a_tree_of_several_trunks_follows_from_them():
    stems = [make_stem(stem_id=f"s{n}", fid=n + 1, number=n + 1) for n in range(3)]
    readings = [
        make_reading(
            reading_id=f"r{n}", fid=n + 1, stem_id=f"s{n}", value=60.0 + 20 * n, height_m=0.8 + n / 4
        )
        for n in range(3)
    ]
    records, site = make_records(trees=[make_tree()], stems=stems, readings=readings), make_site()
    state = state_at(records, site, AS_OF)
    row = next(tree_table(records, state, site, AS_OF).itertuples())
    said = holds(of_tree(state, site, row, "assumption"))
    assert said["value"] == row.dbh_cm and said["se"] == row.dbh_se_cm
    assert [each["stem_id"] for each in said["inputs"]] == ["s0", "s1", "s2"]
    assert {part["kind"] for part in said["parts"]} >= {"own", "departure", "taper", "instrument", "crew"}


def frames_of(records, site):
    areas = ground.areas_ha(records.areas, site)
    state = state_at(records, site, AS_OF)
    inside = ground.membership(records.trees, areas, site)
    return explained_figures.FigureFrames(state, inside, records.trees, areas, None, site)


CLASSES = [f"{what}:{n}" for what in ("size_class", "size_class_basal_area") for n in range(6)]


@pytest.mark.parametrize("model", [PUBLISHED, LEARNED])
@pytest.mark.parametrize("key", [*explained_figures.KEYS, *CLASSES])
def test_every_figure_follows_from_what_it_shows(key, model):
    drawn = [
        area_row("a", SQUARE, area_se_ha=0.05),
        area_row("b", SQUARE, kind="boundary", area_se_ha=0.02),
    ]
    records = stand([*SIZES, None], [*IN, IN[0]], drawn, height_m=0.9)
    site = local_site(model=model)
    rows = figures_of(records, site)
    frames = frames_of(records, site)
    for area in ("a", None):
        row = figure_of(rows, area)
        said = holds(explained_figures.of_figure(row, key, frames))
        if ":" not in key:
            assert said["value"] == row[key]
        assert said["se"] is not None or said["no_error"]
        assert said["model"] == str(model.version)


def test_the_errors_of_an_explanation_are_those_of_the_figures():
    drawn = [area_row("a", SQUARE, area_se_ha=0.05)]
    records, site = stand(SIZES, IN, drawn, height_m=0.9), local_site()
    row, frames = figure_of(figures_of(records, site), "a"), frames_of(records, site)
    whole = explained_figures.of_figure(row, "basal_area_m2", frames)
    assert whole.se == pytest.approx(row["basal_area_se_m2"])
    assert (whole.low, whole.high) == (row["basal_area_lo"], row["basal_area_hi"])
    per_ha = explained_figures.of_figure(row, "basal_area_m2_per_ha", frames)
    assert per_ha.se == pytest.approx(row["basal_area_se_m2_per_ha"])
    assert {part.kind: part.share for part in per_ha.errors.parts} == pytest.approx(row["error_by_cause"])


def test_a_number_that_cannot_be_said_gives_the_reason_of_the_figures():
    records, site = stand([None, None]), local_site()
    row = figures_of(records, site)[0]
    for key in ("basal_area_m2", "area_ha", "shannon"):
        explanation = explained_figures.of_figure(row, key, frames_of(records, site))
        assert explanation.why == row["why"].get(key) or row[key] is not None


@pytest.mark.parametrize("key", ["no such figure", "size_class:6", "size_class:x", "why", "species"])
def test_what_is_no_figure_is_refused(key):
    records, site = stand(SIZES), local_site()
    with pytest.raises(NothingToCompute):
        explained_figures.of_figure(figures_of(records, site)[0], key, frames_of(records, site))


def test_parts_say_whether_they_were_measured_here():
    published = {part.kind: part for part in measured(*AWKWARD)[0].errors.parts}
    learned = {part.kind: part for part in measured(*AWKWARD, model=LEARNED)[0].errors.parts}
    assert not any(part.measured for part in published.values())
    assert "Luoma" in published["own"].source and published["taper"].source == "assumption"
    for kind in ("own", "departure", "crew"):
        assert learned[kind].measured and learned[kind].source == FROM_SITE
    assert not learned["instrument"].measured  # the caliper's is still assumed
    assert learned["instrument"].source == f"{FROM_SITE}; assumption"


def test_an_error_is_no_longer_called_assumed_where_all_of_it_was_learned():
    lone = {"value": 104.0, "height_m": 0.9}
    assert measured(lone)[1].stem_state["assumed"].all()
    hardwood = make_records(
        trees=[make_tree(scientific_name=None, name_as_written=None, genus=None)],
        stems=[make_stem()],
        readings=[make_reading(**lone)],
    )
    assert not state_at(hardwood, make_site(model=LEARNED), AS_OF).stem_state["assumed"].any()
    prior_only = SiteModel(own=Factor(1.0, 10.0), crew=LEARNED.crew, departure=LEARNED.departure)
    assert state_at(hardwood, make_site(model=prior_only), AS_OF).stem_state["assumed"].all()
    no_taper = SiteModel(own=LEARNED.own, crew=LEARNED.crew, departure=LEARNED.departure)
    assert state_at(hardwood, make_site(model=no_taper), AS_OF).stem_state["assumed"].all()


def test_estimated_variances_make_a_wider_interval_and_known_ones_the_normal_one():
    assert quantile_of({"own": 1.0, "crew": 2.0}, PUBLISHED) == 1.959963984540054
    # Satterthwaite by hand: (1 + 3)^2 / (1^2/40 + 3^2/14) = 24.0 degrees of freedom.
    assert degrees_of_freedom({"own": 0.6, "departure": 0.4, "crew": 3.0}, LEARNED) == pytest.approx(
        16 / (1 / 40 + 9 / 14)
    )
    explanation = measured(*AWKWARD, model=LEARNED)[0]
    assert 1.97 < explanation.quantile < 2.2
    half = explanation.quantile * explanation.se
    assert (explanation.low, explanation.high) == (explanation.value - half, explanation.value + half)


def test_every_equation_has_words_and_a_formula():
    assert all(one.words and one.formula for one in EQUATIONS.values())


def test_at_most_so_many_inputs_are_listed_and_their_number_is_said():
    records, site = stand(SIZES), local_site()
    explanation = explained_figures.of_figure(
        figures_of(records, site)[0], "basal_area_m2", frames_of(records, site)
    )
    said = explanation.as_json(2)
    assert len(said["inputs"]) == 2 and said["input_count"] == len(SIZES)
    assert all(each["shared"] for each in said["inputs"])
    assert np.isfinite(said["value"])


def test_trees_near_the_edge_are_listed_with_how_likely_they_stand_on_its_other_side():
    positions = [(0.5, 50.0), (50.0, 50.0), (-0.5, 20.0)]
    records, site = (
        stand([30.0, 40.0, 20.0], positions, [area_row("a", SQUARE, area_se_ha=0.05)]),
        local_site(),
    )
    row, frames = figure_of(figures_of(records, site), "a"), frames_of(records, site)
    for key in ("basal_area_m2", "basal_area_m2_per_ha"):
        said = holds(explained_figures.of_figure(row, key, frames))
        assert {tree["tree_id"] for tree in said["edge_trees"]} == {"t0", "t2"}
        assert all(0 < tree["likely"] < 0.5 for tree in said["edge_trees"])
        assert any(part["kind"] == "edge" and not part["measured"] for part in said["parts"])
        said["edge_trees"][0]["likely"] *= 1.5
        assert recomputed(said).se > said["se"] * 1.001
    assert row["basal_area_se_m2"] == pytest.approx(
        explained_figures.of_figure(row, "basal_area_m2", frames).se, rel=1e-9
    )
    assert "edge" not in {
        part.kind for part in explained_figures.of_figure(row, "mean_dbh_cm", frames).errors.parts
    }
