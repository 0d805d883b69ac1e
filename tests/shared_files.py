"""Files as other offices send them, written by libraries that are not ours: GDAL through pyogrio, pyarrow."""

import io
import json
import zipfile

import geopandas
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import shapely

PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
ENDINGS = (".fgb", ".zip", ".parquet", ".kml")


def write_frame(frame, path, **options):
    """A frame as the file that its name says; KML is in WGS84, a shapefile is packed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".zip":
        shapes = path.with_suffix(".shp")
        pyogrio.write_dataframe(frame, shapes, driver="ESRI Shapefile", **{"encoding": "UTF-8", **options})
        pack(path, {part.name: part.read_bytes() for part in parts_of(shapes)})
    elif path.suffix in (".parquet", ".geoparquet"):
        frame.to_parquet(path, **options)
    elif path.suffix == ".kml":
        pyogrio.write_dataframe(frame.to_crs(4326), path, driver="LIBKML", **options)
    else:
        pyogrio.write_dataframe(frame, path, driver="FlatGeobuf", **{"SPATIAL_INDEX": "NO", **options})
    return path


def parts_of(shapes):
    """The files that a shapefile is made of."""
    return [shapes.with_suffix(end) for end in PARTS if shapes.with_suffix(end).is_file()]


def pack(path, files):
    """A zip archive of names and contents, or of entries as zipfile takes them."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return path


def points(rows, crs=4326):
    """A frame of points from rows of values with x and y."""
    xs, ys = [row.pop("x") for row in rows], [row.pop("y") for row in rows]
    return geopandas.GeoDataFrame(rows, geometry=geopandas.points_from_xy(xs, ys), crs=crs)


def kml_of(inside, before=""):
    """A KML document with this inside."""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{before}<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"{inside}</Document></kml>"
    ).encode()


PLACEMARK = "<Placemark><name>A 1</name><Point><coordinates>9.1,47.6</coordinates></Point></Placemark>"


def bomb(name, size):
    """A zip archive whose one member is so many bytes of blanks."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, archive.open(name, "w") as member:
        for _ in range(size >> 20):
            member.write(b" " * (1 << 20))
    return out.getvalue()


def parquet_of():
    """GeoParquet that names no system, with a second shape and the box of the first, as bytes."""
    shape = shapely.Point(9.1, 47.6).wkb
    described = {"encoding": "WKB", "geometry_types": []}
    covering = {"bbox": {side: ["bbox", side] for side in ("xmin", "ymin", "xmax", "ymax")}}
    geo = {
        "version": "1.1.0",
        "primary_column": "geometry",
        "columns": {"geometry": {**described, "covering": covering}, "other": described},
    }
    box = {"xmin": 9.1, "ymin": 47.6, "xmax": 9.1, "ymax": 47.6}
    table = pa.table({"tag": ["1"], "geometry": [shape], "other": [shape], "bbox": [box]})
    out = io.BytesIO()
    pq.write_table(table.replace_schema_metadata({"geo": json.dumps(geo)}), out)
    return out.getvalue()
