"""In which coordinate system positions are: as said, or the one that makes sense of them."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

from service.errors import Ask, InvalidRequest
from service.intake.prepared import Guess, SiteFacts

WGS84 = "EPSG:4326"
WGS84_WORDS = "WGS84 (EPSG:4326)"
LOCAL = "local"
NEAR_DEG = 1.0  # a file lies near the site when it is within so many degrees of its box
CLEAR_LEAD = 4.0  # a candidate must be so many times as likely as the next
_MATCH, _OTHER = 4.0, 0.5
_REGIONS: dict[str, tuple[tuple[float, float, float, float], ...]] = {  # where lists are in a language [deg]
    "de": ((5.5, 45.5, 17.5, 55.2),),
    "it": ((6.0, 35.0, 19.0, 47.3),),
    "nl": ((2.5, 49.4, 7.3, 53.7),),
    "fr": ((-5.5, 41.0, 10.0, 51.6), (-80.0, 44.0, -57.0, 63.0)),
    "es": ((-18.5, 27.5, 4.5, 44.0), (-118.0, -56.0, -34.0, 33.0)),
    "pt": ((-31.5, 32.0, -6.0, 42.2), (-74.0, -34.0, -34.0, 6.0)),
    "en": (
        (-11.0, 49.8, 2.0, 61.0),
        (-170.0, 18.0, -52.0, 72.0),
        (112.0, -44.0, 154.5, -10.0),
        (166.0, -47.5, 174.5, -40.3),
        (172.5, -41.8, 178.8, -34.2),
    ),
}

# EPSG code: how common in tree lists (assumption), languages of the lists
_CANDIDATES: dict[int, tuple[float, str]] = {
    25831: (0.6, "es fr nl"),
    25832: (1.0, "de it nl"),
    25833: (0.6, "de it"),
    25829: (0.4, "es pt"),
    25830: (0.8, "es fr"),
    31466: (0.6, "de"),
    31467: (0.8, "de"),
    31468: (0.8, "de"),
    31469: (0.6, "de"),
    31254: (0.4, "de"),
    31255: (0.4, "de"),
    31256: (0.6, "de"),
    31257: (0.3, "de"),
    31258: (0.3, "de"),
    31259: (0.3, "de"),
    31287: (0.4, "de"),
    2056: (1.0, "de fr it"),
    21781: (0.8, "de fr it"),
    2154: (1.0, "fr"),
    27572: (0.4, "fr"),
    **dict.fromkeys(range(3942, 3951), (0.5, "fr")),
    3003: (1.0, "it"),
    3004: (0.8, "it"),
    28992: (1.0, "nl"),
    31370: (0.8, "nl fr"),
    3812: (0.5, "nl fr"),
    3763: (0.9, "pt"),
    27700: (1.0, "en"),
    2157: (0.5, "en"),
    29903: (0.3, "en"),
    2180: (0.5, "pl"),
    3006: (0.5, "sv"),
    3067: (0.5, "fi"),
    3035: (0.2, ""),
    3857: (0.3, ""),
    **dict.fromkeys(range(26907, 26921), (0.3, "en")),
    **dict.fromkeys(range(32607, 32622), (0.3, "en es pt")),
    **dict.fromkeys(range(31978, 31986), (0.2, "es pt")),
    3005: (0.3, "en"),
    2193: (0.5, "en"),
    **dict.fromkeys(range(7849, 7857), (0.3, "en")),
    **dict.fromkeys(range(28349, 28357), (0.2, "en")),
}


@dataclass(frozen=True)
class Candidate:
    """A system that would put the positions where it is used: code, weight [-], where that is."""

    code: int
    weight: float
    where: str
    middle: tuple[float, float]


@lru_cache(maxsize=256)
def system(code: str) -> CRS:
    """Return a coordinate system of the plane or the globe by its code.

    Raises
    ------
    InvalidRequest
        If there is none of that code, or positions on a map cannot be in it.
    """
    try:
        crs = CRS.from_user_input(code.strip().upper())
    except CRSError as wrong:
        raise InvalidRequest(
            [("--crs", f"There is no coordinate system {code!r}; say EPSG:n with its number, or local.")]
        ) from wrong
    if not (crs.is_geographic or crs.is_projected):
        raise InvalidRequest([("--crs", f"{code} ({crs.name}) is no system of positions on a map.")])
    return crs


def code_of(said: str) -> str:
    """Return a code as EPSG:n, or ``local``.

    Raises
    ------
    InvalidRequest
        If it is neither.
    """
    text = said.strip()
    if text.casefold() == LOCAL:
        return LOCAL
    if text.upper() in ("WGS84", "CRS84", "OGC:CRS84"):
        return WGS84
    number = text.upper().removeprefix("EPSG:").strip()
    if not (number.isascii() and number.isdigit() and len(number) <= 6):
        raise InvalidRequest([("--crs", f"{said!r} is no coordinate system; say EPSG:n or local.")])
    system(f"EPSG:{number}")
    return f"EPSG:{number}"


@lru_cache(maxsize=256)
def _transformer(code: str) -> Transformer:
    return Transformer.from_crs(system(code), WGS84, always_xy=True)


def to_wgs84(code: str, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return longitude and latitude [deg] of coordinates; NaN where they have none.

    Raises
    ------
    InvalidRequest
        If the system has no way to WGS84.
    """
    if code == WGS84:
        return x, y
    try:
        lon, lat = _transformer(code).transform(x, y)
    except ProjError as wrong:
        raise InvalidRequest([("--crs", f"{code} cannot be turned into WGS84.")]) from wrong
    lon, lat = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
    bad = ~(np.isfinite(lon) & np.isfinite(lat))
    return np.where(bad, np.nan, lon), np.where(bad, np.nan, lat)


