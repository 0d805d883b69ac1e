"""The rows of measuring sheets: which trunk, where it stands, how it was measured last; by sectors."""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers import columns, everyday_names, ground, taper
from layers.hands import CM_PER_SAID
from layers.inputs import SiteTerms
from layers.units import CM_PER_IN, M_PER_FT, height_words

Words = Mapping[str, str]
Array = NDArray[np.float64]

WIDTH_INSTRUMENTS = {"diameter tape", "caliper", "sighting", "eye"}
NAMES = ("common_name", "scientific_name", "name_as_written")
NAMED_WITHIN_M = 40.0
AT_M = 1.5
MOST_GROWTH_CM_PER_YR = 2.5  # of diameter; common practice, no source
NEW_READING_SD_CM = 0.7  # of a helper's reading (definitions of the error model's version 0)


@dataclass(frozen=True)
class SheetJob:
    """What is to be measured how: one instrument and one unit a sheet.

    ``day``, ``team`` and ``meet`` may be empty: a line to write on is printed. ``leader`` makes the leader's
    copy, with last sizes and what to expect; helpers' sheets never have them. ``backs`` follows each helpers'
    sheet by how to measure, for printing on both sides.
    """

    title: str
    round_name: str
    instrument: str = "girth tape"
    unit: Literal["cm", "mm", "m", "in", "ft", "hands", "spans"] = "cm"
    height_m: float = 1.30
    day: str | None = None
    day_said: str | None = None  # in the language of the sheet
    team: str | None = None
    meet: str | None = None
    paper: Literal["A4", "Letter"] = "A4"
    leader: bool = False
    backs: bool = False

    @property
    def has_backs(self) -> bool:
        """Whether each sheet has a back; the leader's copy has none."""
        return self.backs and not self.leader

    @property
    def is_width(self) -> bool:
        """Whether the instrument reads a width, not the distance round the trunk."""
        return self.instrument in WIDTH_INSTRUMENTS


@dataclass(frozen=True)
class SheetRow:
    """One trunk on a sheet; ``number`` is that of its tree on the sector's map, x and y are metres."""

    number: int
    tree_id: str
    tag: str
    what: str
    where: str
    x: float
    y: float
    stem_id: str = ""
    trunk: str = ""
    height_last: str = ""
    last: str = ""
    expected: str = ""


@dataclass(frozen=True)
class Sector:
    """What one sheet holds: rows of trees that stand close together."""

    rows: tuple[SheetRow, ...]


@dataclass(frozen=True)
class Ground:
    """What the small map shows besides the trees, in the metres of the rows."""

    outline: Any
    targets: tuple[tuple[str, str, Any], ...]  # name, kind, shape
    hazards: tuple[tuple[str, Any], ...] = ()  # word of the sheet, shape
    closures: tuple[Any, ...] = ()


def ground_of(
    trees: pd.DataFrame,
    outline: Any,
    targets: pd.DataFrame,
    terms: SiteTerms,
    hazards: pd.DataFrame | None = None,
    closures: pd.DataFrame | None = None,
) -> tuple[Array, Ground]:
    """Return where the trees stand [m] and what is around them, in one plane.

    ``hazards`` and ``closures`` have ``kind`` and ``geometry`` of the day, as `layers.closed_ground` gives.
    """
    middle = ground.centre(trees, columns.empty("area_record"), terms)
    if middle is None and outline is not None:
        middle = (outline.centroid.x, outline.centroid.y)
    frame = None if terms.frame == "local" or middle is None else ground.LocalFrame(*middle)
    at = ground.plane_positions(trees, frame, terms)

    def plane(shape: Any) -> Any:
        return shape if frame is None or shape is None else frame.plane(shape)

    named = tuple(
        (str(t.name or t.kind), str(t.kind), plane(t.geometry))
        for t in targets.itertuples(index=False)
        if t.geometry is not None
    )
    endangering = tuple(
        (f"hazard.{row.kind}", plane(row.geometry)) for row in _rows_of(hazards) if row.geometry is not None
    )
    closed = tuple(plane(row.geometry) for row in _rows_of(closures) if row.geometry is not None)
    return at, Ground(plane(outline), named, endangering, closed)


def _rows_of(rows: pd.DataFrame | None) -> list[Any]:
    return [] if rows is None or not len(rows) else list(rows.itertuples(index=False))


