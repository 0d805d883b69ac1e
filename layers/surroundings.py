"""Everything about the trees of a site that the questions of the screening look at, worked out once."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import ground, underneath
from layers.canopy import heights_and_crowns
from layers.inputs import Records, SiteTerms
from layers.looks import Looks, looks
from layers.screening_rules import REACH_SHARE, REACH_SHARE_DEAD
from layers.seen import Raised, Seen, live_sights, signs
from layers.standing import REMOVED
from layers.underneath import Pairs, Reals, Rows


@dataclass(frozen=True)
class Surroundings:
    """The standing trees and what is round them; arrays have one row a tree.

    ``reach_m`` and ``half_crown_m`` are upper bounds [m], NaN where not known; ``near`` and ``under`` the
    targets within them, positions' errors added; ``use`` the rank of the busiest use below or round the tree,
    ``use_area`` or ``use_target`` the row of the area or target that says so (-1: none).
    """

    trees: pd.DataFrame
    sights: list[Seen]
    signs: list[Raised]
    measures: pd.DataFrame
    at: Reals
    allowance_m: Reals
    reach_m: Reals
    half_crown_m: Reals
    reach_share: Reals
    targets: pd.DataFrame
    near: Pairs
    under: Pairs
    areas: pd.DataFrame
    use: Rows
    use_area: Rows
    use_target: Rows
    looks: Looks

    @property
    def reaches(self) -> NDArray[np.bool_]:
        """Whether a tree could reach or overhangs anything, or its reach is not known."""
        found = ~np.isfinite(self.reach_m)
        found[self.near.tree] = True
        found[self.under.tree] = True
        return found


def surroundings(
    records: Records, trees: pd.DataFrame, terms: SiteTerms, as_of: str, tall: pd.DataFrame | None = None
) -> Surroundings:
    """Return what is round the trees that stand on a day.

    Parameters
    ----------
    records
        The records of the site.
    trees
        Columns of TREES; removed ones are left out.
    terms, as_of
        The site's terms and the day, taken to its end.
    tall
        What :func:`layers.canopy.heights_and_crowns` gave for that day, where it is known already.
    """
    if tall is None:
        tall = heights_and_crowns(records.observations, as_of, terms.time_zone)
    standing = trees[(trees["status"] != REMOVED).to_numpy(dtype=bool)].reset_index(drop=True)
    sights = live_sights(records, standing, terms, as_of)
    raised = signs(sights, records, standing, terms, as_of)
    measures = tall.reindex(standing["tree_id"])
    share = np.full(len(standing), REACH_SHARE)
    share[[sign.tree for sign in raised if sign.rule == "dead"]] = REACH_SHARE_DEAD
    reach = measures["height_high_m"].to_numpy(dtype=float) * share
    half_crown = measures["crown_high_m"].to_numpy(dtype=float) / 2
    at, shapes = underneath.plane(standing, records.targets, terms)
    allowance = underneath.allowance_m(standing)
    near = underneath.within(at, shapes, reach + allowance)
    under = underneath.within(at, shapes, half_crown + allowance)
    areas = underneath.held_areas(records.areas, as_of)
    inside = ground.membership(standing, areas, terms)
    round_it, use_area = underneath.busiest_area(standing, areas, inside)
    below, use_target = _busiest_target(len(standing), records.targets, near, under)
    use = underneath.busier(round_it, below)
    looked = looks(records.inspections, standing, inside, use, terms, as_of)
    return Surroundings(
        standing,
        sights,
        raised,
        measures,
        at,
        allowance,
        reach,
        half_crown,
        share,
        records.targets,
        near,
        under,
        areas,
        use,
        np.where(use == round_it, use_area, -1),
        use_target,
        looked,
    )


def _busiest_target(trees: int, targets: pd.DataFrame, *pairs: Pairs) -> tuple[Rows, Rows]:
    """The use rank and row of the busiest target that a tree could reach, of those whose use was said."""
    said = underneath.use_rank(targets["use"])
    tree = np.concatenate([each.tree for each in pairs])
    target = np.concatenate([each.target for each in pairs])
    known = said[target] != underneath.NOT_SAID
    tree, target = tree[known], target[known]
    quiet_first = np.lexsort((-target, -said[target]))  # of several, the one written last stays
    row = np.full(trees, -1, dtype=np.int64)
    row[tree[quiet_first]] = target[quiet_first]
    return np.append(said, underneath.NOT_SAID)[row], row
