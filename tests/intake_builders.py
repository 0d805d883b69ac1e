"""Small files for the tests of reading: written to a folder and prepared as a person would have them read."""

import sqlite3
import struct

import shapely

from service.intake.prepared import ImportOptions, SiteFacts
from service.intake.understand import prepare

TODAY = "2026-05-04"


def prepared_of(folder, content, *, name="list.csv", site=None, **options):
    """A file of this content, prepared; options as on the command line."""
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return prepare(path, ImportOptions(**options), site or SiteFacts(today=TODAY))


def guess_of(prepared, what):
    """The guess of that name."""
    found = [guess for guess in prepared.guesses if guess.what == what]
    assert found, [guess.what for guess in prepared.guesses]
    return found[0]


def asked(row):
    """The words of the questions of a row."""
    return [question.what for question in row.questions]


def geometry_bytes(shape, srs_id=4326, *, wkb=None):
    """A geometry as a GeoPackage stores it: header without envelope, then WKB."""
    body = shapely.to_wkb(shape, byte_order=1) if wkb is None else wkb
    return b"GP\x00\x01" + struct.pack("<i", srs_id) + body


def write_geopackage(path, rows, *, srs_id=4326, table="trees", kind="POINT", view=False):
    """A GeoPackage with one table of (geometry bytes, name, girth) rows, or a view on it."""
    with sqlite3.connect(path) as connection:
        connection.executescript(
            f"""
            CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT, srs_id INTEGER PRIMARY KEY,
                organization TEXT, organization_coordsys_id INTEGER, definition TEXT, description TEXT);
            CREATE TABLE gpkg_contents (table_name TEXT PRIMARY KEY, data_type TEXT, identifier TEXT,
                description TEXT, last_change TEXT, min_x, min_y, max_x, max_y, srs_id INTEGER);
            CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, geometry_type_name TEXT,
                srs_id INTEGER, z, m);
            CREATE TABLE base (fid INTEGER PRIMARY KEY, geom BLOB, species TEXT, girth_cm REAL);
            INSERT INTO gpkg_spatial_ref_sys VALUES ('named', {srs_id}, 'EPSG', {srs_id}, '', '');
            INSERT INTO gpkg_contents VALUES ('{table}', 'features', '', '', '', 0, 0, 0, 0, {srs_id});
            INSERT INTO gpkg_geometry_columns VALUES ('{table}', 'geom', '{kind}', {srs_id}, 0, 0);
            """
        )
        connection.executemany("INSERT INTO base (geom, species, girth_cm) VALUES (?, ?, ?)", rows)
        if view:
            connection.execute(f"CREATE VIEW {table} AS SELECT * FROM base")
        else:
            connection.execute(f"ALTER TABLE base RENAME TO {table}")
    connection.close()
