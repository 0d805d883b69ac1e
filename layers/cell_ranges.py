"""Which ranges of cells (`ground.cell`) cover a box of the earth, so that an index finds what is inside."""

import numpy as np

from layers import ground

Box = tuple[float, float, float, float]
Range = tuple[int, int]


def cell_ranges(box: Box, most: int = 32) -> list[Range]:
    """Return ranges of cells, both ends included, in order and apart, that cover a box together.

    Parameters
    ----------
    box : tuple of float
        West, south, east, north [deg]; west > east goes across 180 degrees of longitude.
    most : int
        At most so many ranges for each side of 180 degrees; the fewer, the more they cover beside the box.

    Notes
    -----
    Squares of the grid are cut into quarters, level by level, as long as they are few enough; one cell more
    than the box is covered on each side, so that no rounding loses a point on its edge.
    """
    west, south, east, north = box
    boxes = [box] if west <= east else [(west, south, 180.0, north), (-180.0, south, east, north)]
    return _joined([found for part in boxes for found in _ranges(part, most)])


def _ranges(box: Box, most: int) -> list[Range]:
    """Return the ranges of a box that does not go across 180 degrees."""
    west, south, east, north = box
    x, y = ground.mercator([west, east], [north, south])
    side = 1 << ground.CELL_ZOOM
    first_x, last_x = (
        int(np.clip(np.floor(v * side) + by, 0, side - 1)) for v, by in zip(x, (-1, 1), strict=True)
    )
    first_y, last_y = (
        int(np.clip(np.floor(v * side) + by, 0, side - 1)) for v, by in zip(y, (-1, 1), strict=True)
    )
    whole: list[tuple[int, int, int]] = []  # squares inside: level, column, row of their first cell
    cut = [(ground.CELL_ZOOM, 0, 0)]
    while cut:
        inside: list[tuple[int, int, int]] = []
        across: list[tuple[int, int, int]] = []
        for level, left, top in cut:
            half = 1 << (level - 1)
            for column, row in (
                (left, top),
                (left + half, top),
                (left, top + half),
                (left + half, top + half),
            ):
                right, bottom = column + half - 1, row + half - 1
                if right < first_x or column > last_x or bottom < first_y or row > last_y:
                    continue
                held = first_x <= column and right <= last_x and first_y <= row and bottom <= last_y
                (inside if held else across).append((level - 1, column, row))
        if len(whole) + len(inside) + len(across) > most:
            break
        whole, cut = whole + inside, across
    return [_range(*square) for square in whole + cut]


def _range(level: int, column: int, row: int) -> Range:
    low = int(ground.interleaved(np.array([column], dtype=np.uint64), np.array([row], dtype=np.uint64))[0])
    return low, low + (1 << (2 * level)) - 1


def _joined(ranges: list[Range]) -> list[Range]:
    """Return ranges in order, those that touch as one."""
    out: list[Range] = []
    for low, high in sorted(ranges):
        if out and low <= out[-1][1] + 1:
            out[-1] = (out[-1][0], max(high, out[-1][1]))
        else:
            out.append((low, high))
    return out
