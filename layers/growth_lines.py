"""Readings ordered by stem and day, and a line through those of each stem, a block of stems at a time."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.combining import at_mean_size, own_variance
from layers.days import Days
from layers.error_model import Array, Whole
from layers.girth import Standardised
from layers.inputs import Records, SiteTerms
from layers.line_fit import Shared, covariance, fit_lines

DAYS_PER_YEAR = 365.25
LEAST_DAYS_IN_GROUP = 292  # from first to last reading, for the part of a stem in the mean of a group
STEMS_AT_ONCE = 25_000
_CANCELLED = 1e-12  # a shared effect [cm/yr] below this is rounding


@dataclass(frozen=True)
class SortedReadings:
    """Readings ordered by stem and day; those of stem i are [start[i], start[i] + count[i])."""

    sizes: Standardised
    records: Records
    rows: Whole  # positions in the readings
    day: Whole
    size: Array
    stem_id: NDArray[np.object_]
    stem_at: Whole  # position in the stems of the records
    tree_at: Whole
    start: Whole
    count: Whole

    @classmethod
    def of(cls, sizes: Standardised, when: Days, records: Records) -> "SortedReadings":
        """Return the dated sizes of the stems that were read far enough apart for anything to be said."""
        codes, ids = pd.factorize(sizes.readings["stem_id"])
        stem_at = pd.Index(records.stems["stem_id"]).get_indexer(ids)
        tree_at = pd.Index(records.trees["tree_id"]).get_indexer(
            records.stems["tree_id"].to_numpy(dtype=object)[stem_at] if len(stem_at) else []
        )
        dbh = sizes.readings["dbh_cm"].to_numpy(dtype=float)
        day = when.astype("datetime64[D]").astype(np.int64)
        known = np.append((stem_at >= 0) & (tree_at >= 0), False)  # -1, no stem, is the last
        rows = np.flatnonzero(np.isfinite(dbh) & (dbh > 0) & ~np.isnat(when) & known[codes])
        rows = far_enough(rows[np.lexsort((day[rows], codes[rows]))], codes, day)
        used, first, count = np.unique(codes[rows], return_index=True, return_counts=True)
        names = np.asarray(ids, dtype=object)[used]
        return cls(
            *(sizes, records, rows, day[rows], dbh[rows]), names, stem_at[used], tree_at[used], first, count
        )

    def without(self, places: Whole) -> "SortedReadings":
        """The same without the readings at some places."""
        keep = np.ones(len(self.rows), dtype=bool)
        keep[places] = False
        gone = np.bincount(
            np.searchsorted(self.start, places, side="right") - 1, minlength=len(self.start)
        ).astype(np.int64)
        count = self.count - gone
        return replace(
            self,
            rows=self.rows[keep],
            day=self.day[keep],
            size=self.size[keep],
            start=np.cumsum(count) - count,
            count=count,
        )

    def only(self, stems: Whole) -> "SortedReadings":
        """The same with some stems only."""
        keep = np.repeat(np.isin(np.arange(len(self.count)), stems), self.count)
        count = self.count[stems]
        return replace(
            self,
            rows=self.rows[keep],
            day=self.day[keep],
            size=self.size[keep],
            stem_id=self.stem_id[stems],
            stem_at=self.stem_at[stems],
            tree_at=self.tree_at[stems],
            start=np.cumsum(count) - count,
            count=count,
        )

    def blocks(self) -> Iterator[tuple[Whole, "SortedReadings"]]:
        """Some stems at a time, so that what is computed on the way stays small."""
        for first in range(0, len(self.count), STEMS_AT_ONCE):
            stems = np.arange(first, min(first + STEMS_AT_ONCE, len(self.count)))
            low, high = self.start[stems[0]], self.start[stems[-1]] + self.count[stems[-1]]
            cut = {name: getattr(self, name)[low:high] for name in ("rows", "day", "size")}
            of = {name: getattr(self, name)[stems] for name in ("stem_id", "stem_at", "tree_at", "count")}
            yield stems, replace(self, **cut, **of, start=self.start[stems] - low)


def far_enough(rows: Whole, stem: Whole, day: Whole) -> Whole:
    """Those of ``rows``, ordered by stem and day, whose stem was read far enough apart."""
    if not len(rows):
        return rows
    ends = np.flatnonzero(np.append(stem[rows][1:] != stem[rows][:-1], True))
    count = np.diff(np.concatenate([[-1], ends]))
    apart = day[rows[ends]] - day[rows[ends - count + 1]]
    return np.asarray(rows[np.repeat(apart >= LEAST_DAYS_IN_GROUP, count)])


@dataclass(frozen=True)
class Fits:
    """Lines of many stems. Arrays by stem, ``weight`` by reading; parts by stem and cause."""

    rows: Whole
    stem: Whole  # of every reading
    weight: Array
    own_var: Array
    level: Array
    level_var: Array
    at: Array
    doubtful: Whole  # place among the readings
    residual: Array
    part_stem: Whole
    part_cause: Whole
    part_size: Array

    def replaced(self, other: "Fits", stems: Whole) -> "Fits":
        """These lines with those of some stems in the place of theirs; what was doubtful stays so."""
        if not len(stems):
            return self
        kept = ~np.isin(self.stem, stems)
        parts = ~np.isin(self.part_stem, stems)
        out = {}
        for name in ("own_var", "level", "level_var", "at"):
            out[name] = getattr(self, name).copy()
            out[name][stems] = getattr(other, name)
        return replace(
            self,
            rows=np.concatenate([self.rows[kept], other.rows]),
            stem=np.concatenate([self.stem[kept], stems[other.stem]]),
            weight=np.concatenate([self.weight[kept], other.weight]),
            part_stem=np.concatenate([self.part_stem[parts], stems[other.part_stem]]),
            part_cause=np.concatenate([self.part_cause[parts], other.part_cause]),
            part_size=np.concatenate([self.part_size[parts], other.part_size]),
            **out,
        )


def fitted(given: SortedReadings, terms: SiteTerms, least_judged: int | None) -> Fits:
    """The lines of all stems, a block at a time; those that are not far enough apart have NaN."""
    found = [_block(block, stems, terms, least_judged) for stems, block in given.blocks()]
    if not found:
        nothing, no = np.zeros(0), np.zeros(0, dtype=np.int64)
        return Fits(no, no, nothing, nothing, nothing, nothing, nothing, no, nothing, no, no, nothing)
    before = np.cumsum([0] + [len(one.rows) for one in found])
    moved = [
        replace(one, doubtful=np.where(one.doubtful < 0, -1, one.doubtful + first))
        for one, first in zip(found, before[:-1], strict=True)
    ]
    return Fits(
        **{name: np.concatenate([getattr(one, name) for one in moved]) for name in Fits.__dataclass_fields__}
    )


def _block(given: SortedReadings, stems: Whole, terms: SiteTerms, least_judged: int | None) -> Fits:
    number = len(given.count)
    local = np.repeat(np.arange(number), given.count)
    records = Records(
        stems=given.records.stems.iloc[given.stem_at],
        trees=given.records.trees.iloc[np.unique(given.tree_at)],
    )
    alike = at_mean_size(given.sizes, given.rows, local, records, terms)
    part_row, cause, sensitivity = _parts(alike, given.sizes.causes)
    shared = _slots(part_row, cause, sensitivity, given.sizes.causes, len(local))
    own, departure = (
        alike.readings[name].to_numpy(dtype=float) for name in ("own_var_cm2", "departure_se_cm")
    )
    height = pd.factorize(alike.readings["height_m"].to_numpy(dtype=float), use_na_sentinel=False)[0]
    weight = np.zeros(len(local))
    level, level_var, at, residual = (np.full(number, np.nan) for _ in range(4))
    doubtful, residual = np.full(number, -1, dtype=np.int64), np.zeros(number)
    last = given.start + given.count - 1
    apart = given.day[last] - given.day[np.minimum(given.start, len(given.day) - 1)]
    for several in np.unique(given.count[apart >= LEAST_DAYS_IN_GROUP]):
        of = np.flatnonzero((given.count == several) & (apart >= LEAST_DAYS_IN_GROUP))
        place = given.start[of][:, None] + np.arange(several)
        these = [Shared(one.kind, one.code[place], one.size[place]) for one in shared]
        known = covariance(own[place], departure[place], height[place], these)
        lines = fit_lines(
            given.day[place] / DAYS_PER_YEAR, given.size[place], known, least_judged or several + 1
        )
        weight[place] = lines.slope_weight
        level[of], level_var[of], at[of] = lines.level, lines.level_var, lines.at * DAYS_PER_YEAR
        residual[of] = lines.residual
        doubtful[of] = np.where(lines.doubtful < 0, -1, place[np.arange(len(of)), lines.doubtful])
    own_var = own_variance(alike.readings, np.arange(len(local)), local, weight, number)
    part = _parts_of_slopes(local, weight, part_row, cause, sensitivity, len(given.sizes.causes))
    return Fits(
        rows=_short(given.rows),
        stem=_short(stems[local]),
        weight=weight,
        own_var=own_var,
        level=level,
        level_var=level_var,
        at=at,
        doubtful=doubtful,
        residual=residual,
        part_stem=_short(stems[part[0]]),
        part_cause=_short(part[1]),
        part_size=part[2],
    )


def _short(numbers: Whole) -> Any:
    """Positions in half the memory; there are fewer than two thousand million of anything."""
    return numbers.astype(np.int32)


def _parts(alike: Standardised, causes: pd.DataFrame) -> tuple[Whole, Whole, Array]:
    """Row, cause (position in ``causes``) and sensitivity of every shared part."""
    own_code, names = pd.factorize(alike.parts["cause"])
    cause = pd.Index(causes["cause"]).get_indexer(names)[own_code] if len(names) else own_code
    row = alike.parts["row"].to_numpy(dtype=np.int64)
    return row, cause, alike.parts["sensitivity_cm"].to_numpy(dtype=float)


def _slots(row: Whole, cause: Whole, size: Array, causes: pd.DataFrame, rows: int) -> list[Shared]:
    """The shared parts of readings side by side: as many for a kind as one reading has of it."""
    of_kind, _ = pd.factorize(causes["kind"].to_numpy(dtype=object))
    deviation = np.abs(np.sqrt(causes["variance"].to_numpy(dtype=float)))
    out = []
    for kind in np.unique(of_kind[cause]) if len(cause) else []:
        mine = np.flatnonzero(of_kind[cause] == kind)
        mine = mine[np.argsort(row[mine], kind="stable")]
        first = np.flatnonzero(np.append(True, row[mine][1:] != row[mine][:-1]))
        rank = np.arange(len(mine)) - np.repeat(first, np.diff(np.append(first, len(mine))))
        for slot in range(int(rank.max()) + 1):
            here = mine[rank == slot]
            code, effect = np.full(rows, -1, dtype=np.int64), np.zeros(rows)
            code[row[here]] = cause[here]
            effect[row[here]] = size[here] * deviation[cause[here]]
            out.append(Shared(int(kind), code, effect))
    return out


def _parts_of_slopes(
    stem: Whole, weight: Array, row: Whole, cause: Whole, size: Array, causes: int
) -> tuple[Whole, Whole, Array]:
    """What each slope has of every cause, those that cancel left out."""
    code, inverse = np.unique(stem[row] * max(causes, 1) + cause, return_inverse=True)
    total = np.bincount(inverse, weights=weight[row] * size, minlength=len(code))
    left = np.abs(total) > _CANCELLED
    return code[left] // max(causes, 1), code[left] % max(causes, 1), np.asarray(total[left], dtype=float)
