"""The two invented sample grounds, brought into a store as anybody would bring in their own.

Trees, areas and targets go through the import; rounds, crews, readings, observations, answers to dangers,
statuses and inspections through entry. Every id is made from the words of the sample: loading twice changes
nothing.
"""

import csv
import io
import tomllib
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import as_file, files
from importlib.resources.abc import Traversable
from typing import Any

from layers.danger_state import DANGER_WORDS
from service.actors import Actor
from service.danger import answer_dangers
from service.danger_records import DangerAnswerIn
from service.edit import add_crews, add_rounds
from service.entry import Answer, enter_inspections, enter_observations, enter_readings, enter_statuses
from service.errors import Conflict, InvalidRequest, NotFound
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.records import CrewIn, InspectionIn, ObservationIn, ReadingIn, RoundIn, StatusIn, parsed
from service.rounds import plan_round
from service.store.engine import Store
from service.store.frames import records_of
from service.store.site_rows import create_site, find_site

SAMPLES = ("sample-school", "sample-park")
_NAMESPACE = uuid.UUID("1f0c3a52-6c1d-5b5e-9a50-b01e0a4d5a11")  # of the sample grounds; chosen once
_READING_CELLS = (
    *("quantity", "value", "unit", "instrument", "height_m", "resolution", "measured_on", "crew"),
    *("first_guess", "first_entry", "parts", "rule", "note", "reason"),
)
_OBSERVATION_CELLS = ("what", "value", "unit", "text", "method", "observed_on", "crew")
_INSPECTION_CELLS = (
    *("inspected_on", "level", "organisation", "qualification", "qualified", "leaf_on", "next_look_by"),
)

Progress = Callable[[str], None]
Cells = Mapping[str, str]


@dataclass(frozen=True)
class _Sample:
    """A sample ground as its files tell it."""

    folder: Traversable
    slug: str
    site_id: str

    def rows(self, name: str) -> list[dict[str, str]]:
        """The rows of one of its CSV files."""
        text = self.folder.joinpath(name).read_text(encoding="utf-8")
        return list(csv.DictReader(io.StringIO(text, newline="")))

    def id(self, kind: str, word: str) -> str:
        """The UUID of one of its records."""
        return str(uuid.uuid5(uuid.UUID(self.site_id), f"{kind}/{word}"))


@dataclass(frozen=True)
class _Known:
    """What the import made of the lists: UUIDs by what the files call things."""

    trees: Mapping[str, str]
    stems: Mapping[tuple[str, int], str]
    areas: Mapping[str, str]


def load_samples(store: Store, actor: Actor, progress: Progress | None = None) -> list[str]:
    """Bring the two sample grounds into a store; return a sentence for each.

    Parameters
    ----------
    store : Store
    actor : Actor
    progress : callable, optional
        Called with a few words at each step.

    Raises
    ------
    Conflict
        If a site of the user's own has the name of a sample.
    InvalidRequest
        If a sample cannot be taken in whole.
    NotPermitted
        If the actor may not manage.
    StoreUnavailable
        If the store cannot be written.
    """
    actor.require("manage")
    say = progress or (lambda _words: None)
    return [_load(store, actor, _sample(slug), say) for slug in SAMPLES]


def _sample(slug: str) -> _Sample:
    return _Sample(files("sample_sites").joinpath(slug), slug, str(uuid.uuid5(_NAMESPACE, slug)))


def _load(store: Store, actor: Actor, sample: _Sample, say: Progress) -> str:
    name = _site(store, actor, sample)
    new = 0
    for layer, file_name in (
        ("areas", "areas.geojson"),
        ("targets", "targets.geojson"),
        ("trees", "trees.csv"),
    ):
        say(f"{name}: {layer}")
        with as_file(sample.folder.joinpath(file_name)) as path:
            report = import_file(store, path, sample.slug, ImportOptions(layer=layer), actor)
        new += report.taken + report.questioned
    known = _known(store, sample)
    add_rounds(store, sample.slug, actor, list(_rounds(sample)))
    add_crews(store, sample.slug, actor, list(_crews(sample)))
    for words, enter, items in (
        ("readings", enter_readings, _readings(sample, known)),
        ("observations", enter_observations, _observations(sample, known)),
        ("answers to dangers", answer_dangers, _danger_answers(sample)),
        ("statuses", enter_statuses, _statuses(sample, known)),
        ("inspections", enter_inspections, _inspections(sample, known)),
    ):
        say(f"{name}: {words}")
        new += _taken(enter(store, sample.slug, actor, list(items)), words)
    say(f"{name}: measuring days to come")
    plan = tomllib.loads(sample.folder.joinpath("plan.toml").read_text(encoding="utf-8"))
    plan_round(store, sample.slug, actor, plan, id=sample.id("round", "plan"))
    if not new:
        return f"{name} is there already; nothing was changed."
    return f"{name}: {len(known.trees)} trees, {len(sample.rows('readings.csv'))} readings."


def _site(store: Store, actor: Actor, sample: _Sample) -> str:
    """Make the site unless it is there, and return its name."""
    terms = tomllib.loads(sample.folder.joinpath("site.toml").read_text(encoding="utf-8"))
    try:
        with store.read() as connection:
            there = find_site(connection, sample.slug)
    except NotFound:
        slug = terms.pop("slug")
        return str(create_site(store, slug, actor=actor, site_id=sample.site_id, **terms).name)
    if there.id != sample.site_id:
        raise Conflict("site", sample.slug, terms["name"], there.name)
    return str(there.name)


