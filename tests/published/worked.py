"""What the published cases ask for: a name for each thing that is computed, and the call that computes it."""

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from layers import (
    awkward_stems,
    diversity,
    error_model,
    girth,
    hands,
    sighting,
    stem_rules,
    stump_equations,
    taper,
    tolerance,
    units,
)
from layers.size_classes import bounds, class_of
from service import conventions
from tests.builders import make_reading, make_records, make_stem, make_tree, row
from tests.published.worked_growth import WORKED_GROWTH
from tests.stand_builders import area_row, figures_of, local_site, make_site, reading_rows, stand, stem_rows

DATA = Path(__file__).parent / "data"
FIFTEEN = (8.4, 11.2, 14.9, 15.0, 17.3, 19.9, 20.0, 22.6, 25.1, 28.7, 31.5, 36.2, 44.8, 52.3, 61.7)
FT2_PER_M2 = 1 / units.M_PER_FT**2


def height_m(feet):
    return feet * units.CM_PER_UNIT["ft"] / 100


def profile_at_feet(feet):
    return taper.profile(feet * units.M_PER_FT)


def profile_ratio(height_m, breast_height_m, b):
    return taper.ratio(height_m, breast_height_m, b)


def dbh_from_feet(diameter, feet, b):
    return diameter / taper.ratio(feet * units.M_PER_FT, 4.5 * units.M_PER_FT, b)


def diameter_at_heights(diameter_cm, height_m, to_m, b):
    return [diameter_cm / taper.ratio(height_m, to, b) for to in to_m]


def profile_round_trip(dbh_cm, height_m, b):
    there = dbh_cm * taper.ratio(height_m, taper.PROFILE_BREAST_HEIGHT_M, b)
    return there * taper.ratio(taper.PROFILE_BREAST_HEIGHT_M, height_m, b)


def profile_coefficient(scientific_name):
    return taper.coefficient(scientific_name, None)[0]


def diameter_of_girths(girths_cm):
    return girth.diameter_cm(girth.equal_area_diameter_cm(girths_cm))


def tilt_bias_pct(tilt_deg):
    factor = girth.tilt_factor(tilt_deg)
    return [100 * (factor - 1), 100 * (factor**2 - 1)]


def read_with_tilt(diameter_cm, tilt_deg):
    read = diameter_cm * girth.tilt_factor(tilt_deg)
    return [girth.girth_cm(read), read]


def standard(**reading):
    """One reading made standard."""
    given = make_records(trees=[make_tree()], stems=[make_stem()], readings=[make_reading(**reading)])
    return girth.standardised(given.readings, given.stems, given.trees, make_site()).readings.iloc[0]


def corrected_for_tilt(girth_cm, tilt_deg):
    return standard(value=girth_cm, tilt_deg=tilt_deg)["dbh_cm"]


def rounding_sd_cm(step, unit):
    rounded, exact = (standard(unit=unit, resolution=each)["own_var_cm2"] for each in (step, 0.0))
    return np.sqrt(rounded - exact)


def _own_sd_cm(diameter_cm):
    return error_model.precision_of("caliper", "trained").own.at(np.array([diameter_cm]))[0]


def own_sd_cm(diameter_cm):
    return _own_sd_cm(diameter_cm)


def own_sd_pct(diameter_cm):
    return 100 * _own_sd_cm(diameter_cm) / diameter_cm


def diameter_of_hands_cm(count, hand_cm):
    return [count * hand_cm, girth.diameter_cm(count * hand_cm)]


def hands_se_cm(count, hand_cm, hand_se_cm, placement_sd_cm):
    parts = [hands.girth_parts_cm(count, hand_cm, se, placement_sd_cm) for se in hand_se_cm]
    return [np.linalg.norm(each) / np.pi for each in parts]


def hand_of_totals_cm(totals_cm):
    return hands.breadth(totals_cm)


def tilt_from_drop(drop_cm, diameter_cm):
    tilt = girth.tilt_from_drop_deg(drop_cm, diameter_cm)
    return [tilt, diameter_cm * girth.tilt_factor(tilt)]


def oval_bias_pct(axis_ratio):
    factor = girth.oval_factor(axis_ratio)
    return [100 * (factor - 1), 100 * (factor**2 - 1)]


def several_stems(rule, diameters):
    return stem_rules.combined(rule, diameters)


def stick_read_at_reach(true, reach, meant):
    return [sighting.stick_diameter(sighting.stick_mark(true, each), meant) for each in reach]


def ruler_sighting(width, to_ruler, to_trunk):
    naive = width * to_trunk / to_ruler
    return [sighting.ruler_diameter(width, to_ruler, to_trunk), naive]


def vine_over_read_cm(radius_cm, vine_radius_cm):
    return awkward_stems.vine_over_read_cm(2 * radius_cm, 2 * vine_radius_cm)


def hugs_cm(hugs):
    return girth.diameter_cm(hugs * 150.0)


def stump_equation_cm(equation, stump_cm):
    return stump_equations.dbh_cm(equation, stump_cm)


def convention_m(who):
    return next(each.height_m for each in conventions.OFFERED if who in each.used_by)


def basal_area_ft2(dbh_in):
    return girth.basal_area_m2(dbh_in * units.CM_PER_IN) * FT2_PER_M2


def basal_area_of_girth_m2(girth_cm):
    return girth.basal_area_m2(girth.diameter_cm(girth_cm))


def ft2_per_acre(m2_per_ha):
    return m2_per_ha * units.FT2_PER_ACRE_PER_M2_PER_HA


def per_ha(per_acre):
    return per_acre / units.HA_PER_ACRE


def qmd_in(ft2_per_acre, per_acre):
    return girth.quadratic_mean_diameter_cm(ft2_per_acre / FT2_PER_M2, per_acre) / units.CM_PER_IN


