"""Writes the two sample sites: ``python -m sample_sites.generate`` makes both folders again, byte for byte.

Everything in them is invented. The recipes say what the grounds are made of, :mod:`sample_sites.growing` what
the trees truly are, :mod:`sample_sites.measuring` what crews read; only what somebody could have written down
is written.
"""

import csv
import datetime as dt
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sample_sites.growing import HERE, Dice, Recipe, Tree, grown, recipe_of
from sample_sites.measuring import Crews, Reading, with_mistakes
from sample_sites.tree_list import Row, TreeList, degrees, external_id

RECIPES = ("school", "park")
READING_COLUMNS = [
    "reading_no",
    "external_id",
    "number",
    "quantity",
    "value",
    "unit",
    "instrument",
    "height_m",
    "resolution",
    "measured_on",
    "crew",
    "round_id",
    "first_guess",
    "first_entry",
    "parts",
    "rule",
    "note",
    "supersedes",
    "void",
    "reason",
]

INSPECTION_WORDS = [
    "area",
    "inspected_on",
    "level",
    "organisation",
    "qualification",
    "qualified",
    "leaf_on",
    "next_look_by",
]


class Sample:
    """One sample site: the truth, what was said of it, and its files."""

    def __init__(self, name: str) -> None:
        recipe = recipe_of(name)
        self.recipe_file = f"recipe_{name}.toml"
        self.recipe = recipe
        self.site = recipe["site"]
        self.trees: list[Tree] = grown(recipe)
        self.readings: list[Reading] = with_mistakes(Crews(recipe, self.trees).readings(), self.trees, recipe)

    @property
    def slug(self) -> str:
        """Short name of the site and of its folder."""
        return str(self.site["slug"])

    def files(self) -> dict[str, str]:
        """Name and text of every file of the folder."""
        return {
            "ORIGIN.md": origin(self),
            "site.toml": site_toml(self.site),
            "trees.csv": as_csv(TreeList(self.recipe, self.trees).rows()),
            "areas.geojson": shapes(self.recipe, "areas"),
            "targets.geojson": shapes(self.recipe, "targets"),
            "rounds.csv": as_csv(rounds(self.recipe)),
            "crews.csv": as_csv(crews(self.recipe)),
            "readings.csv": as_csv([reading_row(self.recipe, r) for r in self.readings]),
            "observations.csv": as_csv(observations(self)),
            "statuses.csv": as_csv(statuses(self)),
            "inspections.csv": as_csv(inspections(self)),
            "plan.toml": plan_toml(self.recipe),
        }


def as_csv(rows: list[Row]) -> str:
    """Rows as CSV with one header."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def site_toml(site: Recipe) -> str:
    """What the site agrees on."""
    words = (
        "slug",
        "name",
        "country",
        "breast_height_m",
        "units",
        "time_zone",
        "frame",
        "phone",
        "qualified",
    )
    lines = [f"{word} = {json.dumps(site[word], ensure_ascii=False)}" for word in words]
    return "\n".join([*lines, "invented = true", ""])


def plan_toml(recipe: Recipe) -> str:
    """Measuring days to come, as a manager asks for them."""
    said = dict(recipe["plan"])
    lon, lat = degrees(recipe, *said.pop("meeting"))
    said |= {"lon_deg": lon, "lat_deg": lat}
    return "\n".join([*(f"{word} = {json.dumps(cell)}" for word, cell in said.items()), ""])


def origin(made: Sample) -> str:
    """Where the files come from."""
    site, said = made.site, made.recipe["list"]
    size = f"{said['quantity']}_{said['unit']}"
    return f"""# Origin of {site["slug"]}

Everything here is invented: the ground, its trees, the readings, the crews, the inspections. No such place,
school, town, agency or firm is meant, and nobody was measured or asked. The ground lies at
{site["coordinates"]}; what really stands there has nothing to do with it.

- Made by `python -m sample_sites.generate` from `{made.recipe_file}`, seed {site["seed"]}; a test makes it
  again and compares every byte.
