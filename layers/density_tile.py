"""How thick trees stand, as pictures side by side: a darker square holds more of them.

One scale for the whole ground and zoom, each step twice the trees of the one before, so that tiles fit and a
step of the same zoom always means the same. One hue, from pale to ink; nothing where there is no tree.
"""

import io

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from numpy.typing import NDArray
from PIL import Image

from layers.error_model import Whole
from layers.symbology import INK, SHADES
from layers.tile_grid import LAST_ZOOM, Tile, rows_inside
from layers.tile_index import TileIndex

SIDE_PX = 256
SQUARE_PX = 2
SIDE = SIDE_PX // SQUARE_PX  # squares along the side of a tile
SQUARE_BITS = SIDE.bit_length() - 1


def counted(index: TileIndex, tile: Tile) -> Whole:
    """Return the living trees in each square of a tile, rows from the north, columns from the west."""
    rows = rows_inside(index.cells, tile)
    living = index.living[rows]
    side = float(1 << tile.z)
    column, row = (
        np.minimum((at[rows][living] * side - first) * SIDE, SIDE - 1).astype(np.int64)
        for at, first in ((index.x, tile.x), (index.y, tile.y))
    )
    return np.bincount(row * SIDE + column, minlength=SIDE * SIDE).reshape(SIDE, SIDE)


def steps(index: TileIndex, zoom: int) -> int:
    """Return how many steps the scale of a zoom has: step ``n`` begins at 2^n trees a square.

    Below squares as small as the cells of the index, the scale is that of the cells.
    """
    return index.fullest[min(zoom + SQUARE_BITS, LAST_ZOOM)].bit_length()


def density_tile(trees: Whole, steps: int) -> bytes:
    """Return the picture of a tile as PNG.

    Parameters
    ----------
    trees : array of int
        Trees by square, as :func:`counted` gives them.
    steps : int
        Steps of the scale, as :func:`steps` gives them for the zoom; the last is ink.
    """
    step = np.frexp(trees)[1].astype(np.uint8)  # 0 for none, n for 2^(n-1) to under 2^n
    picture = Image.fromarray(np.repeat(np.repeat(step, SQUARE_PX, axis=0), SQUARE_PX, axis=1))
    picture.putpalette(_palette(max(steps, 1)).tobytes())
    out = io.BytesIO()
    picture.save(out, "PNG", transparency=0)
    return out.getvalue()


def _palette(steps: int) -> NDArray[np.uint8]:
    """The colours of no tree, which is seen through, and of each step."""
    ramp = LinearSegmentedColormap.from_list("density", [SHADES[2], SHADES[4], INK])
    colours = np.vstack([(1.0, 1.0, 1.0), ramp(np.arange(1, steps + 1) / steps)[:, :3]])
    return np.asarray(np.rint(colours * 255), dtype=np.uint8)
