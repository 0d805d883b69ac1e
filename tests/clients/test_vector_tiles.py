"""Vector tiles over HTTP: all trees with exact values as GDAL reads them, and as QGIS draws them."""

import json
import math
import urllib.request

import numpy as np
import pytest
from PIL import Image, ImageColor, ImageDraw

from layers.tile_grid import Tile
from tests.clients.test_qgis import qgis
from tests.tile_builders import in_square, read_by_gdal

ZOOM = 12
INK, DISC_PX, ACROSS_PX = "#1d2a3a", 9, 768


@pytest.fixture(scope="module")
def truth(rows):
    """Places in the Web-Mercator square by PROJ, and diameters [cm], of every tree of the list."""
    lon, lat = (np.array([float(row[name]) for row in rows]) for name in ("lon", "lat"))
    x, y = in_square(lon, lat)
    return x, y, np.array([float(row["girth_cm"]) for row in rows]) / math.pi


def test_gdal_reads_every_tree_of_the_ground_from_its_tiles(address, truth, tmp_path):
    x, y, dbh = truth
    side = 1 << ZOOM
    own = {int(column) * side + int(row) for column, row in zip(x * side, y * side, strict=True)}
    found = {}
    for number in own:
        tile = Tile(ZOOM, number // side, number % side)
        with urllib.request.urlopen(f"{address}/tiles/large/{tile.z}/{tile.x}/{tile.y}.pbf") as answer:
            frame = read_by_gdal(answer.read(), tile, tmp_path)
        for tree in frame.itertuples():
            assert found.setdefault(tree.mvt_id, tree.dbh_cm) == tree.dbh_cm
            at = np.array([tree.geometry.x, -tree.geometry.y]) / (2 * 20037508.342789244) + 0.5
            off = np.abs(at - (x[tree.mvt_id - 1], y[tree.mvt_id - 1])) * side * 4096
            assert off.max() <= 0.5 + 1e-6
    assert sorted(found) == list(range(1, len(dbh) + 1))
    np.testing.assert_allclose([found[fid] for fid in sorted(found)], dbh, rtol=1e-13)


@pytest.mark.qgis
@pytest.mark.parametrize(
    ("zoom", "expression", "least_cm"), [(13, "", 0.0), (13, '"dbh_cm" >= 60', 60.0), (15, "", 0.0)]
)
def test_qgis_draws_every_tree_where_it_stands_and_nothing_else(
    address, truth, tmp_path, zoom, expression, least_cm
):
    """Every disc is whole, those across the edges of tiles too: no seam is seen.

    The rim of the picture is left out: trees beyond it are in tiles that QGIS does not ask for.
    """
    picture = tmp_path / "drawn.png"
    document = f"{address}/tiles/large/tile.json"
    said = json.loads(qgis("draw_vector_tiles.py", document, str(zoom), str(picture), expression))
    assert (said["valid"], said["saved"], said["errors"]) == (True, True, [])
    _, column, row = said["tile"]
    x, y, dbh = truth
    chosen = dbh >= least_cm
    across = (x[chosen] * (1 << zoom) - (column - 1)) * 256
    down = (y[chosen] * (1 << zoom) - (row - 1)) * 256
    drawn = np.asarray(Image.open(picture).convert("RGB"))
    assert drawn.shape == (ACROSS_PX, ACROSS_PX, 3)
    within = np.s_[DISC_PX:-DISC_PX, DISC_PX:-DISC_PX]
    inked = (drawn == ImageColor.getrgb(INK)).all(axis=2)[within]
    least, most = (discs(across, down, DISC_PX / 2 + more)[within] for more in (-1.5, 1.5))
    assert least.any()
    assert not (least & ~inked).any()
    assert not (inked & ~most).any()


def discs(across, down, radius):
    """Where discs round places are, on a picture of the same size."""
    picture = Image.new("1", (ACROSS_PX, ACROSS_PX))
    draw = ImageDraw.Draw(picture)
    for x, y in zip(across, down, strict=True):
        draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=1)
    return np.asarray(picture)
