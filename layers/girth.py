"""From what was read to a standard diameter: girth, diameter and basal area of stems.

References
----------
.. [1] Brack, C. L. and Wood, G. B. 1998. Forest measurement and modelling, pages on stem basal area, ANU:
   basal area [m2] = 0.0000785398 d^2 [cm].
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe

from layers import columns, conversion, error_model, reading_errors
from layers.inputs import SiteTerms
from layers.units import CM_PER_UNIT

Array = NDArray[np.float64]

M2_PER_CM2 = 1e-4

_NEEDED = (
    *("reading_id", "stem_id", "quantity", "value", "value_2", "unit", "instrument", "calibration_id"),
    *("height_m", "resolution", "tilt_deg", "crew", "crew_kind", "round_id"),
)
# A tilted tape reads too big by `tilt_factor`; what spans a trunk from one side does not follow that rule.
_ROUND_THE_TRUNK = (
    "girth tape",
    "diameter tape",
    "string and ruler",
    "hand breadths",
    "hand spans",
    "unknown",
)


def diameter_cm(girth_cm: ArrayLike) -> Array:
    """Return the diameter of a round stem from its girth [cm]: C / pi."""
    return np.asarray(np.asarray(girth_cm, dtype=float) / np.pi)


def girth_cm(diameter_cm: ArrayLike) -> Array:
    """Return the girth of a round stem from its diameter [cm]: pi d."""
    return np.asarray(np.asarray(diameter_cm, dtype=float) * np.pi)


def basal_area_m2(dbh_cm: ArrayLike) -> Array:
    """Return the area of the cut face at breast height [m2]: pi/4 d^2.

    Parameters
    ----------
    dbh_cm : array_like
        Standard diameter [cm].

    References
    ----------
    .. [1] Brack and Wood 1998.
    """
    return np.asarray(np.pi / 4.0 * M2_PER_CM2 * np.asarray(dbh_cm, dtype=float) ** 2)


def basal_area_per_cm(dbh_cm: ArrayLike) -> Array:
    """Return the change of basal area with the diameter [m2 per cm]: pi/2 d."""
    return np.asarray(np.pi / 2.0 * M2_PER_CM2 * np.asarray(dbh_cm, dtype=float))


def equal_area_diameter_cm(diameters: ArrayLike) -> float:
    """Return the diameter of one stem with the basal area of several, sqrt(sum d^2), in their unit.

    The only rule for several stems that keeps basal area, so the only one that feeds it.

    References
    ----------
    .. [1] Chojnacky, D. C. and Rogers, P. 1999. Western Journal of Applied Forestry 14(1):14-17, figure 1.
    """
    return float(np.sqrt(np.sum(np.asarray(diameters, dtype=float) ** 2)))


def quadratic_mean_diameter_cm(basal_area_m2: ArrayLike, stems: ArrayLike) -> Array:
    """Return the diameter of the stem of mean basal area [cm]: sqrt(4 BA / (pi N)).

    Parameters
    ----------
    basal_area_m2 : array_like
        Basal area of all stems [m2].
    stems : array_like
        Their number; 0 gives NaN.
    """
    number = np.asarray(stems, dtype=float)
    mean = np.asarray(basal_area_m2, dtype=float) / np.where(number > 0, number, np.nan)
    return np.asarray(np.sqrt(4.0 * mean / (np.pi * M2_PER_CM2)))


def density_index(dbh_cm: ArrayLike) -> Array:
    """Return what a stem adds to the stand density index [-]: (d / 25.4 cm)^1.605.

    Summed over stems and divided by hectares it is the summation form; at the quadratic mean diameter, times
    stems per hectare, it is Reineke's.

    References
    ----------
    .. [1] Reineke, L. H. 1933. Perfecting a stand-density index for even-aged forests. Journal of
       Agricultural Research 46:627-638.
    """
    return np.asarray((np.asarray(dbh_cm, dtype=float) / 25.4) ** 1.605)


def tilt_factor(tilt_deg: ArrayLike) -> Array:
    """Return how many times too big a tape reads that is tilted by an angle [-]: (2/pi) E(sin^2 t) / cos t.

    Parameters
    ----------
    tilt_deg : array_like
        Angle between the tape and the plane across the stem [deg].

    Notes
    -----
    The girth of the ellipse that a tilted plane cuts from a cylinder; E is the complete elliptic integral of
    the second kind with parameter m = sin^2 t.
    """
    tilt = np.radians(np.asarray(tilt_deg, dtype=float))
    return np.asarray(2.0 / np.pi * ellipe(np.sin(tilt) ** 2) / np.cos(tilt))


@dataclass(frozen=True)
class Standardised:
    """Readings as standard diameters.

    ``readings`` has one row a reading, in the order given, with the added columns ``tree_id``,
    ``as_measured_cm`` (diameter at the height of measurement), ``dbh_cm``, ``own_var_cm2``,
    ``departure_se_cm`` (this stem's departure from the profile, the same for all its readings at that height)
    and ``dbh_source`` (how the number came about, or why there is none).
    ``parts`` has ``row`` (position in ``readings``), ``reading_id``, ``cause``, ``sensitivity_cm``;
    ``causes`` the columns of CAUSES.
    """

    readings: pd.DataFrame
    parts: pd.DataFrame
    causes: pd.DataFrame


def standardised(
    readings: pd.DataFrame, stems: pd.DataFrame, trees: pd.DataFrame, terms: SiteTerms
) -> Standardised:
    """Return every reading as a standard diameter with its errors.

    Parameters
    ----------
    readings, stems, trees : DataFrame
        Columns of READING_RECORD, STEM_RECORD and TREE_RECORD. Any index; it is not kept.
    terms : SiteTerms
        Breast height [m] of the site.

    Returns
    -------
    Standardised
        ``dbh_cm`` is NaN where there is no size: no value or 0, only a class, an unknown unit, or a height
        from which it cannot be converted. Empty input gives empty frames.

    Notes
    -----
    Two caliper axes count as their arithmetic mean. A recorded tilt is corrected where the instrument goes
    round the trunk. A reading within 2 cm of breast height is not converted, others between 0.15 and 1.53 m
    are, by the published profile.

    Raises
    ------
    ColumnMissing
        If a column that is needed is absent.
    """
    columns.require(readings, "reading_record", _NEEDED)
    readings = readings.reset_index(drop=True)
    size = _read_size(readings)
    how, words = conversion.brought_to_breast_height(readings, size.diameter_cm, stems, trees, terms)
    dbh = size.diameter_cm * how.factor
    known = reading_errors.precisions(readings, size.diameter_cm)
    own_cm = known.own_cm * np.sqrt(terms.model.own.value)
    own_sd = np.hypot(np.hypot(own_cm, size.rounding_cm), size.tilt_cm) * how.factor
    parts, causes = reading_errors.shared_parts(readings, dbh, known, how, terms)
    dbh = dbh - reading_errors.learned_bias_cm(parts, causes, terms, len(readings))
    out = readings.assign(
        tree_id=conversion.tree_of(readings["stem_id"], stems),
        as_measured_cm=size.diameter_cm,
        dbh_cm=dbh,
        own_var_cm2=own_sd**2,
        departure_se_cm=how.departure_share * dbh,
        dbh_source=pd.Series(np.where(np.isfinite(size.diameter_cm), words, size.why), dtype=object),
    )
    return Standardised(out, parts, causes)


@dataclass(frozen=True)
class _Size:
    """The diameter at the height of measurement with what reading it adds to its error [cm]."""

    diameter_cm: Array
    rounding_cm: Array
    tilt_cm: Array
    why: NDArray[np.object_]  # there is none


def _read_size(readings: pd.DataFrame) -> _Size:
    quantity = readings["quantity"].to_numpy(dtype=object)
    per_unit = readings["unit"].map(CM_PER_UNIT).to_numpy(dtype=float)
    per_value = per_unit / np.where(quantity == "girth", np.pi, 1.0)
    first, second = (readings[name].to_numpy(dtype=float) for name in ("value", "value_2"))
    two = (first > 0) & (second > 0)
    value = np.where(two, (first + second) / 2.0, first)
    usable = (quantity != "class") & (value > 0) & np.isfinite(per_value)

    goes_round = readings["instrument"].isna() | readings["instrument"].isin(_ROUND_THE_TRUNK)
    tilt = np.where(goes_round, readings["tilt_deg"].to_numpy(dtype=float), np.nan)
    scale = np.where(usable, per_value, np.nan) / np.where(np.isnan(tilt), 1.0, tilt_factor(tilt))
    diameter = value * scale
    step = np.nan_to_num(readings["resolution"].to_numpy(dtype=float)) * scale
    rounding = step / np.sqrt(np.where(two, 24.0, 12.0))
    aslant = np.where(np.isnan(tilt), error_model.TILT_NOT_RECORDED_SHARE * diameter, 0.0)
    return _Size(diameter, rounding, aslant, _why_no_size(quantity, value, per_unit))


def _why_no_size(quantity: NDArray[np.object_], value: Array, per_unit: Array) -> NDArray[np.object_]:
    return np.select(
        [quantity == "class", ~(value > 0), np.isnan(per_unit)],
        [
            "only a diameter class was said, which is no size",
            "no size was said",
            "the unit of the size is not known",
        ],
        "",
    ).astype(object)
