"""Where the rows stand: coordinates as numbers, in the frame of the site, and which of them to question."""

import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from service.errors import InvalidRequest
from service.intake import cells, degrees, guess_crs, unread_positions
from service.intake.bounded_shapes import from_wkt
from service.intake.guess_columns import Columns
from service.intake.prepared import Guess, ImportOptions, Question, SiteFacts
from service.intake.source_table import SourceTable

FAR_KM = 50.0  # a tree so far [km] from the ground or from the bulk of its file is questioned (assumption)
FAR_TIMES = 10.0  # and so many times as far as nine in ten of its file
_EARTH_KM = 6371.0


@dataclass
class Positions:
    """Coordinates of rows: longitude and latitude [deg], or metres of a local ground; NaN where missing."""

    first: np.ndarray
    second: np.ndarray
    local: bool = False
    code: str = ""
    source: str | None = None
    questions: dict[int, Question] = field(default_factory=dict)

    def any(self) -> bool:
        """Return whether any row has a position."""
        return bool(np.isfinite(self.first).any())


def _none(count: int) -> Positions:
    return Positions(np.full(count, np.nan), np.full(count, np.nan))


def positions(
    table: SourceTable,
    columns: Columns,
    options: ImportOptions,
    site: SiteFacts,
    speaks: str | None,
    guesses: list[Guess],
) -> Positions:
    """Return where the rows of a table of trees stand.

    Raises
    ------
    Ask
        If several coordinate systems are about equally likely.
    InvalidRequest
        If the coordinate system cannot be that of the file, or the site has no place for it.
    """
    questions: dict[int, Question] = {}
    x, y, named_degrees, said = as_written(table, columns, questions)
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        guesses += unread_positions.told(table, columns)
        return Positions(x, y, questions=questions)
    said = guess_crs.code_of(options.crs) if options.crs else said
    if said is None:
        telling = known & ~((x == 0) & (y == 0))  # nothing stands there on earth: it says nothing
        telling = telling if telling.any() else known
        said, guess = guess_crs.guessed(x[telling], y[telling], site, speaks, named_degrees=named_degrees)
        guesses.append(guess)
    guess_crs.require_frame(said, site)
    if said == guess_crs.LOCAL:
        placed = Positions(x, y, local=True, code=said, source="file", questions=questions)
        _question_far(placed, None)
        return placed
    return _on_earth(x, y, said, options, site, questions, guesses)


def _on_earth(
    x: np.ndarray,
    y: np.ndarray,
    said: str,
    options: ImportOptions,
    site: SiteFacts,
    questions: dict[int, Question],
    guesses: list[Guess],
) -> Positions:
    known = np.isfinite(x) & np.isfinite(y)
    if said == guess_crs.WGS84 and _swapped_file(x[known], y[known], site):
        x, y = y, x
        why = "As written the latitudes cannot be, or lie far from the site; exchanged they fit."
        guesses.append(Guess("coordinates", "latitude and longitude exchanged", why, 0.9))
    x, y = _without_origin(x, y, guesses)
    known = np.isfinite(x) & np.isfinite(y)
    guess_crs.require_no_degrees(said, x[known], y[known])
    lon, lat = guess_crs.to_wgs84(said, x, y)
    known = np.isfinite(lon) & np.isfinite(lat)
    guess_crs.require_in_area(said, lon[known], lat[known])
    placed = Positions(lon, lat, code=said, source="file", questions=questions)
    _impossible(placed, x, y)
    _require_near(placed, options, site)
    _question_swapped(placed, site)
    _question_far(placed, site.box)
    return placed


def as_written(
    table: SourceTable, columns: Columns, questions: dict[int, Question]
) -> tuple[np.ndarray, np.ndarray, bool, str | None]:
    """Return x and y as the file has them, whether its words say degrees, and the system it names."""
    single = columns.single
    if table.geometry is not None and _has_points(table.geometry):  # in the system that the file names
        return *_points(table.geometry, questions), False, table.crs
    for first, second in (("lon", "lat"), ("x", "y")):
        if first in single and second in single:
            x, angles_x = _numbers(table, single[first], "lon", questions)
            y, angles_y = _numbers(table, single[second], "lat", questions)
            half = np.isfinite(x) != np.isfinite(y)
            for row in np.flatnonzero(half):
                questions.setdefault(int(row), Question("position", "Only one of two coordinates is given."))
            named_degrees = first == "lon" or angles_x or angles_y
            return np.where(half, np.nan, x), np.where(half, np.nan, y), named_degrees, table.crs
    if "point" in single:
        return *_pairs(table, single["point"], questions), True, None
    shapes: list[Any] | None = table.geometry
    said = table.crs
    if "geometry" in single:
        shapes, said = _words(table, single["geometry"], questions)
    if shapes is None:
        nothing = np.full(len(table.rows), np.nan)
        return nothing, nothing.copy(), False, None
    return *_points(shapes, questions), False, said


