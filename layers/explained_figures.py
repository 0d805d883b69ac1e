"""How a figure of a site, place or area came about: which trees and trunks, and the parts of its error."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from layers import ground, size_classes
from layers.edge_doubt import EdgeDoubt, edge_doubt
from layers.error_model import Array
from layers.errors import NothingToCompute
from layers.explaining import NO_SHARED, errors_of_stems, stem_inputs
from layers.explaining_words import COUNTED_ALL, NO_ERROR_GIVEN, OF_CLASSES, OWN_OF_MANY
from layers.explanations import Errors, Explanation, errors_of, explained, is_learned
from layers.figure_subjects import SITE, WITHIN_BOUNDARY, Subject, Subjects, subjects_of
from layers.figure_sums import Stand, sizes_in
from layers.history import StandState
from layers.inputs import SiteTerms
from layers.site_model import FROM_SITE
from layers.standing import COUNTED, DEAD

COUNTS = (
    *("trees", "stems", "measured_stems", "partly_measured_trees", "unmeasured_trees", "undated_sizes"),
    *("dead_trees", "in_doubt_trees"),
)
PER_HA = {"trees_per_ha": "trees", "stems_per_ha": "stems"}
OF_STEMS = {
    "basal_area_m2": ("sum_of_faces", "m2"),
    "basal_area_m2_per_ha": ("faces_per_ha", "m2/ha"),
    "mean_dbh_cm": ("mean_width", "cm"),
    "qmd_cm": ("quadratic_mean", "cm"),
    "sdi_per_ha": ("density_sum", "1/ha"),
    "sdi_qmd_per_ha": ("density_mean", "1/ha"),
}
WITHIN = (*PER_HA, "area_ha", "basal_area_m2_per_ha", "sdi_per_ha", "sdi_qmd_per_ha", "clark_evans_r")
OF_EDGES = ("basal_area_m2", "basal_area_m2_per_ha")
CLASS, CLASS_FACES = "size_class", "size_class_basal_area"
KEYS = (*COUNTS, *PER_HA, *OF_STEMS, "area_ha", "shannon", "simpson", "clark_evans_r")
"""What can be asked of a figure; ``size_class:<n>`` and ``size_class_basal_area:<n>`` besides, from 0."""


@dataclass(frozen=True)
class FigureFrames:
    """What the figures of a site were computed from: as given to ``figures``."""

    state: StandState
    membership: pd.DataFrame
    trees: pd.DataFrame
    areas: pd.DataFrame
    places: pd.DataFrame | None
    terms: SiteTerms

    @cached_property
    def stand(self) -> Stand:
        """The trees and stems as arrays."""
        return Stand.of(self.state.stem_state, self.state.stem_parts, self.state.causes)

    @cached_property
    def subjects(self) -> Subjects:
        """What figures are given for, with its trees."""
        return subjects_of(self.stand, self.membership, self.trees, self.areas, self.places, self.terms)

    @cached_property
    def doubt(self) -> EdgeDoubt:
        """The trees that may stand on the other side of an edge."""
        known = self.trees.set_index("tree_id").reindex(self.stand.tree_id)
        return edge_doubt(known, self.areas, self.subjects.rows, self.terms)


def of_figure(row: Mapping[str, Any], key: str, frames: FigureFrames) -> Explanation:
    """Return how a figure came about.

    Parameters
    ----------
    row : mapping
        The row of figures: whose it is, and the number as it is shown.
    key : str
        One of ``KEYS``, or a size class.
    frames : FigureFrames
        What the figures were computed from.

    Returns
    -------
    Explanation
        Inputs are trees with what each counts, or stems with their sizes and errors, or kinds of trees with
        their number. A number that cannot be said has the reason.

    Raises
    ------
    NothingToCompute
        If there is no such figure, or none that is explained.
    """
    what = key.split(":")[0]
    if what not in (*KEYS, CLASS, CLASS_FACES):
        raise NothingToCompute(key)
    mine = RowOfFigures.of(row, what, frames)
    of = f"figure:{row['area_id'] or 'site'}:{key}"
    if what in (CLASS, CLASS_FACES):
        return _of_class(of, key, mine)
    value = row[key]
    if value is None:
        return explained(
            of, key, "", math.nan, "count", pd.DataFrame(), None, frames.terms, why=row["why"].get(key)
        )
    if what in OF_STEMS:
        return _of_stems(of, key, float(value), mine)
    if what in COUNTS or what in PER_HA:
        return _of_count(of, key, float(value), mine)
    return _OTHERS[what](of, float(value), mine)


@dataclass(frozen=True)
class RowOfFigures:
    """The trees and stems of the row that is asked about, with its ground."""

    row: Mapping[str, Any]
    group: int
    subject: Subject
    frames: FigureFrames
    trees: pd.DataFrame  # tree_id, tag, scientific_name, status, in_doubt
    stems: pd.DataFrame  # rows of stem_state, of these trees

    @classmethod
    def of(cls, row: Mapping[str, Any], what: str, frames: FigureFrames) -> "RowOfFigures":
        """Return the trees and stems of a row; those within the boundary for a number of the ground."""
        state, stand, subjects = frames.state, frames.stand, frames.subjects
        ids = [one.area_id for one in subjects.rows]
        group = ids.index(row["area_id"], WITHIN_BOUNDARY + 1) if row["area_id"] else SITE
        if group == SITE and what in WITHIN:
            group = WITHIN_BOUNDARY
        inside = stand.tree_id[subjects.tree[subjects.group == group]]
        stems = state.stem_state[state.stem_state["tree_id"].isin(inside)]
        firsts = stems.drop_duplicates("tree_id")[["tree_id", "tree_status", "in_doubt"]]
        known = frames.trees.set_index("tree_id").reindex(firsts["tree_id"])
        trees = firsts.assign(
            tag=known["tag"].to_numpy(dtype=object),
            scientific_name=known["scientific_name"].to_numpy(dtype=object),
        ).reset_index(drop=True)
        return cls(row, group, subjects.rows[group], frames, trees, stems[stems["stem_id"].notna()])

    @property
    def living(self) -> pd.DataFrame:
        """The stems that count as living, of trees that do."""
        both = self.stems["tree_status"].isin(COUNTED) & self.stems["status"].isin(COUNTED)
        return self.stems[both]

    @property
    def measured(self) -> pd.DataFrame:
        """Those with a size at or above the counting limit."""
        living, limit = self.living, self.subject.counting_limit_cm
        size = living["dbh_cm"].to_numpy(dtype=float)
        return living[np.isfinite(size) & (size >= (0.0 if math.isnan(limit) else limit))]

    @property
    def own_source(self) -> str:
        """Where the own errors of the stems are from."""
        return FROM_SITE if is_learned(self.frames.terms.model.own) else OWN_OF_MANY

    @property
    def ground(self) -> dict[str, float]:
        """The size of the ground and its error, as far as they are known."""
        known = {"area_ha": self.subject.area_ha, "area_se_ha": self.subject.area_se_ha}
        return {name: size for name, size in known.items() if math.isfinite(size)}

    def area_variance(self, value: float) -> float:
        """Variance that a number per hectare has from the size of the ground."""
        known = self.ground
        return (value * known.get("area_se_ha", 0.0) / known["area_ha"]) ** 2

    def edge_trees(self) -> pd.DataFrame:
        """The trees near the edge of the row, on both sides, with what they would add to its basal area."""
        frames, doubt = self.frames, self.frames.doubt
        mine = np.flatnonzero(doubt.row == self.group)
        tree = doubt.tree[mine]
        limits = np.full(len(frames.subjects.rows), self.subject.counting_limit_cm)
        ids = frames.stand.tree_id[tree]
        found = pd.DataFrame(
            {
                "tree_id": pd.Series(ids, dtype=object),
                "tag": frames.trees.set_index("tree_id")["tag"].reindex(ids).to_numpy(dtype=object),
                "basal_area_m2": sizes_in(frames.stand, doubt.row[mine], tree, limits),
                "likely": doubt.likely[mine],
            }
        )
        return found[(found["basal_area_m2"] > 0) & (found["likely"] > 0)].reset_index(drop=True)

    def only_area(self, value: float) -> Errors | None:
        """The error of what has no other than that of the ground; None where that is not known."""
        variance = self.area_variance(value)
        if not variance > 0:
            return None
        none = {"own": 0.0, "departure": 0.0}
        causes = self.frames.state.causes
        return errors_of(np.zeros(0), none, NO_SHARED, causes, "", self.frames.terms.model, variance)


def _of_stems(of: str, key: str, value: float, mine: RowOfFigures) -> Explanation:
    equation, unit = OF_STEMS[key]
    stems = mine.measured
    d, per_ha = stems["dbh_cm"].to_numpy(dtype=float), key in WITHIN
    a = _SLOPES[key](d, mine.subject.area_ha)
    more = mine.area_variance(value) if per_ha else 0.0
    near = mine.edge_trees() if key in OF_EDGES else None
    beside = 0.0 if near is None else float((near["likely"] * near["basal_area_m2"] ** 2).sum())
    beside /= mine.subject.area_ha**2 if per_ha else 1.0
    errors = errors_of_stems(a, stems, mine.frames.state, mine.own_source, mine.frames.terms, more, beside)
    shown: dict[str, Any] = {"constants": mine.ground if per_ha else {}, "edge_trees": near}
    if key == "basal_area_m2":
        shown |= {"low": mine.row["basal_area_lo"], "high": mine.row["basal_area_hi"]}
    return explained(of, key, unit, value, equation, stem_inputs(stems), errors, mine.frames.terms, **shown)


def _mean_slopes(d: Array) -> Array:
    return np.asarray(d / len(d) / np.sqrt(np.mean(d**2)))


def _mean_density_slopes(d: Array, area_ha: float) -> Array:
    mean = float(np.sqrt(np.mean(d**2)))
    return np.asarray(len(d) / area_ha * 1.605 * (mean / 25.4) ** 0.605 / 25.4 * _mean_slopes(d))


_SLOPES: dict[str, Callable[[Array, float], Array]] = {
    "basal_area_m2": lambda d, area_ha: np.pi / 2.0 * d * 1e-4,
    "basal_area_m2_per_ha": lambda d, area_ha: np.pi / 2.0 * d * 1e-4 / area_ha,
    "mean_dbh_cm": lambda d, area_ha: np.full(len(d), 1.0 / len(d)),
    "qmd_cm": lambda d, area_ha: _mean_slopes(d),
    "sdi_per_ha": lambda d, area_ha: 1.605 * (d / 25.4) ** 0.605 / 25.4 / area_ha,
    "sdi_qmd_per_ha": _mean_density_slopes,
}
"""The change of each figure with the diameter of every stem [its unit per cm]."""


def _of_count(of: str, key: str, value: float, mine: RowOfFigures) -> Explanation:
    counted = _counts(PER_HA.get(key, key), mine)
    trees = mine.trees.merge(counted.rename("count"), left_on="tree_id", right_index=True)
    inputs = trees[["tree_id", "tag", "count"]].reset_index(drop=True)
    if key not in PER_HA:
        return explained(of, key, "", value, "count", inputs, None, mine.frames.terms, no_error=COUNTED_ALL)
    errors = mine.only_area(value)
    more: dict[str, Any] = {"constants": mine.ground}
    if errors is None:
        more["no_error"] = COUNTED_ALL
    return explained(of, key, "1/ha", value, "count_per_ha", inputs, errors, mine.frames.terms, **more)


def _counts(what: str, mine: RowOfFigures) -> pd.Series:
    """How much each tree adds to a count; trees that add nothing are left out."""
    if what in ("stems", "measured_stems", "undated_sizes"):
        stems = mine.living if what == "stems" else mine.measured
        stems = stems[stems["undated"]] if what == "undated_sizes" else stems
        return stems.groupby("tree_id", sort=False).size()
    trees = mine.trees.set_index("tree_id")
    living = trees["tree_status"].isin(COUNTED)
    number = mine.living.groupby("tree_id").size().reindex(trees.index, fill_value=0)
    sized = mine.living[mine.living["dbh_cm"].notna()].groupby("tree_id").size()
    sized = sized.reindex(trees.index, fill_value=0)
    chosen = {
        "trees": living,
        "partly_measured_trees": living & (sized > 0) & (sized < number),
        "unmeasured_trees": living & (sized == 0),
        "dead_trees": trees["tree_status"] == DEAD,
        "in_doubt_trees": living & trees["in_doubt"],
    }[what]
    return chosen[chosen].astype(int)


def _of_class(of: str, key: str, mine: RowOfFigures) -> Explanation:
    what, _, said = key.partition(":")
    limits = size_classes.bounds(mine.frames.terms.breaks_cm)
    if not said.isdigit() or int(said) >= len(limits):
        raise NothingToCompute(key)
    number = int(said)
    low, high = limits[number]
    constants = {"from_cm": low, **({} if high is None else {"to_cm": high})}
    stems = mine.measured
    stems = stems[size_classes.class_of(stems["dbh_cm"], mine.frames.terms.breaks_cm) == number]
    rows = mine.row["size_classes"]
    if rows is None:
        why = mine.row["why"].get("size_classes")
        return explained(of, what, "", math.nan, "count", pd.DataFrame(), None, mine.frames.terms, why=why)
    if what == CLASS:
        inputs = stem_inputs(stems).assign(count=1)
        more = {"constants": constants, "no_error": OF_CLASSES}
        return explained(
            of, what, "", float(rows[number]["stems"]), "count", inputs, None, mine.frames.terms, **more
        )
    a = np.pi / 2.0 * stems["dbh_cm"].to_numpy(dtype=float) * 1e-4
    errors = errors_of_stems(a, stems, mine.frames.state, mine.own_source, mine.frames.terms)
    value = float(rows[number]["basal_area_m2"])
    inputs = stem_inputs(stems)
    if not len(stems):
        return explained(
            of, what, "m2", value, "sum_of_faces", inputs, None, mine.frames.terms, no_error=NO_ERROR_GIVEN
        )
    return explained(
        of, what, "m2", value, "sum_of_faces", inputs, errors, mine.frames.terms, constants=constants
    )


def _kinds(of: str, key: str, value: float, mine: RowOfFigures) -> Explanation:
    living = mine.trees[mine.trees["tree_status"].isin(COUNTED)]
    named = living["scientific_name"].dropna()
    inputs = named.value_counts().rename_axis("scientific_name").rename("count").reset_index()
    return explained(of, key, "-", value, key, inputs, None, mine.frames.terms, no_error=NO_ERROR_GIVEN)


def _nearest(of: str, value: float, mine: RowOfFigures) -> Explanation:
    living = mine.trees[mine.trees["tree_status"].isin(COUNTED)]
    frames = mine.frames
    middle = None
    if frames.terms.frame != "local":
        middle = ground.centre(frames.trees, frames.areas, frames.terms)
    frame = None if middle is None else ground.LocalFrame(*middle)
    known = frames.trees.set_index("tree_id").reindex(living["tree_id"])
    at = ground.plane_positions(known, frame, frames.terms)
    placed = np.isfinite(at).all(axis=1)
    apart = cKDTree(at[placed]).query(at[placed], k=2)[0][:, 1]
    inputs = living[placed][["tree_id", "tag"]].assign(nearest_m=apart).reset_index(drop=True)
    more = {"constants": mine.ground, "no_error": NO_ERROR_GIVEN}
    return explained(of, "clark_evans_r", "-", value, "clark_evans", inputs, None, frames.terms, **more)


def _of_ground(of: str, value: float, mine: RowOfFigures) -> Explanation:
    errors = mine.only_area(value)
    more: dict[str, Any] = {"constants": mine.ground}
    if errors is None:
        more["no_error"] = mine.row["why"].get("area_se_ha") or NO_ERROR_GIVEN
    return explained(of, "area_ha", "ha", value, "ground", pd.DataFrame(), errors, mine.frames.terms, **more)


_OTHERS: dict[str, Callable[[str, float, RowOfFigures], Explanation]] = {
    "area_ha": _of_ground,
    "clark_evans_r": _nearest,
    "shannon": lambda of, value, mine: _kinds(of, "shannon", value, mine),
    "simpson": lambda of, value, mine: _kinds(of, "simpson", value, mine),
}
