"""A zipped shapefile to a plain table: shapes (.shp), table (.dbf), system (.prj), code page (.cpg).

References
----------
ESRI Shapefile Technical Description, 1998; the side files .prj (WKT) and .cpg are common practice, no source.
"""

import io
import struct
import warnings
from collections.abc import Iterator
from typing import Any

import shapefile

from service.errors import Unreadable
from service.intake import crs_said
from service.intake.archive import Archive
from service.intake.choosing import TableOfFile, chosen
from service.intake.dbf_table import read_dbf
from service.intake.plain_table import PlainTable, require_size

FORM = "shapefile"
_DAMAGED = "The shapes (.shp) in {file} are cut off or damaged; export the layer again."
_KINDS = {1: "POINT", 8: "MULTIPOINT", 3: "LINESTRING", 5: "POLYGON"}
_HEADER_BYTES = 100


def read_shapefile(data: bytes, layer: str | None) -> PlainTable:
    """Return the table of a shapefile in a zip archive; of several the one that is meant.

    Raises
    ------
    Unreadable
        If it holds none, is damaged, or goes beyond the limits of an archive.
    Ask
        If it holds several, and the layer tells which is meant.
    InvalidRequest
        If it holds several and none of them is told.
    """
    archive = Archive(data)
    bases = [name.removesuffix(".shp") for name in archive.names if name.endswith(".shp")]
    if not bases:
        raise Unreadable(_no_shapefile(archive))
    shapes = {base: archive.read(f"{base}.shp") for base in bases}
    tables = [TableOfFile(_name(archive, base), _kind(shapes[base])) for base in bases]
    place = chosen(tables, layer, "{file}")
    return _read(archive, bases[place], tables[place].name, shapes[bases[place]])


def _no_shapefile(archive: Archive) -> str:
    inside = ", ".join(repr(archive.said(name)[:40]) for name in archive.names[:5])
    return (
        f"{{file}} holds no shapefile (.shp with .dbf){f', only {inside}' if inside else ''}; pack the files "
        "of the layer, or import what is in the archive by itself."
    )


def _name(archive: Archive, base: str) -> str:
    return archive.said(f"{base}.shp")[: len(base)]


def _kind(shapes: bytes) -> str | None:
    if len(shapes) < _HEADER_BYTES:
        raise Unreadable(_DAMAGED)
    return _KINDS.get(struct.unpack_from("<i", shapes, 32)[0] % 10, "GEOMETRY")


def _side_file(archive: Archive, name: str) -> bytes:
    return archive.read(name) if name in archive.names else b""


def _read(archive: Archive, base: str, name: str, shapes: bytes) -> PlainTable:
    out = PlainTable(FORM, name, [], [])
    every = list(_shapes(shapes))
    stands = [True] * len(every)
    if f"{base}.dbf" in archive.names:
        stands = read_dbf(archive.read(f"{base}.dbf"), _side_file(archive, f"{base}.cpg"), out)
    if len(stands) != len(every):
        raise Unreadable(
            f"{{file}} holds {len(every):,} shapes (.shp) and {len(stands):,} rows (.dbf), which do not "
            "belong together; export the layer again."
        )
    out.shapes = [shape for shape, stays in zip(every, stands, strict=True) if stays]
    written = _side_file(archive, f"{base}.prj").decode("utf-8", "replace").strip()
    out.crs, out.crs_said = crs_said.read(written)
    return out


def _shapes(data: bytes) -> Iterator[Any]:
    """Yield the shapes one after the other, as their own lengths say; the index (.shx) is not needed."""
    place, rows = _HEADER_BYTES, 0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a length in the header that is not that of the file
        reader = shapefile.ShpReader(io.BytesIO(data))
    while place + 12 <= len(data):
        words = struct.unpack_from(">i", data, place + 4)[0]
        if words < 2 or place + 8 + 2 * words > len(data):
            raise Unreadable(_DAMAGED)
        require_size(rows, 1)
        try:
            yield _shape(reader.shape(rows, offset=place, shape_len_B=2 * words))
        except (struct.error, shapefile.ShapefileException, KeyError, IndexError, ValueError) as wrong:
            raise Unreadable(_DAMAGED) from wrong
        place += 8 + 2 * words
        rows += 1


def _shape(shape: Any) -> Any:
    if shape is None or shape.shapeType == shapefile.NULL or not len(shape.points):
        return None
    if shape.shapeType % 10 == 1 and shape.shapeType != shapefile.MULTIPATCH:
        x, y = shape.points[0][:2]
        return None if x != x or y != y else [x, y]
    if shape.shapeType == shapefile.MULTIPATCH:
        return {"type": "MultiPatch"}
    return dict(shape.__geo_interface__)
