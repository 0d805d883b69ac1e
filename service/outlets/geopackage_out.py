"""Layers of a site as a GeoPackage, and how its trees are drawn.

Moments are to the millisecond, as the standard has them. The table ``layer_styles`` is an open convention of
desktop programs: a style in the words of the standard (SLD) and one in those of QGIS, read by table name.

References
----------
Open Geospatial Consortium (2021): OGC GeoPackage Encoding Standard 1.3, 12-128r17: spatial reference -1 is
the undefined Cartesian frame, 4326 is WGS84; ``description`` in ``gpkg_contents`` is text for people.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path

import pyarrow as pa
from pyogrio.raw import write_arrow

from layers.symbology import DrawnClass
from service.layer_parts import Layer
from service.outlets.arrow_parts import EARTH_FRAME, GEOMETRY, LOCAL_FRAME, batches, fields_of, shaped_columns
from service.outlets.class_styles import qml_style, sld_style
from service.outlets.fresh_file import full_disk_said
from service.outlets.layer_words import described

VERSION = "1.3"
UNDEFINED_CARTESIAN = "-1"
SHAPE, NUMBER = "geom", "ogc_fid"
STYLED = "trees"
_STYLES = """CREATE TABLE layer_styles (
id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))"""


def write_layers(layers: Iterable[Layer], path: Path, classes: Sequence[DrawnClass]) -> int:
    """Write layers into a new file and return the number of rows; the caution describes its layers.

    Parameters
    ----------
    classes
        The size classes that trees are drawn by.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    total = 0
    with full_disk_said(path):
        for layer in layers:
            _write(layer, path, append=path.exists())
            total += layer.facts.rows
        with closing(sqlite3.connect(path)) as file, file:
            _add_styles(file, classes)
    return total


def _write(layer: Layer, path: Path, *, append: bool) -> None:
    facts = layer.facts
    columns = shaped_columns(facts, metres=False)
    numbered = "fid" in facts.names
    options = {
        "DESCRIPTION": described(facts),
        "IDENTIFIER": facts.layer,
        "FID": "fid" if numbered else NUMBER,
        "GEOMETRY_NAME": SHAPE,
    }
    if facts.local:
        options["SRID"] = UNDEFINED_CARTESIAN
    write_arrow(
        batches(layer, fields_of(columns), number=None if numbered else pa.field(NUMBER, pa.int64())),
        path,
        layer=facts.layer,
        driver="GPKG",
        geometry_name=GEOMETRY,
        geometry_type=facts.shape_kind,
        crs=LOCAL_FRAME if facts.local else EARTH_FRAME,
        append=append,
        layer_options=options,
        dataset_options=None if append else {"VERSION": VERSION},
    )


def _add_styles(file: sqlite3.Connection, classes: Sequence[DrawnClass]) -> None:
    file.execute(_STYLES)
    file.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description) VALUES "
        "('layer_styles', 'attributes', 'layer_styles', 'How the trees are drawn: by size class.')"
    )
    file.execute(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, "
        "styleName, styleQML, styleSLD, useAsDefault, description) VALUES ('', '', ?, ?, ?, ?, ?, 1, ?)",
        (
            STYLED,
            SHAPE,
            "Size classes",
            qml_style(classes),
            sld_style(classes),
            "By standard diameter; colour, size and label carry the class.",
        ),
    )
