"""Opens a collection in QGIS without a screen and says what it read; run by the Python that has QGIS.

QT_QPA_PLATFORM=offscreen /usr/bin/python3 open_in_qgis.py http://127.0.0.1:8477/ogc/ trees
"""

import json
import sys

from qgis.core import QgsApplication, QgsFeatureRequest, QgsVectorLayer


def read(address, collection):
    """What QGIS makes of a collection: fields with their types, and every row."""
    source = f"url='{address}' typename='{collection}' pagingEnabled='true' pageSize='1000'"
    layer = QgsVectorLayer(source, "read", "OAPIF")
    said = {"valid": layer.isValid(), "crs": layer.crs().authid()}
    said["fields"] = {field.name(): field.typeName() for field in layer.fields()}
    said["count"] = layer.featureCount()
    rows = []
    for feature in layer.getFeatures(QgsFeatureRequest()):
        cells = {name: _plain(feature[name]) for name in said["fields"]}
        if not feature.geometry().isNull():
            point = feature.geometry().asPoint()
            cells |= {"lon": point.x(), "lat": point.y()}
        rows.append(cells)
    del layer
    return {**said, "rows": rows}


def _plain(value):
    if hasattr(value, "isNull") and value.isNull():
        return None
    return value.toString("yyyy-MM-dd") if hasattr(value, "toString") else value


if __name__ == "__main__":
    application = QgsApplication([], False)
    application.initQgis()
    json.dump(read(*sys.argv[1:3]), sys.stdout)
    sys.stdout.flush()
    application.exitQgis()
