"""GeoJSON (RFC 7946) to the common table, without the library that reads every format and follows links."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import orjson
import shapely

from service.errors import InvalidRequest, Unreadable
from service.intake.bounded_shapes import from_geojson, set_points
from service.intake.guess_crs import WGS84, code_of
from service.intake.prepared import Guess
from service.intake.source_table import SourceTable

MAX_BYTES = 160 << 20
MAX_COLUMNS = 2_000
FEATURE_ID = "feature id"
_EXPORT_AGAIN = "Export the list as a FeatureCollection of features, or as CSV."
_GEOMETRIES = ("Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon")


def read_geojson(path: Path) -> SourceTable:
    """Return the table of a GeoJSON file: a row for each feature.

    Raises
    ------
    Unreadable
        If it is no whole GeoJSON; the sentence says where and what to do.
    """
    document = _parsed(path)
    features = _features(document, path.name)
    headers, columns, faults = _properties(features)
    geometry = _geometry(features, faults)
    faults |= _no_features(features)
    crs, guesses = _system(document, geometry)
    name = document.get("name")
    return SourceTable(
        path,
        "geojson",
        name if isinstance(name, str) and name.strip() else path.stem,
        headers,
        columns,
        list(range(1, len(features) + 1)),
        geometry,
        crs,
        faults,
        guesses,
    )


def _parsed(path: Path) -> dict[str, Any]:
    size = path.stat().st_size
    if size == 0:
        raise Unreadable(f"{path.name} is empty; choose the file that holds the features.")
    if size > MAX_BYTES:
        raise Unreadable(
            f"{path.name} is larger than {MAX_BYTES >> 20} MB; split it, or give it as CSV or GeoPackage."
        )
    data = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        data = _from_utf16(data, path.name)
    try:
        document = orjson.loads(data)
    except orjson.JSONDecodeError as wrong:
        raise Unreadable(_why(path.name, data, wrong)) from wrong
    if not isinstance(document, dict):
        raise Unreadable(
            f"{path.name} is JSON but no GeoJSON: it is not an object with a type. {_EXPORT_AGAIN}"
        )
    return document


def _from_utf16(data: bytes, name: str) -> bytes:
    try:
        return data.decode("utf-16").encode("utf-8")
    except UnicodeError as wrong:
        raise Unreadable(f"{name} is damaged UTF-16; save it again as UTF-8.") from wrong


def _why(name: str, data: bytes, wrong: orjson.JSONDecodeError) -> str:
    text = str(wrong).casefold()
    near = data[max(0, wrong.pos - 10) : wrong.pos + 10]
    where = f"line {wrong.lineno}, column {wrong.colno}"
    if "recursion" in text or "depth" in text:
        return f"{name} is nested deeper than GeoJSON can be ({where}); it was not read."
    if "surrogate" in text:
        return f"{name} has half of a paired character code in {where}; correct that text and try again."
    if any(word in near for word in (b"NaN", b"nfinity")):
        return f"{name} has NaN or Infinity in {where}, which JSON does not know; leave the value out (null)."
    if wrong.pos >= len(data.rstrip()) - 1:
        return f"{name} ends in the middle (after {len(data):,} bytes): it may be cut off. Export it again."
    return f"{name} is no whole JSON: something is wrong in {where}. Export it again."


def _features(document: dict[str, Any], name: str) -> list[dict[str, Any]]:
    kind = document.get("type")
    if kind == "FeatureCollection":
        features = document.get("features")
    elif kind == "Feature":
        features = [document]
    elif kind in _GEOMETRIES:
        features = [{"type": "Feature", "properties": {}, "geometry": document}]
    else:
        raise Unreadable(f"{name} is no GeoJSON of features: its type is {str(kind)[:40]!r}. {_EXPORT_AGAIN}")
    if not isinstance(features, list) or not features:
        raise Unreadable(f"{name} holds no features; there is nothing to take in.")
    if not all(isinstance(feature, dict) for feature in features):
        raise Unreadable(f"{name} is no GeoJSON: one of its features is no object. {_EXPORT_AGAIN}")
    return features


def _no_features(features: list[dict[str, Any]]) -> dict[int, str]:
    """Return why members of a collection are no features: a collection within it, a bare geometry."""
    told = {place: feature.get("type", "Feature") for place, feature in enumerate(features)}
    return {
        place: f"This is a {str(kind)[:40]!r}, no feature; nothing in it was read. {_EXPORT_AGAIN}"
        for place, kind in told.items()
        if kind != "Feature"
    }


def _text(value: Any) -> str | None:
    """Return a property as text, None where it cannot be stored; lists and objects as JSON."""
    if value is None:
        return ""
    if isinstance(value, str):
        return None if "\0" in value else value
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value).removesuffix(".0") if math.isfinite(value) else None
    try:
        return orjson.dumps(value).decode()
    except orjson.JSONEncodeError:  # it nests deeper than can be written
        return None


def _properties(features: list[dict[str, Any]]) -> tuple[list[str], list[list[str]], dict[int, str]]:
    faults: dict[int, str] = {}
    every = [feature.get("properties") for feature in features]
    tables: list[dict[str, Any]] = [p if isinstance(p, dict) else {} for p in every]
    headers = list(dict.fromkeys(key for table in tables for key in table))
    if len(headers) > MAX_COLUMNS:
        raise Unreadable(f"The features have more than {MAX_COLUMNS} different properties; that is no list.")
    columns: list[list[str]] = []
    for header in headers:
        column = []
        for place, table in enumerate(tables):
            text = _text(table.get(header))
            if text is None:
                faults[place] = (
                    f"{header[:40]!r} holds a NUL character, a number that is not finite or lists too deep."
                )
            column.append(text or "")
        columns.append(column)
    ids = [_text(feature.get("id")) or "" for feature in features]
    if any(ids) and "id" not in headers and FEATURE_ID not in headers:
        headers.append(FEATURE_ID)
        columns.append(ids)
    return headers, columns, faults


def _is_plain_point(geometry: Any) -> bool:
    if not isinstance(geometry, dict) or geometry.get("type") != "Point":
        return False
    pair = geometry.get("coordinates")
    return (
        isinstance(pair, list)
        and 2 <= len(pair) <= 4
        and all(type(n) in (int, float) and math.isfinite(n) and abs(n) < 1e12 for n in pair)
    )


def _geometry(features: list[dict[str, Any]], faults: dict[int, str]) -> list[Any]:
    out: list[Any] = [None] * len(features)
    plain: dict[int, list[float]] = {}
    for place, feature in enumerate(features):
        geometry = feature.get("geometry")
        if geometry is not None and _is_plain_point(geometry):
            plain[place] = geometry["coordinates"][:2]
            continue
        out[place], fault = from_geojson(geometry)
        if fault is not None:
            faults[place] = fault
    set_points(out, plain)
    return out


def _system(document: dict[str, Any], geometry: list[Any]) -> tuple[str | None, list[Guess]]:
    """Return the system that the file names; without a word it is WGS84 (RFC 7946), if the numbers allow."""
    member = document.get("crs")
    bounds = shapely.bounds(np.array(geometry, dtype=object))
    known = bounds[np.isfinite(bounds).all(axis=1)]
    degrees = len(known) == 0 or bool(
        np.mean((np.abs(known[:, ::2]) <= 180).all(axis=1) & (np.abs(known[:, 1::2]) <= 90).all(axis=1)) > 0.5
    )
    if member is None:
        if degrees:
            return WGS84, [Guess("crs", "WGS84 (EPSG:4326)", "GeoJSON is in WGS84 (RFC 7946).", 0.99)]
        return None, []
    named = member.get("properties") if isinstance(member, dict) else None
    name = named.get("name") if isinstance(named, dict) else None
    if isinstance(name, str):
        code = name.rsplit(":", 1)[-1]
        try:
            said = code_of("WGS84" if "CRS84" in name.upper() else code)
        except InvalidRequest:
            why = f"The file names {name[:60]!r}, which is not known here: it was not used."
            return None, [Guess("crs", "not as the file names it", why, 0.5)]
        return said, [Guess("crs", said, f"The file names it: {name[:60]}.", 1.0)]
    return None, []
