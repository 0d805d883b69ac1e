"""The errors of readings: what each has of its own, and what it shares with others."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import error_model, hands, taper
from layers.error_model import ASSUMPTION, Array, Whole
from layers.hands import Hand
from layers.inputs import SiteTerms
from layers.site_model import FROM_SITE

Flags = NDArray[np.bool_]

HELPERS = ("pupil", "volunteer")


@dataclass(frozen=True)
class Precisions:
    """Standard deviations of diameter by reading, at the height of measurement [cm]."""

    own_cm: Array
    instrument_cm: Array
    crew_cm: Array
    calibration_cm: Array
    hand: Whole  # which of the site's hands, -1 without a calibration
    instrument: Whole  # code of the instrument
    instruments: list[str]


def precisions(
    readings: pd.DataFrame, diameter_cm: Array, hand: Whole, known_hands: Sequence[Hand]
) -> Precisions:
    """Return how well each reading is known by its instrument and the hands it was in.

    ``hand`` says which of the known hands each was counted with, -1 for none.
    """
    instrument, names = _codes(readings["instrument"], "unknown")
    crew_kind, kinds = _codes(readings["crew_kind"], "")
    by_helpers = np.array([kind.startswith(HELPERS) for kind in kinds], dtype=bool)[crew_kind]
    own, by_instrument, by_crew, by_hand = (np.zeros(len(readings)) for _ in range(4))
    group = np.where(hand < 0, instrument * 2 + by_helpers, -1)
    for code in np.unique(group[group >= 0]):
        rows = np.flatnonzero(group == code)
        row = error_model.precision_of(names[code // 2], "helpers" if code % 2 else "trained")
        own[rows] = row.own.at(diameter_cm[rows])
        by_instrument[rows] = row.instrument.at(diameter_cm[rows])
        by_crew[rows] = row.crew_cm
    for code in np.unique(hand[hand >= 0]):
        rows = np.flatnonzero(hand == code)
        laying, _, breadth = hands.girth_parts_cm(*_counted(np.pi * diameter_cm[rows], known_hands[code]))
        own[rows], by_hand[rows] = laying / np.pi, breadth / np.pi
    return Precisions(own, by_instrument, by_crew, by_hand, hand, instrument, names)


def _counted(girth_cm: Array, hand: Hand) -> tuple[Array, float, float, float]:
    return girth_cm / hand.breadth_cm, hand.breadth_cm, hand.breadth_se_cm, hand.placement_sd_cm


@dataclass(frozen=True)
class Conversion:
    """How readings were brought to breast height: d = factor x diameter as measured."""

    factor: Array
    converted: Flags
    height_not_said: Flags
    b: Array  # coefficient of the profile, 0 where not converted
    per_b_cm: Array  # change of the standard diameter with that coefficient
    departure_share: Array  # of the stem from the profile, as a share of the diameter


def shared_parts(
    readings: pd.DataFrame, dbh_cm: Array, known: Precisions, how: Conversion, terms: SiteTerms
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the shared parts of readings (row, reading_id, cause, sensitivity_cm) and their causes."""
    blocks = list(_blocks(readings, dbh_cm, known, how, terms))
    rows = np.concatenate([block.rows for block in blocks]) if blocks else np.zeros(0, dtype=np.int64)
    parts = pd.DataFrame(
        {
            "row": rows,
            # as they are: looking for a type in millions of texts takes longer than all the rest
            "reading_id": pd.Series(readings["reading_id"].to_numpy(dtype=object)[rows], dtype=object),
            "cause": pd.Series(_joined([block.keys[block.key] for block in blocks]), dtype=object),
            "sensitivity_cm": np.concatenate([block.size for block in blocks]) if blocks else np.zeros(0),
        }
    )
    model = terms.model
    causes = [
        (
            key,
            block.kind,
            key.split(":", 1)[1],
            model.variance_of(key, block.kind, variance),
            FROM_SITE if block.kind == "calibration" or model.is_measured(key, block.kind) else ASSUMPTION,
        )
        for block in blocks
        for key, variance in zip(block.keys, block.variances, strict=True)
    ]
    frame = pd.DataFrame(causes, columns=["cause", "kind", "key", "variance", "source"])
    return parts, frame.astype(
        {"cause": object, "kind": object, "key": object, "variance": float, "source": object}
    )


