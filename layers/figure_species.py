"""The species of many areas at once, with their shares and how mixed they are."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from layers import diversity
from layers.error_model import Array, Whole
from layers.figure_errors import basal_area_variance
from layers.figure_sums import CountedStems, Stand


@dataclass(frozen=True)
class SpeciesOf:
    """The list of species of every group and the diversity of the named ones."""

    lists: list[list[dict[str, Any]]]
    shannon: Array
    simpson: Array


def species_of(
    stand: Stand, names: pd.Series, group: Whole, tree: Whole, counted: CountedStems, groups: int
) -> SpeciesOf:
    """Return the species of the living trees of every group, the commonest first, unknown names last.

    Parameters
    ----------
    stand : Stand
        Trees and stems.
    names : Series
        Scientific name of every tree of the stand, None where unknown.
    group, tree : array
        Pairs of group and tree.
    counted : CountedStems
        The stems whose basal area is shared out.
    groups : int
        Number of groups.
    """
    kind, kinds = pd.factorize(names.to_numpy(dtype=object), use_na_sentinel=False)
    known = np.array([not pd.isna(name) for name in kinds], dtype=bool)
    living = stand.living[tree]
    width = max(len(kinds), 1)
    code, at = np.unique(group[living] * width + kind[tree[living]], return_inverse=True)
    trees = np.bincount(at, minlength=len(code))
    of_stems = np.searchsorted(code, counted.group * width + kind[tree[counted.pair]])
    basal_area = np.bincount(of_stems, weights=counted.basal_area_m2, minlength=len(code))
    measured = np.bincount(of_stems, minlength=len(code))
    of_group, of_kind = code // width, code % width
    error = np.sqrt(basal_area_variance(stand, counted, of_stems, len(code)))
    has_size = measured > 0
    sizes = (np.where(has_size, basal_area, np.nan), np.where(has_size, error, np.nan))
    lists = _lists(of_group, kinds[of_kind], trees, sizes, groups)
    named = known[of_kind]
    return SpeciesOf(lists, *diversity.by_group(of_group[named], trees[named], groups))


def _lists(
    group: Whole, names: np.ndarray, trees: Whole, sizes: tuple[Array, Array], groups: int
) -> list[list[dict[str, Any]]]:
    basal_area, error = sizes
    total = np.bincount(group, weights=trees, minlength=groups)
    total_area = np.bincount(group, weights=np.nan_to_num(basal_area), minlength=groups)
    share = trees / total[group]
    share_area = basal_area / np.where(total_area > 0, total_area, np.nan)[group]
    text = [None if pd.isna(name) else str(name) for name in names]
    order = sorted(range(len(text)), key=lambda n: (group[n], text[n] is None, -trees[n], text[n] or ""))
    lists: list[list[dict[str, Any]]] = [[] for _ in range(groups)]
    for n in order:
        lists[group[n]].append(
            {
                "scientific_name": text[n],
                "trees": int(trees[n]),
                "basal_area_m2": _or_none(basal_area[n]),
                "basal_area_se_m2": _or_none(error[n]),
                "share": float(share[n]),
                "share_basal_area": _or_none(share_area[n]),
            }
        )
    return lists


def _or_none(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
