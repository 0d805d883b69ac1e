"""Heights and crowns of trees: the latest that was measured, with bounds and where it is from.

Only what somebody measured; a tree without a measurement has no height and no crown here.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import columns
from layers.corrections import LIVE, corrected
from layers.days import days, local_days, order_said
from layers.translating import N_, filled
from layers.units import CM_PER_UNIT

HEIGHT, CROWN_DIAMETER = "height", "crown diameter"

ONE_SIDED_95 = 1.6448536269514722  # normal distribution
TRAINED_HEIGHT_SE_M, TRAINED_HEIGHT_SE_SHARE = 0.5, 0.029
MEASURED_SE_SHARE = 0.05
NOT_SAID_SE_SHARE = 0.10
BY_HELPERS_SE_SHARE = 0.10
BY_EYE_SE_SHARE = 0.15
HELPERS = ("pupils", "volunteers")
_BY_EYE = ("eye", "estimat", "guess", "judged")

ERROR_TRAINED = N_("error of trained measurers")
ERROR_ASSUMED = N_("error %(share)s assumed")
BY_METHOD = N_("measured (%(text)s), %(day)s; %(error)s")
BY_METHOD_CREW = N_("measured (%(text)s) by %(crew)s, %(day)s; %(error)s")
NO_METHOD = N_("as written down, method not said, %(day)s; %(error)s")
NO_METHOD_CREW = N_("as written down, method not said by %(crew)s, %(day)s; %(error)s")
SENTENCES = (ERROR_TRAINED, ERROR_ASSUMED, BY_METHOD, BY_METHOD_CREW, NO_METHOD, NO_METHOD_CREW)

_HEIGHTS = ("height_m", "height_low_m", "height_high_m", "height_source", "height_on")
_CROWNS = ("crown_diameter_m", "crown_low_m", "crown_high_m", "crown_source", "crown_on")
MEASURES = (*_HEIGHTS, *_CROWNS)

Reals = NDArray[np.float64]


def heights_and_crowns(observations: pd.DataFrame, as_of: str, time_zone: str = "UTC") -> pd.DataFrame:
    """Return the latest measured height and crown diameter of each tree on a day.

    Parameters
    ----------
    observations
        Frame ``observation_record``; corrections and crossed-out rows included. Rows about other things than
        height and crown diameter are ignored, and so are values that are not greater than zero.
    as_of
        The day, taken to its end. An observation without a date counts from the day it was received.
    time_zone
        Of the site, for the day of receipt.

    Returns
    -------
    pandas.DataFrame
        Indexed by ``tree_id``, trees with neither left out: ``height_m`` [m] with ``height_low_m`` and
        ``height_high_m`` [m], ``height_source`` (words) and ``height_on`` (date or None); the same for the
        crown diameter.

    Notes
    -----
    The bounds are one-sided 95 % bounds: value -+ 1.645 s, where s adds in squares the error of the method
    and a step of rounding as step/sqrt(12). The step is one unit when the value is a whole number of units,
    half a one or a tenth where it is a multiple of that, else a hundredth. The error of the method is
    published for heights by trained staff only: 0.5 m or 2.9 %, the greater. All others are assumptions:
    measured, and crowns, 5 %; by pupils or volunteers, or method not said, 10 %; by eye 15 %.

    References
    ----------
    Luoma et al. 2017, Forests 8(2):38, abstract: standard deviation of height of four trained measurers in
    boreal forest 0.5 m (2.9 %).
    """
    columns.require(
        observations, "observation_record", ("observation_id", "tree_id", "what", "value", "unit")
    )
    state = corrected(observations, "observation_id", "tree_id")["state"]
    live = observations[(state == LIVE).to_numpy(dtype=bool)]
    latest = _latest(live[live["what"].isin((HEIGHT, CROWN_DIAMETER))], as_of, time_zone)
    measured = _with_bounds(latest)
    heights = _of(measured, HEIGHT, _HEIGHTS)
    crowns = _of(measured, CROWN_DIAMETER, _CROWNS)
    return heights.join(crowns, how="outer").reindex(columns=list(MEASURES)).pipe(_none_for_missing)


def _latest(told: pd.DataFrame, as_of: str, time_zone: str) -> pd.DataFrame:
    """The last live row of each tree and quantity, values in metres."""
    seen = days(told["observed_on"])
    seen = np.where(np.isnat(seen), local_days(told["received_at"], time_zone), seen)
    metres = told["value"] * told["unit"].map(CM_PER_UNIT).fillna(100.0).astype(float) / 100.0
    told = told.assign(day=seen, metres=metres)
    held = (metres > 0) & np.isfinite(metres) & (np.isnat(seen) | (seen <= np.datetime64(as_of, "D")))
    told = told.assign(said=order_said(told, "observation_id"))[held]
    told = told.sort_values(["day", "said"], na_position="first", kind="stable")
    return told.drop_duplicates(["tree_id", "what"], keep="last")


def _with_bounds(latest: pd.DataFrame) -> pd.DataFrame:
    metres = latest["metres"].to_numpy(dtype=float)
    se, words = _method_error(latest, metres)
    spread = ONE_SIDED_95 * np.sqrt(se**2 + _step_m(latest) ** 2 / 12)
    low = np.maximum(metres - spread, 0.0)
    return latest.assign(low=low, high=metres + spread, source=_sources(latest, words))


def _step_m(latest: pd.DataFrame) -> Reals:
    """The step to which each value was read [m]."""
    value = latest["value"].to_numpy(dtype=float)
    step = np.full(len(value), 0.01)
    for candidate in (0.1, 0.5, 1.0):
        step[np.isclose(value / candidate, np.round(value / candidate), rtol=0, atol=1e-6)] = candidate
    return np.asarray(step * latest["unit"].map(CM_PER_UNIT).fillna(100.0).to_numpy(dtype=float) / 100.0)


def _method_error(latest: pd.DataFrame, metres: Reals) -> tuple[Reals, NDArray[np.object_]]:
    """The standard error of the method [m] and what it rests on."""
    method = latest["method"].fillna("").astype(str).str.casefold()
    said = (method.str.strip() != "").to_numpy()
    by_eye = method.str.contains("|".join(_BY_EYE), regex=True).to_numpy(dtype=bool)
    trained = (latest["crew_kind"] == "trained staff").to_numpy()
    is_height = (latest["what"] == HEIGHT).to_numpy()
    published = trained & is_height & said & ~by_eye
    helpers = latest["crew_kind"].isin(HELPERS).to_numpy(dtype=bool)
    share = np.select(
        [by_eye, helpers, said | trained],
        [BY_EYE_SE_SHARE, BY_HELPERS_SE_SHARE, MEASURED_SE_SHARE],
        NOT_SAID_SE_SHARE,
    )
    se = np.where(
        published, np.maximum(TRAINED_HEIGHT_SE_M, TRAINED_HEIGHT_SE_SHARE * metres), share * metres
    )
    words = np.where(
        published,
        ERROR_TRAINED,
        _assumed(share),
    )
    return se, words.astype(object)


def _assumed(share: Reals) -> NDArray[np.object_]:
    """The words for an assumed error, made once for each share."""
    shares, which = np.unique(share, return_inverse=True)
    return np.array([filled(ERROR_ASSUMED, share=f"{s:.0%}") for s in shares], dtype=object)[which]


def _sources(latest: pd.DataFrame, error: NDArray[np.object_]) -> NDArray[np.object_]:
    """The words of where each is from, made once for each that is alike."""
    told = latest[["method", "crew_kind", "observed_on"]].assign(error=error)
    alike = told.groupby(list(told), dropna=False, sort=False).ngroup().to_numpy(dtype=np.int64)
    _, first = np.unique(alike, return_index=True)
    cells = told.astype(object).where(told.notna(), None).iloc[first].itertuples(index=False)
    return np.asarray(np.array([_source(*row) for row in cells], dtype=object)[alike])


def _source(method: str | None, crew_kind: str | None, on: str | None, error: str) -> str:
    bare, with_crew = (BY_METHOD, BY_METHOD_CREW) if method else (NO_METHOD, NO_METHOD_CREW)
    template = with_crew if crew_kind else bare
    return filled(template, text=method, crew=crew_kind, day=on or "no date", error=error)


def _of(measured: pd.DataFrame, what: str, names: tuple[str, ...]) -> pd.DataFrame:
    rows = measured[measured["what"] == what].set_index("tree_id")
    chosen = rows[["metres", "low", "high", "source", "observed_on"]]
    return chosen.set_axis(list(names), axis=1)


def _none_for_missing(frame: pd.DataFrame) -> pd.DataFrame:
    """Set types: numbers with NaN, texts with None."""
    out = {}
    for name in MEASURES:
        if name.endswith("_m"):
            out[name] = frame[name].astype(float)
        else:
            texts = frame[name].astype(object)
            out[name] = texts.where(texts.notna(), None)
    return pd.DataFrame(out, index=frame.index.rename("tree_id"))