def guessed(
    x: np.ndarray, y: np.ndarray, site: SiteFacts, speaks: str | None, *, named_degrees: bool
) -> tuple[str, Guess]:
    """Return the system of coordinates of a file that names none, and the guess.

    Raises
    ------
    Ask
        If several systems are about equally likely.
    """
    if site.frame == LOCAL and not named_degrees:
        return LOCAL, Guess("crs", LOCAL, "The site has no place on earth; its ground is in metres.", 0.9)
    ends = _ends(x, y)
    if named_degrees and np.mean((np.abs(x) <= 180) & (np.abs(y) <= 90)) > 0.5:
        return _degrees(x, y, ends, named_degrees=True)
    if _mostly(np.abs(x) <= 180) and _mostly(np.abs(y) <= 90):
        return _degrees(x, y, ends, named_degrees=named_degrees)
    if _mostly(np.abs(x) <= 90) and _mostly(np.abs(y) <= 180) and (named_degrees or _spread(x, y) < 2):
        return WGS84, Guess("crs", WGS84_WORDS, f"Both are degrees: {ends}.", 0.9)
    if max(np.abs(x).max(), np.abs(y).max()) < 10_000:
        raise Ask(
            "--crs", [LOCAL, "EPSG:n"], f"The positions look like metres on a ground of its own: {ends}."
        )
    return _projected(x, y, site, speaks, ends)


def _degrees(x: np.ndarray, y: np.ndarray, ends: str, *, named_degrees: bool) -> tuple[str, Guess]:
    if named_degrees:
        return WGS84, Guess("crs", WGS84_WORDS, f"The headers name longitude and latitude, and {ends}.", 0.99)
    if _spread(x, y) >= 2:
        raise Ask(
            "--crs",
            [WGS84, LOCAL],
            f"The positions may be degrees or metres on a ground of its own: {ends}.",
        )
    return WGS84, Guess("crs", WGS84_WORDS, f"The values are degrees close together: {ends}.", 0.97)


def _spread(x: np.ndarray, y: np.ndarray) -> float:
    return max(float(np.quantile(v, 0.95) - np.quantile(v, 0.05)) for v in (x, y))


def _mostly(fits: np.ndarray) -> bool:
    return bool(np.mean(fits) >= 0.95)


def _ends(x: np.ndarray, y: np.ndarray) -> str:
    return (
        f"x runs from {_short(x.min())} to {_short(x.max())}, y from {_short(y.min())} to {_short(y.max())}"
    )


def _short(value: float) -> str:
    return f"{value / 1e6:.2f} million" if 1e6 <= abs(value) < 1e9 else f"{value:.6g}"


