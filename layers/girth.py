"""From what was read to a standard diameter: girth, diameter and basal area of stems.

References
----------
.. [1] Brack, C. L. and Wood, G. B. 1998. Forest measurement and modelling, pages on stem basal area, ANU:
   basal area [m2] = 0.0000785398 d^2 [cm].
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe

from layers import awkward_stems, columns, conversion, error_model, reading_errors
from layers.error_model import Whole
from layers.goes import number_of_goes
from layers.hands import CM_PER_SAID, COUNTED_TO, INSTRUMENT_OF, USUAL_CM, Hand, hand_of_each
from layers.inputs import SiteTerms
from layers.translating import N_, filled

Array = NDArray[np.float64]

M2_PER_CM2 = 1e-4

_NEEDED = (
    *("reading_id", "stem_id", "quantity", "value", "value_2", "unit", "instrument", "calibration_id"),
    *("height_m", "resolution", "tilt_deg", "crew", "crew_kind", "round_id", "parts", "awkward"),
    "measured_on",
)
COUNTED_WITH = N_("counted in hands of %(each)s cm each, as measured on %(day)s")
COUNTED_USUAL = N_("counted in hands of %(each)s cm each, the usual size of grown-ups, not measured here")
VINE_OFF = N_("what a vine of %(thick)s cm adds under the tape is taken off")
BARK_ON = N_("bark is missing: divided by the share of %(left)s that is left without it")
SENTENCES = (COUNTED_WITH, COUNTED_USUAL, VINE_OFF, BARK_ON)
# A tilted tape reads too big by `tilt_factor`; what spans a trunk from one side does not follow that rule.
_ROUND_THE_TRUNK = (
    "girth tape",
    "diameter tape",
    "string and ruler",
    "hand breadths",
    "hand spans",
    "unknown",
)


def tilt_from_drop_deg(drop_cm: ArrayLike, diameter_cm: ArrayLike) -> Array:
    """Return the tilt of a tape that is lower at the back of a stem than at its front [deg]: tan t = s / d.

    Parameters
    ----------
    drop_cm, diameter_cm : array_like
        How much lower the tape is, and the width of the stem [cm].
    """
    ratio = np.asarray(drop_cm, dtype=float) / np.asarray(diameter_cm, dtype=float)
    return np.asarray(np.degrees(np.arctan(ratio)))


def oval_factor(axis_ratio: ArrayLike) -> Array:
    """Return how many times too wide a tape reads on an oval stem [-]: its girth over that of equal area.

    Parameters
    ----------
    axis_ratio : array_like
        Shorter axis over the longer one [-].

    Notes
    -----
    (2/pi) E(1 - q^2) / sqrt q. No correction is made: the axes of a stem are rarely known.
    """
    q = np.asarray(axis_ratio, dtype=float)
    return np.asarray(2.0 / np.pi * ellipe(1.0 - q**2) / np.sqrt(q))


def diameter_cm(girth_cm: ArrayLike) -> Array:
    """Return the diameter of a round stem from its girth [cm]: C / pi."""
    return np.asarray(np.asarray(girth_cm, dtype=float) / np.pi)


def goes_round(instrument: pd.Series) -> NDArray[np.bool_]:
    """Return whether each instrument goes round the trunk; one that was not said does."""
    return np.asarray(instrument.isna() | instrument.isin(_ROUND_THE_TRUNK), dtype=bool)


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
    round the trunk, and so is a vine of which the thickness was written down; missing bark is made up for
    where the share of the width that is left without it was. A reading within 2 cm of breast height is not
    converted, others between 0.15 and 1.53 m are, by the published profile.

    Raises
    ------
    ColumnMissing
        If a column that is needed is absent.
    """
    columns.require(readings, "reading_record", _NEEDED)
    readings = readings.reset_index(drop=True)
    size = _read_size(readings, terms.hands)
    how, words = conversion.brought_to_breast_height(readings, size.diameter_cm, stems, trees, terms)
    dbh = size.diameter_cm * how.factor
    known = reading_errors.precisions(readings, size.diameter_cm, size.hand, terms.hands)
    own_cm = known.own_cm * np.sqrt(terms.model.own.value)
    beside = np.hypot(np.hypot(size.rounding_cm, size.tilt_cm), size.allowance_cm)
    own_sd = np.hypot(own_cm, beside) * how.factor
    parts, causes = reading_errors.shared_parts(readings, dbh, known, how, terms)
    dbh = dbh - reading_errors.learned_bias_cm(parts, causes, terms, len(readings))
    out = readings.assign(
        tree_id=conversion.tree_of(readings["stem_id"], stems),
        as_measured_cm=size.diameter_cm,
        dbh_cm=dbh,
        own_var_cm2=own_sd**2,
        departure_se_cm=how.departure_share * dbh,
        dbh_source=pd.Series(
            np.where(np.isfinite(size.diameter_cm), size.with_also(words), size.why), dtype=object
        ),
    )
    return Standardised(out, parts, causes)