def _numbers(
    table: SourceTable, header: str, axis: str, questions: dict[int, Question]
) -> tuple[np.ndarray, bool]:
    """Return the numbers of a column of coordinates, and whether any is written with letters or minutes."""
    column = table.column(header)
    comma = cells.decimal_comma(column, by_default=table.decimal_comma)
    out = np.full(len(column), np.nan)
    any_angle = False
    for row, cell in enumerate(column):
        if not cell or cells.is_missing(cell):
            continue
        value = cells.number(cell, comma=comma)
        angle = degrees.angle(cell) if value is None else None
        if angle is not None and angle.axis in (None, axis):
            value, any_angle = angle.value, True
        if value is not None:
            out[row] = value
        elif angle is not None:
            other = "longitude" if angle.axis == "lon" else "latitude"
            detail = f"{cell[:40]!r} is a {other} in the column of the other; no position was taken."
            questions[row] = Question("position", detail, header)
        else:
            questions[row] = Question("position", f"{cell[:40]!r} is no coordinate.", header)
    return out, any_angle


def _pairs(table: SourceTable, header: str, questions: dict[int, Question]) -> tuple[np.ndarray, np.ndarray]:
    lat, lon = (np.full(len(table.rows), np.nan) for _ in range(2))
    for row, cell in enumerate(table.column(header)):
        lettered = degrees.pair(cell)
        numbers = re.findall(r"[-+]?[0-9]{1,3}(?:\.[0-9]{1,17})?", cell)
        if lettered is not None:
            lon[row], lat[row] = lettered
        elif len(numbers) == 2 and not re.search(r"[^\W\d_]|[°º'′\"″]", cell):
            lat[row], lon[row] = float(numbers[0]), float(numbers[1])
        elif not cells.is_missing(cell):
            questions[row] = Question("position", f"{cell[:40]!r} is no pair of coordinates.", header)
    return lon, lat


def _words(table: SourceTable, header: str, questions: dict[int, Question]) -> tuple[list[Any], str | None]:
    shapes: list[Any] = []
    said = None
    for row, cell in enumerate(table.column(header)):
        shape, fault, code = from_wkt(cell)
        shapes.append(shape)
        said = code or said
        if fault:
            questions[row] = Question("position", fault, header)
    return shapes, said


def _has_points(shapes: list[Any]) -> bool:
    return bool(np.isin(shapely.get_type_id(np.array(shapes, dtype=object)), (0, 4)).any())


def _points(shapes: list[Any], questions: dict[int, Question]) -> tuple[np.ndarray, np.ndarray]:
    array = np.array(shapes, dtype=object)
    kinds = shapely.get_type_id(array)
    single_part = (kinds == 4) & (shapely.get_num_geometries(array) == 1)
    array = np.where(single_part, shapely.get_geometry(array, 0), array)
    kinds = shapely.get_type_id(array)
    for row in np.flatnonzero(kinds > 0):
        questions[int(row)] = Question("position", "A tree stands at one point; this row has another shape.")
    array[kinds != 0] = None
    return shapely.get_x(array), shapely.get_y(array)


def _swapped_file(x: np.ndarray, y: np.ndarray, site: SiteFacts) -> bool:
    if np.mean((np.abs(y) > 90) & (np.abs(x) <= 90)) > 0.5:
        return True
    if site.box is None:
        return False
    here = (float(np.median(x)), float(np.median(y)))
    return not guess_crs.near(here, site.box, 1.0) and guess_crs.near(here[::-1], site.box, 1.0)