def candidates(x: np.ndarray, y: np.ndarray, site: SiteFacts, speaks: str | None) -> list[Candidate]:
    """Return the systems that would put the positions inside the area they are used in, likeliest first."""
    step = max(1, len(x) // 200)
    found = []
    for code, (prior, languages) in _CANDIDATES.items():
        lon, lat = to_wgs84(f"EPSG:{code}", x[::step], y[::step])
        use = system(f"EPSG:{code}").area_of_use
        inside = (lon >= use.west) & (lon <= use.east) & (lat >= use.south) & (lat <= use.north)
        if np.mean(inside) < 0.9:
            continue
        middle = (float(np.nanmedian(lon)), float(np.nanmedian(lat)))
        weight = prior * _by_language(speaks, languages, middle)
        if site.box is not None:
            weight *= 50.0 if near(middle, site.box, NEAR_DEG) else 0.02
        found.append(Candidate(code, weight, use.name, middle))
    return sorted(found, key=lambda c: -c.weight)


def _by_language(speaks: str | None, languages: str, middle: tuple[float, float]) -> float:
    """Return how much likelier a system is for the language of the headers, where that is spoken [-]."""
    if not languages:  # used all over the world: is it where lists are?
        spoken = any(near(middle, region, 0.0) for regions in _REGIONS.values() for region in regions)
        return 1.0 if spoken else _OTHER
    if speaks is None:
        return 1.0
    spoken = any(near(middle, region, 0.0) for region in _REGIONS[speaks])
    return _MATCH if spoken and speaks in languages.split() else _OTHER


def near(point: tuple[float, float], box: tuple[float, float, float, float], by: float) -> bool:
    """Return whether a point (lon, lat) lies in a box widened by so many degrees."""
    west, south, east, north = box
    return west - by <= point[0] <= east + by and south - by <= point[1] <= north + by


def _projected(
    x: np.ndarray, y: np.ndarray, site: SiteFacts, speaks: str | None, ends: str
) -> tuple[str, Guess]:
    found = candidates(x, y, site, speaks)
    if not found:
        raise Ask("--crs", ["EPSG:n", LOCAL], f"No coordinate system that is tried here fits: {ends}.")
    best, others = found[0], [c for c in found[1:] if not _same_place(c, found[0])]
    if others and best.weight < CLEAR_LEAD * others[0].weight:
        choices = [f"EPSG:{c.code}" for c in [best, *others][:4]]
        raise Ask("--crs", choices, f"Several coordinate systems make sense of the positions: {ends}.")
    name = system(f"EPSG:{best.code}").name
    why = (
        f"{ends[0].upper()}{ends[1:]} m: read as {name} the trees stand in its area ({_country(best.where)})"
    )
    if speaks in _CANDIDATES[best.code][1].split():
        why += ", and the headers are in a language spoken there"
    total = best.weight + sum(c.weight for c in others)
    return f"EPSG:{best.code}", Guess(
        "crs", f"EPSG:{best.code}", f"{why}.", round(0.97 * best.weight / total, 2)
    )


def _country(where: str) -> str:
    return where.split(" - ")[0].split(":")[0].rstrip(".")


def _same_place(a: Candidate, b: Candidate) -> bool:
    return abs(a.middle[0] - b.middle[0]) < 2e-4 and abs(a.middle[1] - b.middle[1]) < 2e-4


def require_in_area(code: str, lon: np.ndarray, lat: np.ndarray) -> None:
    """Check that positions lie about where a system is used.

    Raises
    ------
    InvalidRequest
        If most of them do not: the system cannot be the one of the file.
    """
    if code in (WGS84, LOCAL) or len(lon) == 0:
        return
    use = system(code).area_of_use
    if use is None:
        return
    box = (use.west, use.south, use.east, use.north)
    inside = [near((a, b), box, 2.0) for a, b in zip(lon, lat, strict=True)]
    if np.mean(inside) < 0.5:
        raise InvalidRequest(
            [
                (
                    "--crs",
                    f"The positions cannot be in {code}: it is used in {use.name.rstrip('.')}, "
                    "and most of them would lie elsewhere. Say the right one.",
                )
            ]
        )


def require_no_degrees(code: str, x: np.ndarray, y: np.ndarray) -> None:
    """Check that coordinates said to be metres are not plainly degrees.

    Raises
    ------
    InvalidRequest
        If nearly all of them could be longitude and latitude, and the system is one of metres.
    """
    if code in (WGS84, LOCAL) or len(x) == 0 or system(code).is_geographic:
        return
    if _mostly(np.abs(x) <= 180) and _mostly(np.abs(y) <= 180):
        raise InvalidRequest(
            [
                (
                    "--crs",
                    f"The positions are degrees and cannot be in {code}: {_ends(x, y)}. "
                    f"Say {WGS84} or leave it out.",
                )
            ]
        )


def require_frame(code: str, site: SiteFacts) -> None:
    """Check that a site has a place for positions of a system.

    Raises
    ------
    InvalidRequest
        If the site has no place on earth and the positions have, or the other way round.
    """
    if code != LOCAL and site.frame == LOCAL:
        raise InvalidRequest(
            [("--crs", "The site has no place on earth yet; say --crs local, or anchor the site first.")]
        )
    if code == LOCAL and site.frame == "earth" and site.box is not None:
        raise InvalidRequest(
            [
                (
                    "--crs",
                    "The site has a place on earth; metres of a local ground go into a site of their own.",
                )
            ]
        )
