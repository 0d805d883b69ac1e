"""What the layers are given: the terms of a site and its records as frames."""

from dataclasses import dataclass, field, replace
from typing import Any, Literal

import pandas as pd

from layers import columns
from layers.hands import Hand, hands_of
from layers.site_model import PUBLISHED, SiteModel

DEFAULT_BREAKS_CM = (10.0, 20.0, 40.0, 60.0, 80.0)
US_BREAKS_CM = (10.16, 20.32, 40.64, 60.96, 81.28)


@dataclass(frozen=True)
class SiteTerms:
    """What a site agreed on: breast height [m], size-class breaks [cm], units, frame, error model ...

    ``hands`` are the crews' hands as they measured them (`with_hands`).
    """

    site_id: str
    slug: str
    name: str
    breast_height_m: float = 1.30
    breaks_cm: tuple[float, ...] = DEFAULT_BREAKS_CM
    units: Literal["metric", "us"] = "metric"
    frame: Literal["earth", "local"] = "earth"
    time_zone: str = "UTC"
    country: str | None = None
    phone: str | None = None
    qualified: str | None = None
    inspection_months: dict[str, int] = field(default_factory=dict)
    model: SiteModel = PUBLISHED
    hands: tuple[Hand, ...] = ()
    unseen_girth_cm: float = 50.0  # pupils measure no larger tree that nobody qualified has looked at
    wind_limit: str | None = None  # in words


def _frame(name: str) -> Any:
    return field(default_factory=lambda: columns.empty(name))


@dataclass(frozen=True)
class Records:
    """The records of a site, one frame a kind, columns as in the nomenclature; void versions left out.

    Append-only frames hold everything that was said, superseded and void ones included.
    ``findings``, ``rounds``, ``crews``, ``questions``, ``settlings``, ``plan_images``, ``places``,
    ``calibrations``, ``danger_reports`` and ``danger_answers`` carry the columns of their tables,
    ``closures`` and ``hazards`` those with ``geometry``. Danger reports of trees are among ``observations``
    too.
    """

    trees: pd.DataFrame = _frame("tree_record")
    stems: pd.DataFrame = _frame("stem_record")
    readings: pd.DataFrame = _frame("reading_record")
    observations: pd.DataFrame = _frame("observation_record")
    status_events: pd.DataFrame = _frame("status_event")
    areas: pd.DataFrame = _frame("area_record")
    targets: pd.DataFrame = _frame("target_record")
    inspections: pd.DataFrame = _frame("inspection_record")
    places: pd.DataFrame = field(default_factory=pd.DataFrame)
    findings: pd.DataFrame = field(default_factory=pd.DataFrame)
    rounds: pd.DataFrame = field(default_factory=pd.DataFrame)
    crews: pd.DataFrame = field(default_factory=pd.DataFrame)
    questions: pd.DataFrame = field(default_factory=pd.DataFrame)
    settlings: pd.DataFrame = field(default_factory=pd.DataFrame)
    plan_images: pd.DataFrame = field(default_factory=pd.DataFrame)
    calibrations: pd.DataFrame = field(default_factory=pd.DataFrame)
    danger_reports: pd.DataFrame = field(default_factory=pd.DataFrame)
    danger_answers: pd.DataFrame = field(default_factory=pd.DataFrame)
    closures: pd.DataFrame = field(default_factory=pd.DataFrame)
    hazards: pd.DataFrame = field(default_factory=pd.DataFrame)


def with_hands(terms: SiteTerms, records: Records) -> SiteTerms:
    """Return the terms with the hands that the records hold; readings are counted with these."""
    hands = hands_of(records.calibrations)
    return terms if hands == terms.hands else replace(terms, hands=hands)
