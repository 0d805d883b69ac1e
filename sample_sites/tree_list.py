"""The tree list of a sample site as somebody typed it: misspelled, incomplete, with stumps and gaps."""

import datetime as dt
import math
from typing import Any

from sample_sites.growing import Dice, Recipe, Tree
from sample_sites.measuring import CM_PER, OWN_CM, stepped

FT_M = 0.3048
UNKNOWN = ("unknown", "?", "Prunus sp.", "Salix sp.", "not known", "conifer")
STUMP, VACANT = "stump", "vacant"

# WGS 84: semi-major axis [m] and squared eccentricity.
AXIS_M, ECCENTRICITY_2 = 6378137.0, 0.00669437999014

Row = dict[str, Any]


def degrees(recipe: Recipe, x_m: float, y_m: float) -> tuple[float, float]:
    """Longitude and latitude of a point of the invented ground [deg], by the radii of curvature there."""
    lon, lat = recipe["site"]["lon_deg"], recipe["site"]["lat_deg"]
    sin_2 = math.sin(math.radians(lat)) ** 2
    across = AXIS_M / math.sqrt(1.0 - ECCENTRICITY_2 * sin_2)
    along = across * (1.0 - ECCENTRICITY_2) / (1.0 - ECCENTRICITY_2 * sin_2)
    east = math.degrees(x_m / (across * math.cos(math.radians(lat))))
    return round(lon + east, 7), round(lat + math.degrees(y_m / along), 7)


def external_id(recipe: Recipe, number: int) -> str:
    """What the list calls a row, unique in it."""
    return f"{'S' if recipe['site']['units'] == 'metric' else 'P'}-{number:04d}"


class TreeList:
    """Makes the rows of the tree list."""

    def __init__(self, recipe: Recipe, trees: list[Tree]) -> None:
        self.recipe = recipe
        self.said = recipe["list"]
        self.trees = trees
        self.dice = Dice(recipe["site"]["seed"], "list")
        self.day = dt.date.fromisoformat(self.said["listed_on"])
        us = recipe["site"]["units"] == "us"
        self.size_header = f"{self.said['quantity']}_{self.said['unit']}"
        self.length = "ft" if us else "m"
        self.length_m = FT_M if us else 1.0
        draw = self._draw
        self.misspelled, self.unknown = draw("misspelled"), draw("unknown_names")
        self.untagged, self.unplaced = draw("without_tag"), draw("without_position")
        self.doubled, self.others = draw("duplicate_tags"), draw("not_ours")
        self.zero = draw("zeros", [tree for tree in trees if len(tree.stems) == 1 and tree.is_reached])

    def _draw(self, what: str, among: list[Tree] | None = None) -> set[int]:
        return {tree.number for tree in self.dice.some(among or self.trees, self.said[what])}

    def rows(self) -> list[Row]:
        """Every row of the list: trees in the order in which they were walked, then stumps and gaps."""
        rows = [self._row(tree) for tree in self.trees]
        for number in sorted(self.doubled):
            rows[number % len(rows)]["tag"] = rows[number - 1]["tag"]
        areas = [a for a in self.recipe["areas"] if a.get("trees")]
        for name, count in ((STUMP, self.said["stumps"]), (VACANT, self.said["vacant"])):
            for _ in range(count):
                rows.append(self._gap(name, self.dice.pick(areas), len(rows) + 1))
        return rows

    def _row(self, tree: Tree) -> Row:
        unplaced = tree.number in self.unplaced
        spread = 0.8 if tree.mix != "wood" else 2.0
        x, y = tree.x_m + self.dice.normal(0, spread / 2), tree.y_m + self.dice.normal(0, spread / 2)
        lon, lat = degrees(self.recipe, x, y)
        dead = tree.lost is not None and tree.lost.get("listed", False)
        young = self.day - tree.planted < dt.timedelta(days=25 * 365) and tree.mix != "wood"
        return {
            "external_id": external_id(self.recipe, tree.number),
            "tag": "" if tree.number in self.untagged else str(100 + tree.number),
            "record_kind": "tree",
            "scientific_name": self._name(tree),
            "common_name": "" if tree.number in self.unknown or self.dice.chance(0.1) else tree.kind.common,
            "place": tree.area,
            "status": "dead" if dead else ("" if self.dice.chance(0.02) else "living"),
            self.size_header: self._size(tree),
            "measured_on": self.day.isoformat(),
            f"height_{self.length}": self._length(tree.height_m(self.day), 0.07) if self._some(0.3) else "",
            f"crown_diameter_{self.length}": self._length(tree.crown_m(self.day), 0.1)
            if self._some(0.25)
            else "",
            "planted_on": tree.planted.isoformat() if young and self._some(0.6) else "",
            "keeper": "not ours" if tree.number in self.others else "ours",
            "position_accuracy_m": "" if unplaced else f"{spread:g}",
            "lon_deg": "" if unplaced else f"{lon:.7f}",
            "lat_deg": "" if unplaced else f"{lat:.7f}",
            "remark": self._remark(tree),
        }

    def _some(self, share: float) -> bool:
        return self.dice.chance(share)

    def _length(self, metres: float, error: float) -> str:
        said = metres * (1.0 + self.dice.normal(0, error)) / self.length_m
        return f"{stepped(max(said, 1.0), 0.5 if self.length == 'm' else 1.0):g}"

    def _name(self, tree: Tree) -> str:
        kind = tree.kind
        if tree.number in self.unknown:
            return self.dice.pick(UNKNOWN)
        if tree.number in self.misspelled:
            return kind.wrong
        ways = (kind.name, kind.name.upper(), kind.common, f"{kind.name.split()[0]} sp.", f"{kind.name} ")
        return self.dice.weighted(ways, (0.92, 0.02, 0.03, 0.015, 0.015))

    def _size(self, tree: Tree) -> str:
        if tree.number in self.zero:
            return "0"
        if not tree.is_reached:
            return ""
        if len(tree.stems) == 1 and not self.dice.chance(self.said["sized_share"]):
            return ""
        said = []
        for stem in range(len(tree.stems)):
            truth = tree.dbh_cm(stem, self.day)
            own = max(OWN_CM[self.said["kind"]], 0.015 * truth)
            seen = max(1.0, truth + self.dice.normal(0, own)) / CM_PER[self.said["unit"]]
            size = seen * (math.pi if self.said["quantity"] == "girth" else 1.0)
            said.append(f"{stepped(size, self.said['resolution']):g}")
        return "/".join(said)

    def _remark(self, tree: Tree) -> str:
        if not tree.is_reached:
            return "behind the fence, not measured"
        if tree.ivy_cm:
            return "ivy"
        if len(tree.stems) > 1:
            return "two trunks" if len(tree.stems) == 2 else "three trunks"
        return self.dice.pick(
            ("", "", "", "", "", "", "", "", "", "mower scar at the foot", "stake still on")
        )

    def _gap(self, name: str, area: Recipe, number: int) -> Row:
        ring = area["ring"]
        x, y = (sum(corner[i] for corner in ring) / len(ring) + self.dice.normal(0, 6) for i in (0, 1))
        lon, lat = degrees(self.recipe, x, y)
        blank: Row = dict.fromkeys(self._row(self.trees[0]), "")
        return blank | {
            "external_id": external_id(self.recipe, number),
            "record_kind": name,
            "place": area["name"],
            "lon_deg": f"{lon:.7f}",
            "lat_deg": f"{lat:.7f}",
        }