def _known(store: Store, sample: _Sample) -> _Known:
    with store.read() as connection:
        records = records_of(connection, find_site(connection, sample.slug).fid)
    trees = dict(zip(records.trees["external_id"], records.trees["tree_id"], strict=True))
    stems = records.stems
    return _Known(
        trees=trees,
        stems={
            (tree, int(number)): stem
            for tree, number, stem in zip(stems["tree_id"], stems["number"], stems["stem_id"], strict=True)
        },
        areas=dict(zip(records.areas["name"], records.areas["area_id"], strict=True)),
    )


def _taken(answers: Sequence[Answer], words: str) -> int:
    """How many records are new.

    Raises
    ------
    InvalidRequest
        If one was refused.
    """
    faults = [(f"{words} {answer.id}", answer.why or "") for answer in answers if answer.outcome == "refused"]
    if faults:
        raise InvalidRequest(faults)
    return sum(answer.outcome != "already there" for answer in answers)


def _said(row: Cells, names: Sequence[str]) -> dict[str, Any]:
    return {name: row[name] for name in names if row[name]}


def _rounds(sample: _Sample) -> Iterator[RoundIn]:
    for row in sample.rows("rounds.csv"):
        said = _said(row, ("name", "from_on", "to_on", "instrument", "unit", "height_m"))
        yield parsed(RoundIn, {"id": sample.id("round", row["id"]), **said})


def _crews(sample: _Sample) -> Iterator[CrewIn]:
    for row in sample.rows("crews.csv"):
        own = {
            "id": sample.id("crew", f"{row['round_id']}/{row['code']}"),
            "round_id": sample.id("round", row["round_id"]),
        }
        yield parsed(CrewIn, {**own, "code": row["code"], "kind": row["kind"]})


def _kinds(sample: _Sample) -> dict[str, str]:
    return {row["code"]: row["kind"] for row in sample.rows("crews.csv")}


def _readings(sample: _Sample, known: _Known) -> Iterator[ReadingIn]:
    kinds = _kinds(sample)
    for row in sample.rows("readings.csv"):
        said = _said(row, _READING_CELLS)
        if row["supersedes"]:
            said["supersedes"] = sample.id("reading", row["supersedes"])
        own = {
            "id": sample.id("reading", row["reading_no"]),
            "stem_id": known.stems[known.trees[row["external_id"]], int(row["number"])],
            "round_id": sample.id("round", row["round_id"]),
            "crew_kind": kinds[row["crew"]],
            "void": row["void"] == "true",
            "source": f"readings.csv, {row['reading_no']}",
        }
        yield parsed(ReadingIn, {**said, **own})


def _observations(sample: _Sample, known: _Known) -> Iterator[ObservationIn]:
    kinds = _kinds(sample)
    for row in sample.rows("observations.csv"):
        own = {
            "id": sample.id("observation", row["observation_no"]),
            "tree_id": known.trees[row["external_id"]],
            "round_id": sample.id("round", row["round_id"]),
            "crew_kind": kinds[row["crew"]],
            "source": f"observations.csv, {row['observation_no']}",
        }
        yield parsed(ObservationIn, {**_said(row, _OBSERVATION_CELLS), **own})


def _danger_answers(sample: _Sample) -> Iterator[DangerAnswerIn]:
    """Dangers that were seen before the latest ones were answered; those still wait."""
    rows = [row for row in sample.rows("observations.csv") if row["what"] in DANGER_WORDS]
    latest = max(row["observed_on"] for row in rows)
    for row in rows:
        if row["observed_on"] < latest:
            own = {
                "id": sample.id("danger answer", row["observation_no"]),
                "report_id": sample.id("observation", row["observation_no"]),
                "did": "people kept away, the tree inspector called (invented)",
                "organisation": "whoever looks after this invented ground",
                "answered_on": row["observed_on"] or latest,
            }
            yield parsed(DangerAnswerIn, own)


def _statuses(sample: _Sample, known: _Known) -> Iterator[StatusIn]:
    for row in sample.rows("statuses.csv"):
        own = {
            "id": sample.id("status", f"{row['external_id']}/{row['happened_on']}"),
            "subject_id": known.trees[row["external_id"]],
            "source": "statuses.csv",
        }
        yield parsed(StatusIn, {**_said(row, ("subject", "status", "happened_on", "as_said")), **own})


def _inspections(sample: _Sample, known: _Known) -> Iterator[InspectionIn]:
    rows = sample.rows("inspections.csv")
    for number in dict.fromkeys(row["inspection_no"] for row in rows):
        own = [row for row in rows if row["inspection_no"] == number]
        answers = {known.trees[row["external_id"]]: _said(row, ("answer", "note")) for row in own}
        said = _said(own[0], _INSPECTION_CELLS)
        said |= {"id": sample.id("inspection", number), "area_id": known.areas[own[0]["area"]]}
        yield parsed(InspectionIn, {**said, "note": own[0]["look_note"], "answers": answers})