def _without_origin(x: np.ndarray, y: np.ndarray, guesses: list[Guess]) -> tuple[np.ndarray, np.ndarray]:
    origin = (x == 0) & (y == 0)
    if origin.any():
        why = "Both coordinates are exactly 0, which no tree has: the position is missing."
        guesses.append(Guess("position", f"missing in {int(origin.sum())} rows", why, 0.98))
    return np.where(origin, np.nan, x), np.where(origin, np.nan, y)


def _impossible(placed: Positions, x: np.ndarray, y: np.ndarray) -> None:
    given = np.isfinite(x) & np.isfinite(y)
    fits = (np.abs(placed.first) <= 180) & (np.abs(placed.second) <= 90)
    for row in np.flatnonzero(given & ~fits):
        detail = (
            f"The coordinates {x[row]:.10g}, {y[row]:.10g} cannot be in {placed.code}; no position was taken."
        )
        placed.questions[int(row)] = Question("position", detail)
    placed.first = np.where(given & fits, placed.first, np.nan)
    placed.second = np.where(given & fits, placed.second, np.nan)


def _km(lon: Any, lat: Any, lon_0: Any, lat_0: Any) -> np.ndarray:
    a, b, c, d = (np.radians(v) for v in (lon, lat, lon_0, lat_0))
    h = np.sin((b - d) / 2) ** 2 + np.cos(b) * np.cos(d) * np.sin((a - c) / 2) ** 2
    return np.asarray(2 * _EARTH_KM * np.arcsin(np.sqrt(np.clip(h, 0, 1))))


def km_from_box(lon: Any, lat: Any, box: tuple[float, float, float, float]) -> np.ndarray:
    """Return how far [km] positions lie outside a box of west, south, east, north [deg]."""
    return _km(lon, lat, np.clip(lon, box[0], box[2]), np.clip(lat, box[1], box[3]))


def _require_near(placed: Positions, options: ImportOptions, site: SiteFacts) -> None:
    if site.box is None or options.crs or not placed.any():
        return
    here = np.nanmedian(placed.first), np.nanmedian(placed.second)
    away = float(km_from_box(*here, site.box))
    if away > FAR_KM:
        raise InvalidRequest(
            [
                (
                    "--site",
                    f"The positions lie about {away:,.0f} km from what stands on this site. Import the "
                    "file into a site of its own, or say its coordinate system with --crs.",
                )
            ]
        )


def _question_swapped(placed: Positions, site: SiteFacts) -> None:
    if not placed.any():
        return
    here = np.nanmedian(placed.first), np.nanmedian(placed.second)
    if placed.code != guess_crs.WGS84 or abs(here[0] - here[1]) < 1:
        return
    lon, lat = placed.first, placed.second
    far = _km(lon, lat, *here) > FAR_KM
    back = far & (_km(lat, lon, *here) < FAR_KM)
    for row in np.flatnonzero(back):
        detail = (
            f"Longitude {lon[row]:.10g} and latitude {lat[row]:.10g} look exchanged: the other way round the "
            "tree would stand among the others. No position was taken; correct the file or place the tree."
        )
        placed.questions[int(row)] = Question("swapped", detail)
    placed.first = np.where(back, np.nan, lon)
    placed.second = np.where(back, np.nan, lat)


def _question_far(placed: Positions, box: tuple[float, float, float, float] | None) -> None:
    for row, away in far_from_others(placed.first, placed.second, local=placed.local).items():
        near_site = box is not None and km_from_box(placed.first[row], placed.second[row], box) <= FAR_KM
        if placed.local or not near_site:
            detail = f"The position lies {away:,.0f} km from the middle of the other rows."
            placed.questions.setdefault(row, Question("far_off", detail))


def far_from_others(first: np.ndarray, second: np.ndarray, *, local: bool = False) -> dict[int, float]:
    """Return the rows far from the middle of the others, and how far [km].

    Positions are longitude and latitude [deg], or metres of a local ground; rows without one are NaN.
    """
    if not np.isfinite(first).any():
        return {}
    here = np.nanmedian(first), np.nanmedian(second)
    plane = np.hypot(first - here[0], second - here[1]) / 1000.0
    away = plane if local else _km(first, second, *here)
    limit = max(FAR_KM, FAR_TIMES * float(np.nanquantile(away, 0.9, method="lower")))
    return {int(row): float(away[row]) for row in np.flatnonzero(away > limit)}
