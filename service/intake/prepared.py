"""What a file says, row by row, before anything of it is taken: between reading a file and writing it."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class ImportOptions:
    """What the person said about the file; everything left empty is guessed or asked."""

    layer: str | None = None  # trees | areas | targets
    place: str | None = None  # a name, or a header of the file
    columns: dict[str, str] = field(default_factory=dict)  # our word -> header
    size: str | None = None  # girth-cm, girth-in, diameter-cm, ...
    height_m: float | None = None
    measured_on: str | None = None  # a date, or a header
    crs: str | None = None  # EPSG:n | local
    kind: str | None = None  # kind of all areas or targets of the file


@dataclass(frozen=True)
class SiteFacts:
    """What is known of the site when the file is read: its frame and where its trees stand."""

    frame: str = "earth"  # earth | local
    box: tuple[float, float, float, float] | None = None  # west, south, east, north of what is there
    today: str = ""  # the calendar day in the site's time zone
    breast_height_m: float = 1.30
    own_ids: frozenset[str] = frozenset()  # UUIDs of trees, stems, readings known here


@dataclass
class Guess:
    """One thing that was not said and was inferred: what, its value, why, how sure (0 to 1)."""

    what: str
    value: str
    why: str
    sure: float


@dataclass
class Question:
    """A sentence about a row or cell that a person should settle; ``what`` is a fixed word."""

    what: str
    detail: str
    column: str | None = None


@dataclass
class PreparedReading:
    """One cell that is a size: kept as said (definitions R4)."""

    column: str
    stem_number: int
    quantity: str
    unit: str
    value: float | None = None
    value_2: float | None = None
    parts: str | None = None
    class_from_cm: float | None = None
    class_to_cm: float | None = None
    instrument: str = "unknown"
    height_m: float | None = None
    resolution: float | None = None
    measured_on: str | None = None
    date_precision: str = "unknown"
    note: str | None = None
    extra: dict[str, Any] = field(default_factory=dict)  # our own exported columns: crew, tilt_deg, ...


@dataclass
class PreparedObservation:
    """One cell that was seen or measured besides girth: height, crown diameter, sights."""

    column: str
    what: str
    value: float | None = None
    unit: str | None = None
    text: str | None = None
    observed_on: str | None = None
    date_precision: str = "unknown"


@dataclass
class PreparedStatus:
    """A status word with the day from which it holds; stem_number 0 is the whole tree."""

    status: str
    as_said: str
    stem_number: int = 0
    happened_on: str | None = None
    date_precision: str = "unknown"


@dataclass
class PreparedRow:
    """One row of a file. Exactly one of three: refused, a tree, or a place (stump, gap, vacant)."""

    row: int
    refused: str | None = None
    place_kind: str | None = None  # stump | gap | vacant | other: the row is a place, not a tree
    own_ids: dict[str, str] = field(default_factory=dict)  # tree_id, stem_id, reading_id of our own export
    source_key: str | None = None  # of a column unique in the file, when there is one
    tag: str | None = None
    place: str | None = None
    scientific_name: str | None = None
    name_as_written: str | None = None
    name_sure: str = "unknown"  # sure | doubtful | unknown
    common_name: str | None = None
    genus: str | None = None
    status: str = "unknown"
    status_as_said: str | None = None
    lon_deg: float | None = None
    lat_deg: float | None = None
    x_m: float | None = None
    y_m: float | None = None
    position_source: str | None = None
    position_accuracy_m: float | None = None
    keeper: str | None = None
    planted_on: str | None = None
    external_id: str | None = None
    kept: dict[str, str] = field(default_factory=dict)
    stems: int = 1
    readings: list[PreparedReading] = field(default_factory=list)
    observations: list[PreparedObservation] = field(default_factory=list)
    statuses: list[PreparedStatus] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)


@dataclass
class PreparedShape:
    """One area or target of a file."""

    row: int
    refused: str | None = None
    own_ids: dict[str, str] = field(default_factory=dict)
    source_key: str | None = None
    name: str = ""
    kind: str = "other"
    use: str | None = None
    wkb: bytes | None = None
    keeper: str | None = None
    typed_area_ha: float | None = None
    external_id: str | None = None
    kept: dict[str, str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)


@dataclass
class Prepared:
    """A whole file, understood: rows in file order, the guesses, and what became of each column."""

    path: Path
    layer: str
    layer_name: str  # what was imported together: the file's stem or layer name
    file_hash: str  # of content and options
    key_rule: str  # how rows are told apart, in words
    trees: list[PreparedRow] = field(default_factory=list)
    shapes: list[PreparedShape] = field(default_factory=list)
    guesses: list[Guess] = field(default_factory=list)
    understood: dict[str, str] = field(default_factory=dict)  # header -> our word
    kept: list[str] = field(default_factory=list)  # headers kept as written
    left_out: dict[str, str] = field(default_factory=dict)  # header -> reason
