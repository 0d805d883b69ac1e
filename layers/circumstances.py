"""Circumstances and gaps: what orders the looking, and what is still to be found out."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from layers.days import NO_DAY, days
from layers.inputs import Records, SiteTerms
from layers.screening_rules import BUSY
from layers.seen import Raised
from layers.surroundings import Surroundings
from layers.translating import N_, filled
from layers.underneath import USE_ORDER, Pairs

NO_REACH = N_("No height is recorded, so we do not know how far it would reach; it is treated as far.")
NO_HEIGHT_YET = N_("No height is recorded.")
NEVER_LOOKED = N_("We have recorded no look by a qualified person. Measuring does not count as looking.")
REACHES = N_(
    "Lying down it could reach %(reach)s: %(times)s x its height, at most %(tall)s (%(source)s). %(target)s "
    "is %(apart)s away, %(placed)s. Slopes and leans are not covered."
)
OVERHANGS = N_(
    "Its crown is at most %(wide)s wide (%(source)s). %(target)s is %(apart)s from the trunk, %(placed)s."
)
TARGET = N_("The %(kind)s “%(name)s” (people are there: %(use)s)")
PLACED = N_("the tree's own position being known to %(known)s")
PLACED_ASSUMED = N_("the tree's own position being known to %(known)s (assumed)")
STANDS_IN = N_("It stands in the %(kind)s “%(name)s” (people are there: %(use)s).")
OVER_TARGET = N_("It could reach what is underneath: The %(kind)s “%(name)s” (people are there: %(use)s).")
LAST_LOOK = N_(
    "A qualified person last looked on %(day)s (%(level)s, %(who)s). The next look was due by %(due)s "
    "(%(why)s)."
)
AS_WRITTEN_THEN = N_("as written down then")
EVERY = N_("every %(months)s months: set for this ground")
EVERY_OURS = N_("every %(months)s months: our reminder, nobody qualified has set this for your ground")
LEVEL_NOT_SAID, WHO_NOT_SAID, USE_UNKNOWN = N_("level not said"), N_("not said by whom"), N_("not said")
TAKEN_FOR = N_("Taken for %(name)s, in doubt.")
NO_NAME = N_("No name is recorded.")
WRITTEN_TAKEN = N_("Written as “%(text)s”, taken for %(name)s, in doubt.")
WRITTEN_UNKNOWN = N_("Written as “%(text)s”, not known to us.")
SENTENCES = (
    *(NO_REACH, NO_HEIGHT_YET, NEVER_LOOKED, REACHES, OVERHANGS, TARGET, PLACED, PLACED_ASSUMED, STANDS_IN),
    *(OVER_TARGET, LAST_LOOK, AS_WRITTEN_THEN, EVERY, EVERY_OURS, LEVEL_NOT_SAID, WHO_NOT_SAID),
    *(USE_UNKNOWN, TAKEN_FOR, NO_NAME, WRITTEN_TAKEN, WRITTEN_UNKNOWN),
)


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
        evidence = filled(
            REACHES,
            reach=f"{around.reach_m[tree]:.1f} m",
            times=f"{around.reach_share[tree]:g}",
            tall=f"{height[tree]:.1f} m",
            source=source[tree],
            target=told[target],
            apart=f"{apart:.1f} m",
            placed=_placed(around, tree),
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
            yield Raised(tree, "reach not known", None, NO_REACH, NO_DAY)


def _crown_over(around: Surroundings) -> Iterator[Raised]:
    source = around.measures["crown_source"].to_numpy(dtype=object)
    measured = days(around.measures["crown_on"])
    told = _targets_told(around)
    for tree, target, apart in _rows(around.under):
        width = float(2 * around.half_crown_m[tree])
        evidence = filled(
            OVERHANGS,
            wide=f"{width:.1f} m",
            source=source[tree],
            target=told[target],
            apart=f"{apart:.1f} m",
            placed=_placed(around, tree),
        )
        yield Raised(tree, "crown over", _target_id(around, target), evidence, measured[tree], size_m=width)


def _placed(around: Surroundings, tree: int) -> str:
    """How well the tree's own position is known."""
    was_said = around.trees["position_accuracy_m"].notna().iat[tree]
    return filled(PLACED if was_said else PLACED_ASSUMED, known=f"{around.allowance_m[tree]:g} m")


def _rows(pairs: Pairs) -> Iterator[tuple[int, int, float]]:
    yield from zip(pairs.tree.tolist(), pairs.target.tolist(), pairs.apart_m.tolist(), strict=True)


def _target_id(around: Surroundings, target: int) -> str:
    return str(around.targets["target_id"].iat[target])


def _targets_told(around: Surroundings) -> list[str]:
    """Each target in words: its kind, its name and how much people are there."""
    return [filled(TARGET, kind=kind, name=name, use=use) for kind, name, use in _named(around.targets)]


def _named(drawn: pd.DataFrame) -> list[tuple[str, str, str]]:
    """Kind, name and use of what is drawn, in words."""
    rows = drawn[["kind", "name", "use"]].itertuples(index=False, name=None)
    return [
        (kind or "other", name or "", use if use in USE_ORDER else USE_UNKNOWN) for kind, name, use in rows
    ]


def _use(around: Surroundings) -> Iterator[Raised]:
    areas, targets = _named(around.areas), _named(around.targets)
    for tree in np.flatnonzero(around.use < len(BUSY)).tolist():
        area, busy = around.use_area[tree], USE_ORDER[around.use[tree]]
        kind, name, use = areas[area] if area >= 0 else targets[around.use_target[tree]]
        template, there = (STANDS_IN, busy) if area >= 0 else (OVER_TARGET, use)
        yield Raised(tree, "use", None, filled(template, kind=kind, name=name, use=there), NO_DAY)


def gaps(around: Surroundings, records: Records, terms: SiteTerms, as_of: str) -> Iterator[Raised]:
    """Yield what is still to be found out: looks that never were or are late, heights, names in doubt."""
    yield from _look(around, terms, as_of)
    for tree in np.flatnonzero(~np.isfinite(around.measures["height_m"].to_numpy(dtype=float))).tolist():
        yield Raised(tree, "height", None, NO_HEIGHT_YET, NO_DAY)
    yield from _name(around, records)


def _look(around: Surroundings, terms: SiteTerms, as_of: str) -> Iterator[Raised]:
    looked = around.looks
    late = np.isnat(looked.due) | (looked.due < np.datetime64(as_of, "D"))
    who, level = looked.text("organisation"), looked.text("level")
    for tree in np.flatnonzero(late).tolist():
        if looked.row[tree] < 0:
            yield Raised(tree, "look", None, NEVER_LOOKED, NO_DAY)
            continue
        every = filled(EVERY if looked.is_own_interval[tree] else EVERY_OURS, months=looked.months[tree])
        evidence = filled(
            LAST_LOOK,
            day=looked.on[tree],
            level=level[tree] or LEVEL_NOT_SAID,
            who=who[tree] or WHO_NOT_SAID,
            due=looked.due[tree],
            why=AS_WRITTEN_THEN if looked.is_written[tree] else every,
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
        return filled(TAKEN_FOR, name=taken) if taken else NO_NAME
    return filled(WRITTEN_TAKEN if taken else WRITTEN_UNKNOWN, text=written, name=taken)