class RowMaker:
    """Makes the rows of a sheet.

    Parameters
    ----------
    terms : SiteTerms
    job : SheetJob
    stems : DataFrame
        Columns stem_id, tree_id, number of STEM_RECORD.
    stem_state : DataFrame
        Columns of STEM_STATE: sizes and heights of the last time.
    around : Ground
        What is around the trees.
    words : mapping
        The words of the sheet.
    """

    def __init__(
        self,
        terms: SiteTerms,
        job: SheetJob,
        stems: pd.DataFrame,
        stem_state: pd.DataFrame,
        around: Ground,
        words: Words,
    ) -> None:
        self.terms, self.job, self.around, self.words = terms, job, around, words
        ordered = stems.sort_values(["tree_id", "number"], kind="stable")
        self.stems: dict[str, list[tuple[str, int]]] = {}
        for stem in ordered.itertuples(index=False):
            self.stems.setdefault(stem.tree_id, []).append((stem.stem_id, int(stem.number)))
        self.last = {row.stem_id: row for row in stem_state.itertuples(index=False)}

    def sectors(self, trees: pd.DataFrame, at: Array, most: int) -> list[Sector]:
        """Return what each sheet holds: trees that stand close together, at most so many rows a sheet.

        Parameters
        ----------
        trees : DataFrame
            Columns tree_id, tag, place, genus and the names of TREES; those to be measured.
        at : array
            Their positions [m], NaN where there is none.
        most : int
            Rows that fit on a sheet.

        Raises
        ------
        ColumnMissing
            If ``trees`` lacks a column.
        """
        columns.require(trees, "trees", ("tree_id", "tag", "place", "genus", *NAMES))
        counts = np.array([max(1, len(self.stems.get(tree, ()))) for tree in trees["tree_id"]], dtype=int)
        is_placed = np.isfinite(at).all(axis=1)
        groups = [_walk(group, at) for group in _split(np.flatnonzero(is_placed), at, counts, most)]
        groups += _filled(np.flatnonzero(~is_placed), counts, most)
        found = []
        for group in groups:
            rows = self._rows(trees, at, group)
            found += [Sector(tuple(rows[start : start + most])) for start in range(0, len(rows), most)]
        return found

    def in_order(self, trees: pd.DataFrame, at: Array) -> list[SheetRow]:
        """Return the rows of trees in the order in which they are given; raises as :meth:`sectors`."""
        columns.require(trees, "trees", ("tree_id", "tag", "place", "genus", *NAMES))
        return self._rows(trees, at, np.arange(len(trees)))

    def _rows(self, trees: pd.DataFrame, at: Array, group: NDArray[np.intp]) -> list[SheetRow]:
        rows: list[SheetRow] = []
        for number, place in enumerate(group, start=1):
            tree = trees.iloc[int(place)]
            x, y = (float(metres) for metres in at[place])
            named = (tree[column] for column in NAMES)
            name = next((said for said in named if said), self.words["no_name"])
            blank = SheetRow(
                number=number,
                tree_id=tree["tree_id"],
                tag=str(tree["tag"] or self.words["no_tag"]),
                what=everyday_names.in_words(str(name), self.words),
                where=self._where(tree, at[place], rows[-1] if rows else None),
                x=x,
                y=y,
            )
            rows += self._trunks(tree, blank)
        return rows

    def _trunks(self, tree: pd.Series, blank: SheetRow) -> list[SheetRow]:
        stems = self.stems.get(blank.tree_id, [])
        rows = []
        for stem_id, number in stems:
            trunk = self.words["trunk_of"].format(n=number, m=len(stems)) if len(stems) > 1 else ""
            rows.append(self._with_last(tree, replace(blank, stem_id=stem_id, trunk=trunk)))
        return rows or [blank]

    def _with_last(self, tree: pd.Series, row: SheetRow) -> SheetRow:
        before = self.last.get(row.stem_id)
        if before is None or math.isnan(before.dbh_cm):
            return row
        said = math.isfinite(before.height_m)
        height = height_words(before.height_m, self.terms.units) if said else self.words["height_not_said"]
        factor = (1.0 if self.job.is_width else math.pi) / CM_PER_SAID[self.job.unit]
        expected = expected_cm(self.terms, self.job, tree, before)
        in_words = "" if expected is None else _numbers(expected[0] * factor, expected[1] * factor)
        last = _numbers(before.as_measured_cm * factor)
        return replace(row, height_last=height, last=last, expected=in_words)

    def _where(self, tree: pd.Series, at: Array, previous: SheetRow | None) -> str:
        """Where a tree stands, from the nearest named thing or the row before; a path only for the first."""
        words, units = self.words, self.terms.units
        if not np.isfinite(at).all():
            place = tree["place"]
            return words["look_in"].format(place=place) if place else words["look_anywhere"]
        spot = shapely.Point(at)
        near = [
            (shape.distance(spot), name, shape)
            for name, _, shape in self.around.targets
            if previous is None or not shape.geom_type.endswith("LineString")
        ]
        distance, name, shape = min(near, key=lambda found: found[0], default=(math.inf, "", None))
        to_row = math.inf if previous is None else math.dist((previous.x, previous.y), at)
        if distance <= AT_M:
            return words["at"].format(name=name)
        if distance <= NAMED_WITHIN_M and distance <= 2.0 * to_row:
            start = shapely.shortest_line(shape, spot).coords[0]
            way = direction(start, at, words)
            return words["from"].format(distance=_distance(distance, units), direction=way, name=name)
        if previous is None:
            return str(tree["place"] or "")
        way = direction((previous.x, previous.y), at, words)
        return words["from_row"].format(
            distance=_distance(to_row, units), direction=way, number=previous.number
        )


