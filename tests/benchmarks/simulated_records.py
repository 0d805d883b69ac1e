"""Simulated sites as the records and terms that the layers are given."""

import json
from functools import lru_cache

import numpy as np
import pandas as pd
import shapely

from layers import columns, taper
from layers.inputs import Records, SiteTerms
from tests.benchmarks.simulated_crews import CALIBRATED, CREW_KINDS
from tests.benchmarks.simulated_errors import INSTRUMENTS, LAID, SPECIES, TAPER_SHARE
from tests.benchmarks.simulator import has_calibration

FIRST_DAY = np.datetime64("2008-01-01", "D")
SITE_ID = "simulated"
_ABSENT = {"float": np.nan, "int": pd.NA, "flag": False}


def ids(letter, numbers):
    """Ids that sort as their numbers do: s00012."""
    return np.array([f"{letter}{n:05d}" for n in np.asarray(numbers).tolist()], dtype=object)


def dates(day):
    """ISO dates of days since the first."""
    return np.datetime_as_string(FIRST_DAY + np.asarray(day).astype(np.int64), unit="D").astype(object)


def terms_of(site, **changes):
    """The terms of a site on a local ground."""
    given = {"site_id": SITE_ID, "slug": "simulated", "name": "Simulated", "frame": "local"}
    return SiteTerms(**{**given, "breast_height_m": site.standard_m, **changes})


def records_of(site):
    """What was said on a site, as frames of the nomenclature."""
    stems = len(site.stems["tree"])
    return Records(
        trees=_trees(site),
        stems=_frame(
            "stem_record",
            stems,
            stem_id=ids("s", range(stems)),
            tree_id=ids("t", site.stems["tree"]),
            number=np.ones(stems, dtype=np.int64),
            status="living",
        ),
        readings=readings_of(site),
        areas=_areas(site),
        calibrations=_calibrations(site),
    )


def readings_of(site):
    """The readings of a site, in order of time; ``reading_id`` is r with the place in that order."""
    said, crews, crew = site.readings, site.crews, site.readings["crew"]
    number = len(crew)
    day = dates(said["day"])
    names = np.array([f"{r + 1}" for r in range(len(crews["number"]))], dtype=object)
    calibrations = ids("c", range(len(crews["round"])))
    return _frame(
        "reading_record",
        number,
        reading_id=ids("r", range(number)),
        stem_id=ids("s", said["stem"]),
        quantity=np.where(said["is_girth"], "girth", "diameter").astype(object),
        value=said["value"],
        value_2=said["value_2"],
        unit=crews["unit"].astype(object)[crew],
        instrument=np.array([None if i == "unknown" else i for i in INSTRUMENTS], dtype=object)[
            crews["instrument"][crew]
        ],
        calibration_id=np.where(has_calibration(site), calibrations[crew], None),
        height_m=np.where(said["says_height"], said["height_m"], np.nan),
        resolution=np.where(crews["step"][crew] > 0, crews["step"][crew], np.nan),
        measured_on=day,
        date_precision="day",
        received_at=day + "T12:00:00Z",
        crew=crews["name"].astype(object)[crew],
        crew_kind=np.array(CREW_KINDS, dtype=object)[crews["kind"][crew]],
        round_id=names[said["round"]],
    )


def _trees(site):
    species = np.array([name for name, _ in SPECIES], dtype=object)[site.trees["species"]]
    placed = site.ground["placed_m"]
    return _frame(
        "tree_record",
        len(species),
        tree_id=ids("t", range(len(species))),
        scientific_name=species,
        name_as_written=species,
        name_sure="sure",
        genus=np.array([name.split()[0] for name in species], dtype=object),
        status="living",
        x_m=placed[:, 0],
        y_m=placed[:, 1],
        position_source="file",
        position_accuracy_m=site.ground["accuracy_m"],
    )


def _calibrations(site):
    """The hands of the crews that counted in hands, measured at the start of their round."""
    crews = site.crews
    rows = np.flatnonzero(crews["instrument"] == CALIBRATED)
    return pd.DataFrame(
        {
            "id": ids("c", rows),
            "crew": crews["name"].astype(object)[rows],
            "instrument": INSTRUMENTS[CALIBRATED],
            "counts": LAID,
            "totals_cm": [json.dumps(np.round(crews["totals_cm"][row], 3).tolist()) for row in rows],
            "calibrated_on": dates(crews["round_start"][crews["round"][rows]]),
            "supersedes": None,
            "void": False,
            "recorded_at": None,
        }
    )


def _areas(site):
    shapes = np.empty(len(site.ground["drawn_m"]), dtype=object)
    shapes[:] = [shapely.Polygon(corners) for corners in site.ground["drawn_m"]]
    return _frame(
        "area_record",
        len(shapes),
        area_id=ids("a", range(len(shapes))),
        layer="areas",
        name=ids("a", range(len(shapes))),
        kind="lawn",
        area_se_ha=site.ground["area_se_ha"],
        geometry=shapes,
    )


@lru_cache
def _blank(frame):
    return {column.name: _ABSENT.get(column.kind) for column in columns.FRAMES[frame]}, dict(
        columns.empty(frame).dtypes
    )


def _frame(frame, rows, **given):
    """The frame with the columns that are given, all others missing."""
    absent, types = _blank(frame)
    index = pd.RangeIndex(rows)
    return pd.DataFrame(
        {name: pd.Series(given.get(name, absent[name]), index=index, dtype=types[name]) for name in absent}
    )


def taper_keys(site):
    """The cause key of every set of species, its true effect and the variance that is assumed of it."""
    published, true = site.truth["sets"], site.truth["b"]
    return {
        f"taper:{taper.set_name(b)}": (t - b, (TAPER_SHARE * b) ** 2)
        for b, t in zip(published.tolist(), true.tolist(), strict=True)
    }