def sdi_per_acre(per_acre, qmd_in):
    return per_acre * girth.density_index(qmd_in * units.CM_PER_IN)


def stems_of_basal_area(ft2_per_acre, qmd_in):
    return ft2_per_acre / basal_area_ft2(qmd_in)


def _fifteen_figures():
    square = area_row("plot", shapely.box(0, 0, 50, 20))
    inside = [(3 * n + 1.0, 10.0) for n in range(len(FIFTEEN))]
    return figures_of(stand(FIFTEEN, inside, [square]))[1]


def fifteen_trees(figure):
    return _fifteen_figures()[figure]


def fifteen_trees_us(figure):
    row = _fifteen_figures()
    return {
        "per_acre": row["stems_per_ha"] * units.HA_PER_ACRE,
        "ft2_per_acre": ft2_per_acre(row["basal_area_m2_per_ha"]),
        "qmd_in": row["qmd_cm"] / units.CM_PER_IN,
        "sdi_per_acre": row["sdi_qmd_per_ha"] * units.HA_PER_ACRE,
    }[figure]


def class_counts_of_fifteen(breaks, unit):
    breaks_cm = [each * units.CM_PER_UNIT[unit] for each in breaks]
    return np.bincount(class_of(FIFTEEN, breaks_cm), minlength=len(bounds(breaks_cm)))


def _longleaf_row(breaks_cm=(10.0, 20.0, 40.0)):
    trees = pd.read_csv(DATA / "longleaf.csv")
    square = area_row("square", shapely.box(0, 0, 200, 200))
    given = stand(trees["mark"].tolist(), list(zip(trees["x"], trees["y"], strict=True)), [square])
    return figures_of(given, local_site(breaks_cm=tuple(breaks_cm)))[1]


def longleaf(figure):
    return _longleaf_row()[figure]


def longleaf_classes(breaks_cm):
    return [each["stems"] for each in _longleaf_row(breaks_cm)["size_classes"]]


def macleish_mc01(year):
    with (DATA / "macleish_MC-01.csv").open(encoding="utf-8", newline="") as file:
        plot = list(csv.DictReader(file))
    readings, events = [], []
    for n, tree in enumerate(plot):
        for season in range(2010, 2016):
            cell = tree[f"Fall'{season - 2000}"]
            on = f"{season}-07-02"
            if cell.startswith("DEAD"):
                said = {
                    "subject": "tree",
                    "subject_id": f"t{n}",
                    "status": "dead",
                    "happened_on": on,
                    "as_said": cell,
                }
                events.append(
                    row("status_event", status_event_id=f"e{n}-{season}", fid=len(events) + 1, **said)
                )
            elif cell != "too short":
                said = {"value": float(cell), "measured_on": on, "date_precision": "year"}
                readings += [
                    {**reading_rows([1.0])[0], **said, "reading_id": f"r{n}-{season}", "stem_id": f"s{n}"}
                ]
    given = make_records(
        trees=[make_tree(tree_id=f"t{n}", fid=n + 1, tag=tree["Tag#"]) for n, tree in enumerate(plot)],
        stems=stem_rows(len(plot)),
        readings=readings,
        status_events=events,
    )
    site = figures_of(given, make_site(), f"{year}-12-31")[0]
    return [site["trees"], site["measured_stems"], site["basal_area_m2"]]


def two_stems_variance(dbh_cm, own_sd_cm, shared_sd_cm):
    stems = ["a", "b"]
    own = pd.Series([own_sd_cm**2] * 2, index=stems)
    a = pd.Series(girth.basal_area_per_cm(dbh_cm), index=stems)
    parts = pd.DataFrame({"stem_id": stems, "cause": "instrument:x:tape", "sensitivity_cm": 1.0})
    causes = pd.DataFrame({"cause": ["instrument:x:tape"], "variance": [shared_sd_cm**2]})
    both = error_model.variance_of(own, a, parts, causes)
    of_own = error_model.variance_of(own, a, parts.iloc[:0], causes)
    of_shared = error_model.variance_of(own * 0.0, a, parts, causes)
    return [of_own, of_shared, both, np.sqrt(both)]


WORKED = {
    each.__name__: each
    for each in (
        *(height_m, profile_at_feet, profile_ratio, dbh_from_feet, diameter_at_heights, profile_round_trip),
        *(
            profile_coefficient,
            conventions.breast_height_m,
            diameter_of_girths,
            tilt_bias_pct,
            read_with_tilt,
        ),
        *(corrected_for_tilt, rounding_sd_cm, own_sd_cm, own_sd_pct, diameter_of_hands_cm, hands_se_cm),
        *(basal_area_ft2, basal_area_of_girth_m2, ft2_per_acre, per_ha, qmd_in, sdi_per_acre),
        *(stems_of_basal_area, fifteen_trees, fifteen_trees_us, class_counts_of_fifteen, longleaf),
        *(longleaf_classes, macleish_mc01, two_stems_variance),
        *(girth.diameter_cm, girth.girth_cm, girth.tilt_factor, girth.basal_area_m2, diversity.shannon),
        *(hand_of_totals_cm, tilt_from_drop, oval_bias_pct, several_stems, stick_read_at_reach),
        *(ruler_sighting, vine_over_read_cm, stem_rules.one_tape_round_two, sighting.stick_mark),
        *(hugs_cm, stump_equation_cm, convention_m, tolerance.national_tolerance_in),
        *(sighting.stick_diameter, awkward_stems.with_bark_cm, awkward_stems.raised_cm),
    )
} | {"equal_area_diameter": girth.equal_area_diameter_cm, **WORKED_GROWTH}