@dataclass(frozen=True)
class _Size:
    """The diameter at the height of measurement with what reading it adds to its error [cm]."""

    diameter_cm: Array
    rounding_cm: Array
    tilt_cm: Array
    allowance_cm: Array  # of a vine or of bark
    hand: Whole  # which of the known hands, -1 for none
    why: NDArray[np.object_]  # there is none
    also: NDArray[np.object_]  # how the number came about, besides the height

    def with_also(self, words: NDArray[np.object_]) -> NDArray[np.object_]:
        """The words with what else is to be said; most readings have nothing."""
        rows = np.flatnonzero(self.also != "")
        if not len(rows):
            return words
        out = words.copy()
        out[rows] = words[rows] + self.also[rows]
        return out


def _read_size(readings: pd.DataFrame, known_hands: Sequence[Hand]) -> _Size:
    quantity = readings["quantity"].to_numpy(dtype=object)
    hand = hand_of_each(readings, known_hands)
    breadth = np.array([each.breadth_cm for each in known_hands] or [np.nan])[hand]
    counted = readings["unit"].isin(list(INSTRUMENT_OF)).to_numpy()
    per_unit = readings["unit"].map(CM_PER_SAID).to_numpy(dtype=float)
    per_unit = np.where(counted & (hand >= 0), breadth, per_unit)
    per_value = per_unit / np.where(quantity == "girth", np.pi, 1.0)
    first, second = (readings[name].to_numpy(dtype=float) for name in ("value", "value_2"))
    two = (first > 0) & (second > 0)
    value = np.where(two, (first + second) / 2.0, first)
    usable = (quantity != "class") & (value > 0) & np.isfinite(per_value)

    round_it = goes_round(readings["instrument"])
    tilt = np.where(round_it, readings["tilt_deg"].to_numpy(dtype=float), np.nan)
    scale = np.where(usable, per_value, np.nan) / np.where(np.isnan(tilt), 1.0, tilt_factor(tilt))
    diameter = value * scale
    step = readings["resolution"].to_numpy(dtype=float)
    step = np.where(np.isnan(step), np.where(counted & (hand >= 0), COUNTED_TO, 0.0), step) * scale
    rounding = step * np.sqrt(
        number_of_goes(readings["parts"], readings["instrument"]) / np.where(two, 24.0, 12.0)
    )
    turned = (hand >= 0) & ~counted  # into a length by the crew: its count was rounded before
    rounding = np.hypot(rounding, np.where(turned, COUNTED_TO * breadth / np.sqrt(12.0) / np.pi, 0.0))
    aslant = np.where(np.isnan(tilt), error_model.TILT_NOT_RECORDED_SHARE * diameter, 0.0)
    also = _counted_words(hand, readings["unit"].to_numpy(dtype=object), known_hands)
    allowance = _allow(diameter, readings["awkward"], round_it, also)
    return _Size(diameter, rounding, aslant, allowance, hand, _why_no_size(quantity, value, per_unit), also)


def _counted_words(
    hand: Whole, unit: NDArray[np.object_], known_hands: Sequence[Hand]
) -> NDArray[np.object_]:
    """What is to be said of counts in hands and spans; empty for all others."""
    also = np.full(len(hand), "", dtype=object)
    for word in INSTRUMENT_OF:
        for n in np.unique(hand[unit == word]):
            mine = known_hands[n] if n >= 0 else None
            cm = f"{mine.breadth_cm if mine else USUAL_CM[word]:.2f}"
            said = filled(COUNTED_USUAL, each=cm)
            if mine:
                said = filled(COUNTED_WITH, each=cm, day=mine.calibrated_on)
            also[(unit == word) & (hand == n)] = f"; {said}"
    return also


def _allow(
    diameter: Array, awkward: pd.Series, round_it: NDArray[np.bool_], also: NDArray[np.object_]
) -> Array:
    """Take a vine off and make up for missing bark where they were written down, and say so in ``also``.

    Returns the own deviation that this leaves [cm].
    """
    left = np.zeros(len(diameter))
    for row, facts in awkward_stems.facts_of_each(awkward):
        read = diameter[row]
        vine, bark = facts.get("vine"), facts.get("missing bark")
        if vine and round_it[row]:
            diameter[row] = awkward_stems.without_vine_cm(read, vine)
            also[row] += "; " + filled(VINE_OFF, thick=f"{vine:g}")
        if bark:
            diameter[row] = awkward_stems.with_bark_cm(diameter[row], bark)
            also[row] += "; " + filled(BARK_ON, left=f"{bark:g}")
        left[row] = awkward_stems.ALLOWANCE_SHARE * abs(diameter[row] - read)
    return left


def _why_no_size(quantity: NDArray[np.object_], value: Array, per_unit: Array) -> NDArray[np.object_]:
    out = np.full(len(value), "", dtype=object)
    out[np.isnan(per_unit)] = "the unit of the size is not known"
    out[~(value > 0)] = "no size was said"
    out[quantity == "class"] = "only a diameter class was said, which is no size"
    return out
