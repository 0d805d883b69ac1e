"""Draws the vector tiles of a ground in QGIS without a screen; run by the Python that has QGIS.

QT_QPA_PLATFORM=offscreen /usr/bin/python3 draw_vector_tiles.py TILEJSON ZOOM PICTURE [EXPRESSION]

TILEJSON is the address of the document of the tiles. The picture shows three tiles by three at that zoom, in
the middle of the ground; every point for which QGIS finds the expression true is one disc of INK, 9 px wide.
What was done is said as JSON: whether the layer is valid, what went wrong, which tile is in the middle.
"""

import json
import math
import sys
from urllib.request import urlopen

from qgis.core import (
    QgsApplication,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsMarkerSymbol,
    QgsRectangle,
    QgsVectorTileBasicRenderer,
    QgsVectorTileBasicRendererStyle,
    QgsVectorTileLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

TILE_PX, ACROSS = 256, 3
EDGE_M = math.pi * 6378137.0
PAPER, INK = "#ffffff", "#1d2a3a"
DISC_PX = 9


def opened(document, expression):
    """The layer that a TileJSON document tells of, and the document."""
    with urlopen(document) as answer:
        said = json.load(answer)
    source = f"type=xyz&url={said['tiles'][0]}&zmin={said['minzoom']}&zmax={said['maxzoom']}"
    layer = QgsVectorTileLayer(source, said["name"])
    styles = []
    for inner in said["vector_layers"]:
        symbol = QgsMarkerSymbol.createSimple(
            {
                "name": "circle",
                "color": INK,
                "outline_style": "no",
                "size": str(DISC_PX),
                "size_unit": "Pixel",
            }
        )
        style = QgsVectorTileBasicRendererStyle(inner["id"], inner["id"], QgsWkbTypes.PointGeometry)
        style.setSymbol(symbol)
        style.setFilterExpression(expression)
        style.setEnabled(True)
        styles.append(style)
    renderer = QgsVectorTileBasicRenderer()
    renderer.setStyles(styles)
    layer.setRenderer(renderer)
    return layer, said


def tile_of(lon, lat, zoom):
    """The column and row of the tile that holds a place."""
    side = 1 << zoom
    y = (1 - math.asinh(math.tan(math.radians(lat))) / math.pi) / 2
    return int((lon + 180) / 360 * side), int(y * side)


def drawn(layer, zoom, column, row):
    """The picture of the tiles round one, one tile on 256 px."""
    size = 2 * EDGE_M / (1 << zoom)
    west, north = -EDGE_M + (column - 1) * size, EDGE_M - (row - 1) * size
    settings = QgsMapSettings()
    settings.setLayers([layer])
    settings.setDestinationCrs(layer.crs())
    settings.setOutputSize(QSize(TILE_PX * ACROSS, TILE_PX * ACROSS))
    settings.setOutputDpi(96)
    settings.setBackgroundColor(QColor(PAPER))
    settings.setFlag(QgsMapSettings.Antialiasing, False)
    settings.setExtent(QgsRectangle(west, north - ACROSS * size, west + ACROSS * size, north))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    return job.renderedImage(), [error.message for error in job.errors()]


def main(document, zoom, picture, expression=""):
    """Draw, and say what was done."""
    layer, said = opened(document, expression)
    west, south, east, north = said["bounds"]
    column, row = tile_of((west + east) / 2, (south + north) / 2, int(zoom))
    image, errors = drawn(layer, int(zoom), column, row)
    tile = [int(zoom), column, row]
    return {"valid": layer.isValid(), "saved": image.save(picture), "errors": errors, "tile": tile}


if __name__ == "__main__":
    application = QgsApplication([], False)
    application.initQgis()
    json.dump(main(*sys.argv[1:]), sys.stdout)
    sys.stdout.flush()
    application.exitQgis()
