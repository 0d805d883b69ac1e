"""When a qualified person last looked at a tree, and when the next look is due. Measuring never counts."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers import columns
from layers.days import NO_DAY, Days, days
from layers.inputs import SiteTerms
from layers.screening_rules import interval_months
from layers.underneath import USE_ORDER, Rows

SEEN = ("nothing recorded", "recorded")


@dataclass(frozen=True)
class Looks:
    """Of each tree the last qualified look and when the next one is due.

    ``row`` is the look's row in ``inspections``, -1 where there was none; ``on`` and ``due`` are NaT there.
    ``is_written``: the inspector wrote down when to look next.
    """

    row: Rows
    on: Days
    due: Days
    months: Rows
    is_own_interval: NDArray[np.bool_]
    is_written: NDArray[np.bool_]
    inspections: pd.DataFrame

    def text(self, column: str) -> list[str | None]:
        """Return a column of the last look of each tree, None where there was none."""
        cells = self.inspections[column].to_numpy(dtype=object)
        return [cells[row] if row >= 0 else None for row in self.row]


def looks(
    inspections: pd.DataFrame,
    trees: pd.DataFrame,
    inside: pd.DataFrame,
    use: Rows,
    terms: SiteTerms,
    as_of: str,
) -> Looks:
    """Return the last qualified look at each tree on a day.

    Parameters
    ----------
    inspections
        Frame ``inspection_record``. Only those that the manager entered as qualified count, and only for
        trees that were reached and seen; a zone without listed trees counts for the trees inside it.
    trees
        Column ``tree_id``.
    inside
        Columns of MEMBERSHIP, for zones.
    use
        Use rank of each tree.
    terms
        The site's own intervals, if a qualified person has set them.
    as_of
        The day, taken to its end.

    Notes
    -----
    Due is what the inspector wrote as next look; else the last look plus the interval of the use.
    """
    columns.require(inspections, "inspection_record", ("tree_id", "area_id", "inspected_on", "qualified"))
    counted = inspections[_counts(inspections, as_of)].sort_values("inspected_on", kind="stable")
    counted = counted.reset_index(drop=True)
    index = pd.Index(trees["tree_id"])
    row = np.full(len(trees), -1, dtype=np.int64)
    tree, look = _tree_of_each(counted, index, inside)
    np.maximum.at(row, tree, look)
    told = [interval_months(word, terms.inspection_months) for word in USE_ORDER]
    months = np.array([each[0] for each in told], dtype=np.int64)[use]
    own = np.array([each[1] for each in told], dtype=bool)[use]
    on = _at(days(counted["inspected_on"]), row)
    said = _at(days(counted["next_look_by"]), row)
    due = np.where(np.isnat(said), months_later(on, months), said)
    return Looks(row, on, due, months, own, ~np.isnat(said), counted)


def _counts(inspections: pd.DataFrame, as_of: str) -> NDArray[np.bool_]:
    qualified = inspections["qualified"].to_numpy(dtype=bool) & ~inspections["void"].to_numpy(dtype=bool)
    zone_only = inspections["tree_id"].isna() & inspections["area_id"].notna()
    seen = inspections["answer"].isin(SEEN) | zone_only
    return np.asarray(
        qualified & seen.to_numpy() & (inspections["inspected_on"] <= as_of).to_numpy(dtype=bool)
    )


def _tree_of_each(counted: pd.DataFrame, index: pd.Index, inside: pd.DataFrame) -> tuple[Rows, Rows]:
    """Pairs of tree and look, both as row numbers; a walked zone gives one pair for each tree inside it."""
    listed = index.get_indexer(counted["tree_id"])
    zones = counted[counted["tree_id"].isna()]
    walked = pd.DataFrame({"area_id": zones["area_id"], "look": zones.index}).merge(inside, on="area_id")
    tree = np.concatenate([listed, index.get_indexer(walked["tree_id"])])
    look = np.concatenate([np.arange(len(counted)), walked["look"].to_numpy(dtype=np.int64)])
    return tree[tree >= 0], look[tree >= 0]


def _at(values: Days, row: Rows) -> Days:
    return np.append(values, NO_DAY)[row]


def months_later(on: Days, months: Rows) -> Days:
    """Return the same day some months later, or the last day of that month where it has fewer days."""
    month = on.astype("datetime64[M]")
    later = month + months.astype("timedelta64[M]")
    day = (on - month.astype("datetime64[D]")).astype("timedelta64[D]")
    last = (later + np.timedelta64(1, "M")).astype("datetime64[D]") - np.timedelta64(1, "D")
    return np.asarray(np.minimum(later.astype("datetime64[D]") + day, last))
