"""KML to a plain table: a row for each placemark, its name, description and data as columns.

Text that stands in the file is read and nothing else: no entity is expanded and no link followed.

References
----------
OGC KML 2.2, 07-147r2, and 2.3, 12-007r2: Placemark, ExtendedData, MultiGeometry; positions are WGS84.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Container
from dataclasses import dataclass, field
from typing import Any

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from service.errors import Unreadable
from service.intake.archive import Archive
from service.intake.choosing import TableOfFile, chosen
from service.intake.plain_table import PlainTable, require_size

FORM = "kml"
MAX_DEPTH = 60
MAX_POSITIONS = 50_000  # of one placemark
LINKS = "The file points to other files, which were not fetched; only what stands in it was read."
_CONTAINERS = ("Folder", "Document")  # a document within a document is a layer too
_SHAPES = ("Point", "LineString", "Polygon", "LinearRing")
_WORDS = {"Point": "MultiPoint", "LineString": "MultiLineString", "Polygon": "MultiPolygon"}
_KINDS = {"Point": "POINT", "LineString": "LINESTRING", "Polygon": "POLYGON"}
_NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
_POSITION = re.compile(rf"({_NUMBER}),({_NUMBER})(?:,{_NUMBER})?")


@dataclass
class _Placemark:
    folder: str
    cells: dict[str, str] = field(default_factory=dict)
    shapes: list[tuple[str, list[Any]]] = field(default_factory=list)  # kind, rings or parts of positions
    positions: int = 0
    fault: str | None = None


class _Reader:
    """Takes the elements of a file as they come; keeps placemarks, never a tree of elements.

    ``beside`` are the names of files that are read as well: a link to one of them is not counted.
    """

    def __init__(self, beside: Container[str] = ()) -> None:
        self.placemarks: list[_Placemark] = []
        self.links = 0
        self.document = ""
        self._beside = beside
        self._path: list[str] = []
        self._folders: list[str] = []
        self._text: list[str] = []
        self._open: _Placemark | None = None
        self._data_name = ""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rpartition("}")[2]
        if not self._path and name != "kml":
            raise Unreadable(f"{{file}} is no KML but {name[:40]!r}; export the layer again, or as GeoJSON.")
        self._path.append(name)
        if len(self._path) > MAX_DEPTH:
            raise Unreadable("{file} is nested deeper than KML can be; it was not read.")
        self._text = []
        if name == "Placemark":
            self._open = _Placemark(" / ".join(filter(None, self._folders)))
        elif name in _CONTAINERS:
            self._folders.append("")
        elif name in ("Data", "SimpleData"):
            self._data_name = attributes.get("name", "")
        elif (
            name in _SHAPES and self._open is not None and not (name == "LinearRing" and self._in("Polygon"))
        ):
            self._open.shapes.append(("LineString" if name == "LinearRing" else name, []))

    def data(self, text: str) -> None:
        self._text.append(text)

    def end(self, tag: str) -> None:
        name = self._path.pop()
        text, self._text = "".join(self._text), []
        if name == "Placemark" and self._open is not None:
            self.placemarks.append(self._open)
            require_size(len(self.placemarks), len(self._open.cells))
            self._open = None
        elif name in _CONTAINERS:
            self._folders.pop()
        elif name == "href" and self._in("NetworkLink"):
            self.links += text.strip().rpartition("/")[2].casefold() not in self._beside
        elif self._open is not None:
            self._take(self._open, name, text)
        elif name == "name" and self._path == ["kml", "Document"]:
            self.document = text.strip()
        elif name == "name" and self._path[-1] in _CONTAINERS:
            self._folders[-1] = text.strip()

    def _in(self, name: str) -> bool:
        return name in self._path[:-1]

    def _take(self, placemark: _Placemark, name: str, text: str) -> None:
        above = self._path[-1]
        if name in ("name", "description") and above == "Placemark":
            placemark.cells[name] = text.strip()
        elif name == "SimpleData" or (name == "value" and above == "Data"):
            placemark.cells[self._data_name] = text.strip()
        elif name == "coordinates" and placemark.shapes:
            positions, fault = _positions(text)
            placemark.positions += len(positions)
            placemark.fault = placemark.fault or fault
            if placemark.positions > MAX_POSITIONS:
                raise Unreadable(
                    f"{{file}} has a placemark of more than {MAX_POSITIONS:,} positions; cut it into parts."
                )
            placemark.shapes[-1][1].append(positions)


def read_kml(data: bytes, layer: str | None) -> PlainTable:
    """Return the table of a KML file; of folders with shapes of several kinds the one that is meant.

    Raises
    ------
    Unreadable
        If it is no whole KML, defines entities of its own, or has no placemarks.
    Ask
        If it has folders of several kinds, and the layer tells which is meant.
    InvalidRequest
        If it has several and none of them is told.
    """
    return _table([_read(data)], layer)


def read_kmz(data: bytes, layer: str | None) -> PlainTable:
    """Return the table of the KML files in a KMZ archive; each is a folder where several have placemarks.

    Raises
    ------
    Unreadable
        If it holds none, or goes beyond the limits of an archive.
    Ask
        If it has folders of several kinds, and the layer tells which is meant.
    InvalidRequest
        If it has several and none of them is told.
    """
    archive = Archive(data)
    names = [name for name in archive.names if name.endswith(".kml")]
    if not names:
        raise Unreadable("{file} holds no KML; export the layer again, or as GeoJSON.")
    return _table([_read(archive.read(name), names) for name in names], layer)


def _read(data: bytes, beside: Container[str] = ()) -> _Reader:
    reader = _Reader(beside)
    parser = DefusedXMLParser(target=reader, forbid_dtd=True)
    try:
        parser.feed(data)
        parser.close()
    except DefusedXmlException as wrong:
        raise Unreadable(
            "{file} has definitions of its own (a DOCTYPE), which KML does not need; it was not read. "
            "Export it again."
        ) from wrong
    except ET.ParseError as wrong:
        raise Unreadable("{file} is no whole XML: it may be cut off. Export it again.") from wrong
    except (LookupError, ValueError, OSError) as wrong:  # files of further code pages cannot be opened
        raise Unreadable("{file} is in an encoding that is not read here; export it in UTF-8.") from wrong
    return reader


def _nothing(links: int) -> str:
    if links:
        return (
            "{file} only points to another file (NetworkLink), which is not fetched; save the places "
            "themselves as KML."
        )
    return "{file} holds no placemarks; there is nothing to take in."


def _table(files: list[_Reader], layer: str | None) -> PlainTable:
    links = sum(file.links for file in files)
    files = [file for file in files if file.placemarks]
    if not files:
        raise Unreadable(_nothing(links))
    if len(files) > 1:
        _put_into_folders(files)
    rows = [row for file in files for row in file.placemarks]
    folders = list(dict.fromkeys(row.folder for row in rows))
    kinds = {folder: {_kind(row) for row in rows if row.folder == folder} - {None} for folder in folders}
    name = ""
    if len(folders) > 1 and len(set().union(*kinds.values())) > 1:
        tables = [TableOfFile(folder or "-", _one(kinds[folder])) for folder in folders]
        name = folders[chosen(tables, layer, "{file}")]
        rows = [row for row in rows if row.folder == name]
    headers = list(dict.fromkeys(header for row in rows for header in row.cells))
    require_size(len(rows), len(headers) + 1)
    columns = [[row.cells.get(header, "") for row in rows] for header in headers]
    if not name and len(folders) > 1:
        headers.append("Folder")
        columns.append([row.folder for row in rows])
    filled = [place for place, column in enumerate(columns) if any(column)]
    out = PlainTable(
        FORM,
        name or (folders[0] if len(folders) == 1 else "") or files[0].document,
        [headers[place] for place in filled],
        [columns[place] for place in filled],
        [_shape(row) for row in rows],
        "EPSG:4326",
    )
    out.guesses.append(("crs", "WGS84 (EPSG:4326)", "KML is in WGS84 (OGC 07-147r2).", 0.99))
    out.faults = {place: row.fault for place, row in enumerate(rows) if row.fault}
    if links:
        out.guesses.append(("links", str(links), LINKS, 1.0))
    return out


def _put_into_folders(files: list[_Reader]) -> None:
    for file in files:
        for row in file.placemarks:
            row.folder = " / ".join(filter(None, (file.document, row.folder)))


def _one(kinds: set[str | None]) -> str | None:
    return next(iter(kinds)) if len(kinds) == 1 else "GEOMETRY" if kinds else None


def _kind(row: _Placemark) -> str | None:
    return _KINDS[row.shapes[0][0]] if row.shapes else None


def _positions(text: str) -> tuple[list[list[float]], str | None]:
    """Return positions of longitude and latitude, apart by blanks, and what of the text is none."""
    out = []
    for said in re.sub(r",\s+", ",", text).split():  # blanks after commas are no KML, but often written
        found = _POSITION.fullmatch(said)
        if found is None:
            return [], f"{said[:40]!r} is no position; KML writes longitude,latitude with decimal points."
        out.append([float(found[1]), float(found[2])])
    return out, None


def _shape(row: _Placemark) -> Any:
    kinds = {kind for kind, _ in row.shapes}
    parts = [_coordinates(kind, lists) for kind, lists in row.shapes]
    whole = [part for part in parts if part]
    if not whole:
        return None
    if len(kinds) > 1:
        return {"type": "GeometryCollection"}
    kind = kinds.pop()
    if len(whole) > 1:
        return {"type": _WORDS[kind], "coordinates": whole}
    return whole[0] if kind == "Point" else {"type": kind, "coordinates": whole[0]}


def _coordinates(kind: str, lists: list[Any]) -> Any:
    if kind == "Polygon":
        return lists
    first = lists[0] if lists else []
    return (first[0] if first else None) if kind == "Point" else first
