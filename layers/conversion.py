"""From the height of measurement to the site's breast height, with the words that say how."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import taper
from layers.awkward_stems import TOO_SHORT, facts_of_each
from layers.error_model import Array, Whole
from layers.inputs import SiteTerms
from layers.reading_errors import Conversion
from layers.translating import N_, filled

Words = NDArray[np.object_]

SAME, NOT_SAID, CONVERTED, TOO_LOW, TOO_HIGH, NO_BREAST_HEIGHT = range(6)

SAID_NOTHING = N_("height of measurement not said, taken as measured at %(standard)s")
MEASURED_AT = N_("measured at %(height)s")
AT_THE_GROUND = N_(
    "measured at %(height)s, at the ground line: not converted, because the foot of a trunk differs too much "
    "from tree to tree; measure at %(standard)s"
)
ABOVE_ALL = N_(
    "measured at %(height)s, above the %(highest)s up to which sizes are converted; measure at %(standard)s"
)
BY_PROFILE = N_("measured at %(height)s, converted to %(standard)s by the published stem profile (%(how)s)")
BEYOND_PROFILE = N_(
    "measured at %(height)s, converted to %(standard)s by the published stem profile (%(how)s), beyond the "
    "%(fitted)s for which it was made"
)
OF_THE_FOOT = N_(
    "too short for breast height: measured at its foot, at %(height)s, and not converted; it has no width at "
    "%(standard)s"
)
SENTENCES = (SAID_NOTHING, MEASURED_AT, AT_THE_GROUND, ABOVE_ALL, BY_PROFILE, BEYOND_PROFILE, OF_THE_FOOT)


def brought_to_breast_height(
    readings: pd.DataFrame, diameter_cm: Array, stems: pd.DataFrame, trees: pd.DataFrame, terms: SiteTerms
) -> tuple[Conversion, Words]:
    """Return by which factor each diameter becomes a standard one, and how in words.

    The factor is NaN where the height does not allow a conversion.
    """
    height = readings["height_m"].to_numpy(dtype=float)
    case = case_of(height, terms.breast_height_m)
    for row, facts in facts_of_each(readings["awkward"]):
        case[row] = NO_BREAST_HEIGHT if TOO_SHORT in facts else case[row]
    rows = np.flatnonzero(case == CONVERTED)
    coefficient, how, hows = _coefficients(readings["stem_id"].iloc[rows], stems, trees)

    sets, of_set = np.unique(coefficient, return_inverse=True)
    used = coefficient + terms.model.mean_of(f"taper:{taper.set_name(b)}" for b in sets)[of_set]
    factor = np.where(np.isin(case, (TOO_LOW, TOO_HIGH, NO_BREAST_HEIGHT)), np.nan, 1.0)
    factor[rows] = 1.0 / taper.ratio(height[rows], terms.breast_height_m, used)
    b, per_b, departure = (np.zeros(len(readings)) for _ in range(3))
    b[rows] = coefficient
    per_b[rows] = diameter_cm[rows] * _factor_per_b(height[rows], terms.breast_height_m, used)
    of_model = float(np.sqrt(terms.model.departure.value))
    departure[rows] = of_model * taper.departure_se(height[rows], terms.breast_height_m)
    of_rows = np.zeros(len(readings), dtype=np.int64)
    of_rows[rows] = how
    return (
        Conversion(factor, case == CONVERTED, case == NOT_SAID, b, per_b, departure),
        _words(case, height, of_rows, hows, terms.breast_height_m),
    )


def case_of(height_m: Array, breast_height_m: float) -> Whole:
    """Return what is to be done with readings at these heights [m]; NaN is a height that was not said."""
    same = np.abs(height_m - breast_height_m) <= taper.SAME_HEIGHT_M + 1e-9
    low = height_m < taper.LOWEST_M - 1e-9
    return np.select(
        [np.isnan(height_m), same, taper.is_convertible(height_m), low],
        [NOT_SAID, SAME, CONVERTED, TOO_LOW],
        TOO_HIGH,
    ).astype(np.int64)


def _factor_per_b(height_m: Array, breast_height_m: float, b: Array) -> Array:
    """The derivative of (1 + B f(H)) / (1 + B f(h)) by B."""
    here, there = taper.profile(height_m), taper.profile(breast_height_m)
    return np.asarray((there - here) / (1.0 + b * here) ** 2)


def _coefficients(
    stem_ids: pd.Series, stems: pd.DataFrame, trees: pd.DataFrame
) -> tuple[Array, Whole, list[str]]:
    """The coefficient of each stem's tree, and a code into the words of how it was found."""
    if not len(stem_ids):
        return np.zeros(0), np.zeros(0, dtype=np.int64), [""]
    tree_ids = tree_of(stem_ids, stems)
    at = pd.Index(trees["tree_id"]).get_indexer(tree_ids)
    names = pd.DataFrame(
        {column: _taken(trees[column], at) for column in ("scientific_name", "genus")}, dtype=object
    )
    code = names.groupby(["scientific_name", "genus"], dropna=False, sort=False).ngroup().to_numpy()
    _, first = np.unique(code, return_index=True)
    found = [
        taper.coefficient(*(None if pd.isna(value) else value for value in names.iloc[row])) for row in first
    ]
    return np.array([b for b, _ in found])[code], code, [how for _, how in found]


def tree_of(stem_ids: pd.Series, stems: pd.DataFrame) -> Words:
    """Return the tree of each stem, None where the stem is not known."""
    return _taken(stems["tree_id"], pd.Index(stems["stem_id"]).get_indexer(stem_ids))


def _taken(values: pd.Series, at: Whole) -> Words:
    if not len(values):
        return np.full(len(at), None, dtype=object)
    return np.asarray(np.where(at >= 0, values.to_numpy(dtype=object)[at], None), dtype=object)


def _words(case: Whole, height_m: Array, how: Whole, hows: list[str], breast_height_m: float) -> Words:
    """One sentence for each reading, made once for each that is alike."""
    millimetres = np.where(np.isnan(height_m), -1, np.round(height_m * 1000)).astype(np.int64)
    key = (millimetres * 8 + case) * len(hows) + how
    _, first, code = np.unique(key, return_index=True, return_inverse=True)
    sentences = np.empty(len(first), dtype=object)
    for n, row in enumerate(first):
        sentences[n] = _sentence(int(case[row]), float(height_m[row]), hows[how[row]], breast_height_m)
    return sentences[code]


def _sentence(case: int, height_m: float, how: str, breast_height_m: float) -> str:
    standard = metres(breast_height_m)
    if case == NOT_SAID:
        return filled(SAID_NOTHING, standard=standard)
    beyond = bool(taper.is_extrapolated(height_m, breast_height_m))
    converted = BEYOND_PROFILE if beyond else BY_PROFILE
    template = {
        SAME: MEASURED_AT,
        TOO_LOW: AT_THE_GROUND,
        TOO_HIGH: ABOVE_ALL,
        CONVERTED: converted,
        NO_BREAST_HEIGHT: OF_THE_FOOT,
    }[case]
    return filled(
        template,
        height=metres(height_m),
        standard=standard,
        how=how,
        highest=metres(taper.HIGHEST_M),
        fitted=metres(taper.PROFILE_BREAST_HEIGHT_M),
    )


def metres(height_m: float) -> str:
    """Return a height with its unit, to a tenth of a millimetre where it is no whole centimetre: 1.30 m."""
    return f"{height_m:.4f}".rstrip("0").ljust(len("0.00"), "0") + " m"