def learned_bias_cm(parts: pd.DataFrame, causes: pd.DataFrame, terms: SiteTerms, readings: int) -> Array:
    """Return what the site's model knows each standard diameter to be too big by [cm].

    That of the taper is in the coefficient already.
    """
    keys = causes["cause"].to_numpy(dtype=object)
    mean = terms.model.mean_of(keys)
    mean[(causes["kind"] == "taper").to_numpy()] = 0.0
    if not mean.any():
        return np.zeros(readings)
    at = pd.Index(keys).get_indexer(parts["cause"])
    size = parts["sensitivity_cm"].to_numpy(dtype=float) * mean[at]
    rows = parts["row"].to_numpy(dtype=np.int64)
    return np.asarray(np.bincount(rows, weights=size, minlength=readings), dtype=float)


@dataclass(frozen=True)
class _Block:
    """The parts of one kind: rows, the key of each (a code into ``keys``), its size."""

    kind: str
    rows: Whole
    key: Whole
    keys: NDArray[np.object_]
    variances: list[float]
    size: Array


def _blocks(
    readings: pd.DataFrame, dbh_cm: Array, known: Precisions, how: Conversion, terms: SiteTerms
) -> Iterator[_Block]:
    names = known.instruments
    size = known.instrument_cm * how.factor
    keys = [f"instrument:{terms.site_id}:{name}" for name in names]
    yield from _block("instrument", _rows(size), known.instrument, keys, size)

    crew, crew_keys = _crew_keys(readings, known)
    size = np.where(np.isfinite(dbh_cm), known.crew_cm * how.factor, 0.0)
    yield from _block("crew", _rows(size), crew, crew_keys, size)

    size = known.calibration_cm * how.factor
    keys = [f"calibration:{hand.calibration_id}" for hand in terms.hands]
    yield from _block("calibration", _rows(size), known.hand, keys, size)

    of_set, coefficients = pd.factorize(how.b)
    keys = [f"taper:{taper.set_name(b)}" for b in coefficients]
    variances = [float(taper.COEFFICIENT_SHARE * b) ** 2 for b in coefficients]
    rows = np.flatnonzero(how.converted & np.isfinite(dbh_cm))
    yield from _block("taper", rows, of_set, keys, how.per_b_cm, variances)

    rows = np.flatnonzero(how.height_not_said & np.isfinite(dbh_cm))
    size = error_model.HEIGHT_NOT_SAID_SHARE * dbh_cm
    yield from _block(
        "height", rows, np.zeros(len(readings), dtype=np.int64), [f"height:{terms.site_id}"], size
    )


def _block(
    kind: str, rows: Whole, code: Whole, keys: list[str], size: Array, variances: list[float] | None = None
) -> Iterator[_Block]:
    """The block of ``rows``, with the keys that they use and no others; nothing when there are none."""
    if not len(rows):
        return
    used, key = np.unique(code[rows], return_inverse=True)
    names = np.empty(len(used), dtype=object)
    names[:] = [keys[n] for n in used]
    yield _Block(kind, rows, key, names, [variances[n] if variances else 1.0 for n in used], size[rows])


def _crew_keys(readings: pd.DataFrame, known: Precisions) -> tuple[Whole, list[str]]:
    rounds, round_names = _codes(readings["round_id"], "no round")
    crews, crew_names = _codes(readings["crew"], "unknown crew")
    code = (rounds * len(crew_names) + crews) * len(known.instruments) + known.instrument
    used, code = np.unique(code, return_inverse=True)
    shape = (len(round_names), len(crew_names), len(known.instruments))
    keys = [
        f"crew:{round_names[r]}:{crew_names[c]}:{known.instruments[i]}"
        for r, c, i in zip(*np.unravel_index(used, shape), strict=True)
    ]
    return code, keys


def _codes(values: pd.Series, missing: str) -> tuple[Whole, list[str]]:
    """A whole number for each text, and the texts; a missing one is the same as its word."""
    said = values.astype(object).where(values.notna(), missing)
    codes, texts = pd.factorize(said.to_numpy(dtype=object))
    return np.asarray(codes, dtype=np.int64), [str(text) for text in texts]


def _rows(size: Array) -> Whole:
    return np.flatnonzero(np.isfinite(size) & (size > 0))


def _joined(arrays: list[NDArray[np.object_]]) -> NDArray[np.object_]:
    return np.concatenate(arrays) if arrays else np.zeros(0, dtype=object)