- Licence: Apache-2.0 like the rest of the repository, or CC0 1.0 if you prefer.
- Mistakes are meant: about one reading in sixteen is wrong in a way in which real crews go wrong, some are
  corrected, the tree list has misspelled and unknown names, doubled and missing tags, sizes of 0, trees
  without a position, stumps and vacant places. Which readings are wrong is written nowhere here.

Columns are the words of `layers/columns.py`. Besides them: `reading_no`, `observation_no` and
`inspection_no` number the records (`supersedes` names the reading that a row corrects), `external_id` is the
row of `trees.csv`, `record_kind` what the row is, `number` the trunk, `{size}` the size in the tree list,
`look_note` what was said of a whole inspection.
"""


def shapes(recipe: Recipe, kind: str) -> str:
    """Areas or targets as GeoJSON (RFC 7946), one feature a line."""
    lines = []
    for shape in recipe[kind]:
        properties = {word: shape[word] for word in ("name", "kind", "use") if word in shape}
        feature = {"type": "Feature", "properties": properties, "geometry": _geometry(recipe, shape)}
        lines.append(json.dumps(feature, ensure_ascii=False))
    return '{"type": "FeatureCollection", "features": [\n' + ",\n".join(lines) + "\n]}\n"


def _geometry(recipe: Recipe, shape: Recipe) -> dict[str, Any]:
    def place(corner: list[float]) -> list[float]:
        return list(degrees(recipe, *corner))

    if "point" in shape:
        return {"type": "Point", "coordinates": place(shape["point"])}
    if "line" in shape:
        return {"type": "LineString", "coordinates": [place(corner) for corner in shape["line"]]}
    ring = [place(corner) for corner in shape["ring"]]
    return {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}


def rounds(recipe: Recipe) -> list[Row]:
    """The measuring rounds."""
    words = ("id", "name", "from_on", "to_on", "instrument", "unit", "height_m")
    return [{word: given[word] for word in words} for given in recipe["rounds"]]


def crews(recipe: Recipe) -> list[Row]:
    """Who measured in which round: codes and kinds, never names."""
    kinds = {crew["code"]: crew["kind"] for crew in recipe["crews"]}
    return [
        {"round_id": given["id"], "code": code, "kind": kinds[code]}
        for given in recipe["rounds"]
        for code in given["crews"]
    ]


def reading_row(recipe: Recipe, reading: Reading) -> Row:
    """A reading as it was written down."""
    numbers = {
        word: "" if (number := getattr(reading, word)) is None else f"{number:g}"
        for word in ("height_m", "first_guess", "first_entry")
    }
    texts = {word: getattr(reading, word) or "" for word in ("parts", "rule", "note", "supersedes", "reason")}
    row = {
        "reading_no": reading.reading_no,
        "external_id": external_id(recipe, reading.tree),
        "number": reading.stem,
        "quantity": reading.quantity,
        "value": f"{reading.value:g}",
        "unit": reading.unit,
        "instrument": reading.instrument,
        "resolution": f"{reading.resolution:g}",
        "measured_on": reading.measured_on.isoformat(),
        "crew": reading.crew,
        "round_id": reading.round_id,
        "void": "true" if reading.void else "",
        **numbers,
        **texts,
    }
    return {word: row[word] for word in READING_COLUMNS}


def observations(made: Sample) -> list[Row]:
    """Heights, crowns and what crews saw, in the order of days."""
    dice = Dice(made.site["seed"], "observations")
    rows: list[Row] = []
    sights = made.recipe["sights"]
    for what, share, size, error, method in (
        ("height", sights["heights_share"], Tree.height_m, 0.06, "clinometer and tape"),
        ("crown diameter", sights["crowns_share"], Tree.crown_m, 0.08, "two tape lengths on the ground"),
    ):
        rows += [
            _measured(made, tree, what, size, error, method, dice)
            for tree in made.trees
            if dice.chance(share)
        ]
    for seen in sights["seen"]:
        for tree in dice.some(made.trees, seen["trees"]):
            crew, day, round_id = _visit(made, tree, dice)
            rows.append(
                _observation(
                    made, tree, crew, day, round_id, what=seen["what"], text=dice.pick(seen["texts"])
                )
            )
    rows = [row for row in rows if row["observed_on"]]
    rows.sort(key=lambda row: (row["observed_on"], row["external_id"], row["what"]))
    return [{"observation_no": f"o-{i + 1:04d}", **row} for i, row in enumerate(rows)]


def _measured(
    made: Sample,
    tree: Tree,
    what: str,
    size: Callable[[Tree, dt.date], float],
    error: float,
    method: str,
    dice: Dice,
) -> Row:
    crew, day, round_id = _visit(made, tree, dice)
    value = size(tree, dt.date.fromisoformat(day)) * (1.0 + dice.normal(0.0, error)) if day else 0.0
    said = f"{max(value, 1.0):.1f}"
    return _observation(made, tree, crew, day, round_id, what=what, value=said, unit="m", method=method)


def _visit(made: Sample, tree: Tree, dice: Dice) -> tuple[str, str, str]:
    """A day on which a crew stood at the tree; empty where none ever did."""
    visits = [r for r in made.readings if r.tree == tree.number and r.supersedes is None]
    if not visits:
        return "", "", ""
    visit = dice.pick(visits)
    return visit.crew, visit.measured_on.isoformat(), visit.round_id


def _observation(made: Sample, tree: Tree, crew: str, day: str, round_id: str, **said: str) -> Row:
    words = ("what", "value", "unit", "text", "method")
    row: Row = {"external_id": external_id(made.recipe, tree.number)}
    row |= {word: said.get(word, "") for word in words}
    return row | {"observed_on": day, "crew": crew, "round_id": round_id}


def statuses(made: Sample) -> list[Row]:
    """Trees that died or were taken out after the list was made, as the manager settled it."""
    lost = [tree for tree in made.trees if tree.lost is not None and "listed" not in tree.lost]
    rows = []
    for tree in sorted(lost, key=lambda t: (t.lost or {})["on"]):
        what = tree.lost or {}
        rows.append(
            {
                "external_id": external_id(made.recipe, tree.number),
                "subject": "tree",
                "status": what["status"],
                "happened_on": what["on"].isoformat(),
                "as_said": what["as_said"],
            }
        )
    return rows


def inspections(made: Sample) -> list[Row]:
    """What qualified people looked at, one row a tree."""
    dice = Dice(made.site["seed"], "inspections")
    shared = INSPECTION_WORDS
    rows: list[Row] = []
    for number, look in enumerate(made.recipe["inspections"]):
        day = dt.date.fromisoformat(look["inspected_on"])
        there = [tree for tree in made.trees if tree.area == look["area"] and tree.stands(day)]
        chosen = dice.some(there, len(look["recorded"]) + look["not_reached"])
        notes = {t.number: ("recorded", note) for t, note in zip(chosen, look["recorded"], strict=False)}
        for tree in chosen[len(look["recorded"]) :]:
            notes[tree.number] = ("not reached", "foot hidden by ivy or hedge, could not be seen")
        for tree in there:
            answer, note = notes.get(tree.number, ("nothing recorded", ""))
            rows.append(
                {"inspection_no": f"i-{number + 1}"}
                | {word: str(look[word]).lower() if word == "qualified" else look[word] for word in shared}
                | {"look_note": look["note"], "external_id": external_id(made.recipe, tree.number)}
                | {"answer": answer, "note": note}
            )
    return rows


def write(name: str, folder: Path) -> None:
    """Write a sample site into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for file_name, text in Sample(name).files().items():
        (folder / file_name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    for recipe_name in RECIPES:
        write(recipe_name, HERE / recipe_of(recipe_name)["site"]["slug"])
