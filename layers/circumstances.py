"""Circumstances and gaps: what orders the looking, and what is still to be found out."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from layers.days import NO_DAY, days
from layers.inputs import Records, SiteTerms
from layers.screening_rules import BUSY, OUR_REMINDER
from layers.seen import Raised
from layers.surroundings import Surroundings
from layers.underneath import USE_ORDER, Pairs

_NO_HEIGHT = "No height is recorded, so we do not know how far it would reach; it is treated as far."
_NEVER = "We have recorded no look by a qualified person. Measuring does not count as looking."


def circumstances(around: Surroundings) -> Iterator[Raised]:
    """Yield what each tree could reach, overhangs, and whether people are there often."""
    yield from _reach(around)
    yield from _crown_over(around)
    yield from _use(around)


def _reach(around: Surroundings) -> Iterator[Raised]:
    height = around.measures["height_high_m"].to_numpy(dtype=float)
    source = around.measures["height_source"].to_numpy(dtype=object)
    measured = days(around.measures["height_on"])
    told = _targets_told(around)
    for tree, target, apart in _rows(around.near):
        evidence = (
            f"Lying down it could reach {around.reach_m[tree]:.1f} m: {around.reach_share[tree]:g} x its "
            f"height, at most {height[tree]:.1f} m ({source[tree]}). {told[target]} is {apart:.1f} m away, "
            f"{_placed(around, tree)}. Slopes and leans are not covered."
        )
        yield Raised(
            tree,
            "reach",
            _target_id(around, target),
            evidence,
            measured[tree],
            size_m=float(around.reach_m[tree]),
        )
    if len(around.targets):
        unknown = np.flatnonzero(~np.isfinite(around.reach_m) & np.isfinite(around.at).all(axis=1))
        for tree in unknown.tolist():
            yield Raised(tree, "reach not known", None, _NO_HEIGHT, NO_DAY)


def _crown_over(around: Surroundings) -> Iterator[Raised]:
    source = around.measures["crown_source"].to_numpy(dtype=object)
    measured = days(around.measures["crown_on"])
    told = _targets_told(around)
    for tree, target, apart in _rows(around.under):
        evidence = (
            f"Its crown is at most {2 * around.half_crown_m[tree]:.1f} m wide ({source[tree]}). "
            f"{told[target]} is {apart:.1f} m from the trunk, {_placed(around, tree)}."
        )
        width = float(2 * around.half_crown_m[tree])
        yield Raised(tree, "crown over", _target_id(around, target), evidence, measured[tree], size_m=width)


def _placed(around: Surroundings, tree: int) -> str:
    """How well the tree's own position is known."""
    assumed = "" if around.trees["position_accuracy_m"].notna().iat[tree] else " (assumed)"
    return f"the tree's own position being known to {around.allowance_m[tree]:g} m{assumed}"


def _rows(pairs: Pairs) -> Iterator[tuple[int, int, float]]:
    yield from zip(pairs.tree.tolist(), pairs.target.tolist(), pairs.apart_m.tolist(), strict=True)


def _target_id(around: Surroundings, target: int) -> str:
    return str(around.targets["target_id"].iat[target])


def _targets_told(around: Surroundings) -> list[str]:
    """Each target in words: its kind, its name and how much people are there."""
    rows = around.targets[["kind", "name", "use"]].itertuples(index=False, name=None)
    return [
        f"The {kind or 'other'} “{name or ''}” (people are there: {use if use in USE_ORDER else 'not said'})"
        for kind, name, use in rows
    ]


def _use(around: Surroundings) -> Iterator[Raised]:
    names = [
        f"{kind} “{name}”" for kind, name in around.areas[["kind", "name"]].itertuples(index=False, name=None)
    ]
    told = _targets_told(around)
    for tree in np.flatnonzero(around.use < len(BUSY)).tolist():
        area = around.use_area[tree]
        busy = f"(people are there: {USE_ORDER[around.use[tree]]})"
        where = f"It stands in the {names[area]} {busy}" if area >= 0 else "It could reach what is underneath"
        evidence = f"{where}." if area >= 0 else f"{where}: {told[around.use_target[tree]]}."
        yield Raised(tree, "use", None, evidence, NO_DAY)


def gaps(around: Surroundings, records: Records, terms: SiteTerms, as_of: str) -> Iterator[Raised]:
    """Yield what is still to be found out: looks that never were or are late, heights, names in doubt."""
    yield from _look(around, terms, as_of)
    for tree in np.flatnonzero(~np.isfinite(around.measures["height_m"].to_numpy(dtype=float))).tolist():
        yield Raised(tree, "height", None, "No height is recorded.", NO_DAY)
    yield from _name(around, records)


def _look(around: Surroundings, terms: SiteTerms, as_of: str) -> Iterator[Raised]:
    looked = around.looks
    late = np.isnat(looked.due) | (looked.due < np.datetime64(as_of, "D"))
    who, level = looked.text("organisation"), looked.text("level")
    for tree in np.flatnonzero(late).tolist():
        if looked.row[tree] < 0:
            yield Raised(tree, "look", None, _NEVER, NO_DAY)
            continue
        whose = "set for this ground" if looked.is_own_interval[tree] else OUR_REMINDER
        why = f"every {looked.months[tree]} months: {whose}"
        evidence = (
            f"A qualified person last looked on {looked.on[tree]} ({level[tree] or 'level not said'}, "
            f"{who[tree] or 'not said by whom'}). The next look was due by {looked.due[tree]} "
            f"({'as written down then' if looked.is_written[tree] else why})."
        )
        yield Raised(tree, "look", None, evidence, looked.on[tree])


def _name(around: Surroundings, records: Records) -> Iterator[Raised]:
    names = records.trees.set_index("tree_id")["name_sure"].reindex(around.trees["tree_id"])
    in_doubt = (names != "sure").to_numpy(dtype=bool)
    written = around.trees["name_as_written"].to_numpy(dtype=object)
    taken = around.trees["scientific_name"].to_numpy(dtype=object)
    for tree in np.flatnonzero(in_doubt).tolist():
        yield Raised(tree, "name", None, _name_told(written[tree], taken[tree]), NO_DAY)


def _name_told(written: str | None, taken: str | None) -> str:
    if pd.isna(written) or not written:
        return f"Taken for {taken}, in doubt." if taken else "No name is recorded."
    return f"Written as “{written}”" + (f", taken for {taken}, in doubt." if taken else ", not known to us.")