def _split(group: NDArray[np.intp], at: Array, counts: NDArray[np.int_], most: int) -> list[NDArray[np.intp]]:
    """Halve a group across its longer side until every part fits on a sheet."""
    rows = int(counts[group].sum())
    if not len(group):
        return []
    if rows <= most or len(group) == 1:
        return [group]
    parts = math.ceil(rows / most)
    axis = int(np.argmax(np.ptp(at[group], axis=0)))
    ordered = group[np.argsort(at[group, axis], kind="stable")]
    share = rows * (parts // 2) / parts
    cut = int(np.searchsorted(np.cumsum(counts[ordered]), min(share, (parts // 2) * most), side="right"))
    cut = min(max(cut, 1), len(ordered) - 1)
    return _split(ordered[:cut], at, counts, most) + _split(ordered[cut:], at, counts, most)


def _filled(group: NDArray[np.intp], counts: NDArray[np.int_], most: int) -> list[NDArray[np.intp]]:
    """Trees without a position, one after the other."""
    out: list[list[int]] = []
    room = 0
    for place in group:
        if not out or counts[place] > room:
            out.append([])
            room = most
        out[-1].append(int(place))
        room -= int(counts[place])
    return [np.array(part, dtype=np.intp) for part in out]


def _walk(group: NDArray[np.intp], at: Array) -> NDArray[np.intp]:
    """The group in walking order: from the south-west on, always to the nearest that is left."""
    left = list(group)
    here = at[group].min(axis=0)
    way = []
    while left:
        nearest = int(np.argmin(np.hypot(*(at[left] - here).T)))
        here = at[left[nearest]]
        way.append(left.pop(nearest))
    return np.array(way, dtype=np.intp)


def expected_cm(terms: SiteTerms, job: SheetJob, tree: pd.Series, before: Any) -> tuple[float, float] | None:
    """Return the range in which a diameter at the height of the sheet is expected [cm].

    None where that height cannot be converted. Two standard errors either way (of the last size, of a
    helper's reading, of the tree's own taper), and up to 2.5 cm of growth a year on top: a rule of ours,
    common practice, no source.
    """
    if not taper.is_convertible(job.height_m):
        return None
    b, _ = taper.coefficient(tree["scientific_name"], tree["genus"])
    size = before.dbh_cm * float(taper.ratio(job.height_m, terms.breast_height_m, b))
    own_taper = size * float(taper.departure_se(job.height_m, terms.breast_height_m))
    known = 0.0 if math.isnan(before.own_var_cm2) else before.own_var_cm2
    error = 2.0 * math.sqrt(known + NEW_READING_SD_CM**2 + own_taper**2)
    grown = MOST_GROWTH_CM_PER_YR * _years(before.measured_on, job.day)
    return max(size - error, 0.0), size + error + grown


def _years(since: str | None, until: str | None) -> float:
    if since is None or until is None:
        return 1.0
    return max(0.0, (dt.date.fromisoformat(until) - dt.date.fromisoformat(since)).days / 365.25)


def _numbers(*values: float) -> str:
    """One number or a range, to a tenth where the larger is below 40."""
    decimals = 0 if max(values) >= 40 else 1
    return "–".join(f"{value:.{decimals}f}" for value in values)


def growth_words(units: str) -> str:
    """Return the most growth of a width in a year: 2.5 cm, or 1.0 in."""
    if units == "us":
        return f"{MOST_GROWTH_CM_PER_YR / CM_PER_IN:.1f} in"
    return f"{MOST_GROWTH_CM_PER_YR:g} cm"


def _distance(metres: float, units: str) -> str:
    return f"{metres / M_PER_FT:.0f} ft" if units == "us" else f"{metres:.0f} m"


def direction(start: Any, end: Any, words: Words) -> str:
    """Return in which of eight directions a point lies from another, in words."""
    bearing = math.degrees(math.atan2(end[0] - start[0], end[1] - start[1]))
    return words["directions"].split(",")[round(bearing / 45.0) % 8]
