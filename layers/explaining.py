"""How the size of a trunk and of a tree came about: readings with factors and weights, parts of the error."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from layers import awkward_stems, conversion, error_model, girth, history, taper
from layers.combining import departure_variance
from layers.error_model import ASSUMPTION, Array, Whole
from layers.errors import NothingToCompute
from layers.explaining_words import LUOMA
from layers.explanations import Errors, Explanation, errors_of, explained, is_learned, one_after_the_other
from layers.girth import Standardised
from layers.hands import CM_PER_SAID, INSTRUMENT_OF, hand_of_each
from layers.history import Counted, StandState
from layers.inputs import Records, SiteTerms, with_hands
from layers.reading_errors import HELPERS, learned_bias_cm
from layers.site_model import FROM_SITE
from layers.standing import COUNTED

_AS_SAID = (
    *(
        "reading_id",
        "stem_id",
        "measured_on",
        "quantity",
        "value",
        "value_2",
        "unit",
        "instrument",
        "crew_kind",
    ),
    *("height_m", "tilt_deg", "parts", "awkward"),
)
NO_SHARED = pd.DataFrame(
    {"row": np.zeros(0, dtype=np.int64), "cause": np.zeros(0, dtype=object), "sensitivity_cm": np.zeros(0)}
)


def trunks(
    records: Records, state: StandState, terms: SiteTerms, as_of: str, tree_id: str
) -> dict[str, Explanation]:
    """Return how the standard diameter of every stem of a tree came about, by stem.

    Parameters
    ----------
    records, terms, as_of
        As for ``history.state_at``.
    state : StandState
        What it gave.
    tree_id : str
        The tree; one that did not stand on the day has no stems.

    Returns
    -------
    dict of Explanation
        Inputs are the readings that count: as they were said, ``cm_per_unit``, ``tilt_factor``,
        ``vine_off_cm``, ``bark_left``, ``as_measured_cm``, ``profile_b`` (of the profile, empty where it was
        not converted), ``factor``, ``bias_cm``, ``dbh_cm``, ``own_var_cm2``, ``departure_cm``, ``weight``.
    """
    terms = with_hands(terms, records)
    stems = state.stem_state
    stems = stems[(stems["tree_id"] == tree_id) & stems["stem_id"].notna()]
    records = of_one_tree(records, tree_id)
    counted = history.counted_readings(records, terms, as_of)
    counts_for = counted.stems["stem_id"].to_numpy(dtype=object)[counted.stem[counted.rows]]
    out = {}
    for row in stems.itertuples():
        mine = np.flatnonzero(counts_for == row.stem_id)
        out[row.stem_id] = _trunk(row, counted, mine, records, terms)
    return out


def of_stem(records: Records, state: StandState, terms: SiteTerms, as_of: str, stem_id: str) -> Explanation:
    """Return how the standard diameter of one stem came about, as ``trunks`` does.

    Raises
    ------
    NothingToCompute
        If the stem did not stand on the day.
    """
    found = state.stem_state.loc[state.stem_state["stem_id"] == stem_id, "tree_id"]
    if not len(found):
        raise NothingToCompute(f"the size of the trunk {stem_id}")
    return trunks(records, state, terms, as_of, found.iloc[0])[stem_id]


def _trunk(row: Any, counted: Counted, mine: Whole, records: Records, terms: SiteTerms) -> Explanation:
    of = f"stem:{row.stem_id}"
    if np.isnan(row.dbh_cm):
        why = row.dbh_source
        return explained(of, "dbh_cm", "cm", np.nan, "stem_size", pd.DataFrame(), None, terms, why=why)
    return explained(
        of,
        "dbh_cm",
        "cm",
        float(row.dbh_cm),
        "stem_size",
        _readings(counted, mine, records, terms),
        _errors_of_readings(counted, mine, terms),
        terms,
        constants={"breast_height_m": terms.breast_height_m},
    )


def of_one_tree(records: Records, tree_id: str) -> Records:
    """Return the records of one tree, as far as sizes need them."""
    stems = records.stems[records.stems["tree_id"] == tree_id]
    return replace(
        records,
        trees=records.trees[records.trees["tree_id"] == tree_id],
        stems=stems,
        readings=records.readings[records.readings["stem_id"].isin(stems["stem_id"])],
    )


def _errors_of_readings(counted: Counted, mine: Whole, terms: SiteTerms) -> Errors:
    rows, weights, readings = counted.rows[mine], counted.weights[mine], counted.sizes.readings
    own = float(np.sum(weights**2 * readings["own_var_cm2"].to_numpy(dtype=float)[rows]))
    one = np.zeros(len(readings), dtype=np.int64)
    departure = float(departure_variance(readings, rows, one, weights, 1)[0])
    parts = counted.sizes.parts
    at = pd.Index(rows).get_indexer(parts["row"])
    shared = parts[at >= 0].assign(row=at[at >= 0])[["row", "cause", "sensitivity_cm"]]
    source = one_after_the_other(own_source(row, terms) for row in readings.iloc[rows].itertuples())
    alone = {"own": own, "departure": departure}
    return errors_of(weights, alone, shared, counted.sizes.causes, source, terms.model)


def own_source(reading: Any, terms: SiteTerms) -> str:
    """Return where the own error of a reading is from: this site, a publication, or "assumption"."""
    if is_learned(terms.model.own):
        return FROM_SITE
    if hand_of_each(pd.DataFrame([reading._asdict()]), terms.hands)[0] >= 0:
        return FROM_SITE
    hands = "helpers" if str(reading.crew_kind or "").startswith(HELPERS) else "trained"
    published = LUOMA in error_model.precision_of(reading.instrument or "unknown", hands).source
    return LUOMA if published else ASSUMPTION


def _readings(counted: Counted, mine: Whole, records: Records, terms: SiteTerms) -> pd.DataFrame:
    """The readings that count with every step from what was said to the standard diameter."""
    rows, sizes = counted.rows[mine], counted.sizes
    return said_and_steps(sizes, rows, counted.weights[mine], sizes.readings.iloc[rows], records, terms)


def said_and_steps(
    sizes: Standardised,
    rows: Whole,
    weights: Array,
    with_errors: pd.DataFrame,
    records: Records,
    terms: SiteTerms,
) -> pd.DataFrame:
    """Return readings as inputs of an explanation, with every step from what was said to their weight.

    Parameters
    ----------
    sizes : Standardised
        Readings, of which ``rows`` count with ``weights``.
    with_errors : DataFrame
        The same rows with the errors that they count with.
    records, terms
        Stems and trees of the site, its breast height and error model.
    """
    said = sizes.readings.iloc[rows].reset_index(drop=True)
    as_measured = said["as_measured_cm"].to_numpy(dtype=float)
    how, _ = conversion.brought_to_breast_height(said, as_measured, records.stems, records.trees, terms)
    learned = terms.model.mean_of(f"taper:{taper.set_name(b)}" for b in how.b)
    bias = learned_bias_cm(sizes.parts, sizes.causes, terms, len(sizes.readings))[rows]
    return said[list(_AS_SAID)].assign(
        **read_steps(said, terms),
        as_measured_cm=as_measured,
        profile_b=np.where(how.converted, how.b + learned, np.nan),
        factor=how.factor,
        bias_cm=bias,
        dbh_cm=said["dbh_cm"].to_numpy(dtype=float),
        own_var_cm2=with_errors["own_var_cm2"].to_numpy(dtype=float),
        own_source=[own_source(row, terms) for row in said.itertuples()],
        departure_cm=with_errors["departure_se_cm"].to_numpy(dtype=float),
        how=said["dbh_source"].to_numpy(dtype=object),
        weight=weights,
    )


def read_steps(readings: pd.DataFrame, terms: SiteTerms) -> dict[str, Array]:
    """Return what turns readings as they were said into diameters at the height of measurement.

    ``cm_per_unit``, ``tilt_factor`` (1 where no tilt is corrected), ``vine_off_cm``, ``bark_left`` (1 where
    none is missing).
    """
    hand = hand_of_each(readings, terms.hands)
    breadth = np.array([each.breadth_cm for each in terms.hands] or [np.nan])[hand]
    counted = readings["unit"].isin(list(INSTRUMENT_OF)).to_numpy() & (hand >= 0)
    per_unit = np.where(counted, breadth, readings["unit"].map(CM_PER_SAID).to_numpy(dtype=float))
    goes_round = girth.goes_round(readings["instrument"])
    tilt = np.where(goes_round, readings["tilt_deg"].to_numpy(dtype=float), np.nan)
    vine, bark = np.zeros(len(readings)), np.ones(len(readings))
    for row, facts in awkward_stems.facts_of_each(readings["awkward"]):
        bark[row] = facts.get("missing bark") or 1.0
        thickness = facts.get("vine")
        if thickness and goes_round[row]:
            left = float(readings["as_measured_cm"].iloc[row]) * bark[row]
            vine[row] = awkward_stems.vine_over_read_cm(left, thickness)
    return {
        "cm_per_unit": per_unit,
        "tilt_factor": np.where(np.isnan(tilt), 1.0, girth.tilt_factor(tilt)),
        "vine_off_cm": vine,
        "bark_left": bark,
    }


def of_tree(state: StandState, terms: SiteTerms, row: Any, own: str, what: str = "dbh_cm") -> Explanation:
    """Return how the standard diameter of a tree came about, or its basal area.

    Parameters
    ----------
    state : StandState
        The stems on the day.
    terms : SiteTerms
        The error model of the site.
    row : namedtuple
        The tree in the table of trees.
    own : str
        Where the own errors of its stems are from.
    what : str
        ``dbh_cm`` or ``basal_area_m2``.

    Returns
    -------
    Explanation
        Inputs are the stems that count: living ones of a living tree, all of another.
    """
    stems = state.stem_state
    mine = (stems["tree_id"] == row.tree_id) & stems["stem_id"].notna() & stems["dbh_cm"].notna()
    if row.status in COUNTED:
        mine &= stems["status"].isin(COUNTED)
    used = stems[mine].reset_index(drop=True)
    is_width = what == "dbh_cm"
    of = f"tree:{row.tree_id}" if is_width else f"tree:{row.tree_id}:{what}"
    equation, unit = ("tree_size", "cm") if is_width else ("sum_of_faces", "m2")
    if not len(used):
        return explained(of, what, unit, np.nan, equation, used, None, terms, why=row.dbh_source)
    d = used["dbh_cm"].to_numpy(dtype=float)
    value, se = (row.dbh_cm, row.dbh_se_cm) if is_width else (row.basal_area_m2, row.basal_area_se_m2)
    a = d / float(row.dbh_cm) if is_width else girth.basal_area_per_cm(d)
    errors = errors_of_stems(a, used, state, own, terms)
    return explained(of, what, unit, float(value), equation, stem_inputs(used), errors, terms, se=float(se))


def stem_inputs(stems: pd.DataFrame) -> pd.DataFrame:
    """Return stems as the inputs of an explanation, from rows of the stem state."""
    kept = ["stem_id", "tree_id", "measured_on", "dbh_cm", "own_var_cm2", "departure_var_cm2"]
    return stems[kept].assign(departure_var_cm2=stems["departure_var_cm2"].fillna(0.0)).reset_index(drop=True)


def errors_of_stems(
    a: Array,
    stems: pd.DataFrame,
    state: StandState,
    own: str,
    terms: SiteTerms,
    area_variance: float = 0.0,
    edge_variance: float = 0.0,
) -> Errors:
    """Return the parts of the error of a number F of many stems; ``a`` is dF/dd of each."""
    departure = np.nan_to_num(stems["departure_var_cm2"].to_numpy(dtype=float))
    alone = stems["own_var_cm2"].to_numpy(dtype=float) - departure
    at = pd.Index(stems["stem_id"]).get_indexer(state.stem_parts["stem_id"])
    shared = state.stem_parts[at >= 0].assign(row=at[at >= 0])[["row", "cause", "sensitivity_cm"]]
    sums = {"own": float(np.sum(a**2 * alone)), "departure": float(np.sum(a**2 * departure))}
    return errors_of(a, sums, shared, state.causes, own, terms.model, area_variance, edge_variance)
