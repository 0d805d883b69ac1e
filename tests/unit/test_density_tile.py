"""Pictures of how thick trees stand: read by Pillow, counted again by numpy's own histogram."""

import io
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image, ImageColor

from layers.density_tile import SIDE, SIDE_PX, SQUARE_PX, counted, density_tile, steps
from layers.symbology import INK
from layers.tile_grid import Tile
from tests.tile_builders import in_square, indexed, tile_at


def ground(count=4000, seed=2):
    rng = np.random.default_rng(seed)
    centre = rng.uniform((9.1, 47.6), (9.2, 47.7), (8, 2))[rng.integers(0, 8, count)]
    lon, lat = (centre + rng.normal(0, 0.002, (count, 2))).T
    return lon, lat, np.where(rng.random(count) < 0.1, "dead", "living").tolist()


def picture(index, tile):
    read = Image.open(io.BytesIO(density_tile(counted(index, tile), steps(index, tile.z))))
    return np.asarray(read.convert("RGBA")).astype(int)


@pytest.mark.parametrize("zoom", [0, 8, 12, 15, 19])
def test_every_square_counts_its_living_trees(zoom):
    lon, lat, status = ground()
    index, living = indexed(lon, lat, status=status), np.array(status) == "living"
    tile = tile_at(lon[0], lat[0], zoom)
    x, y = (at[living] * (1 << zoom) - first for at, first in zip(in_square(lon, lat), tile[1:], strict=True))
    expected, _, _ = np.histogram2d(y, x, bins=SIDE, range=((0, 1), (0, 1)))
    assert expected.sum() > 0
    assert counted(index, tile).tolist() == expected.tolist()


@pytest.mark.parametrize("zoom", [9, 12, 14])
def test_the_pictures_of_a_zoom_add_up_and_share_one_scale(zoom):
    """A square of n trees has the colour of floor(log2 n), whatever its tile."""
    lon, lat, status = ground()
    index = indexed(lon, lat, status=status)
    colours, total = {}, 0
    tiles = {tile_at(*place, zoom) for place in zip(lon, lat, strict=True)}
    for tile in tiles:
        trees, drawn = counted(index, tile), picture(index, tile)
        total += trees.sum()
        assert drawn.shape == (SIDE_PX, SIDE_PX, 4)
        for off in range(SQUARE_PX):
            squares = drawn[off::SQUARE_PX, off::SQUARE_PX]
            for step, colour in zip(np.log2(trees[trees > 0]).astype(int), squares[trees > 0], strict=True):
                assert colours.setdefault(step, tuple(colour)) == tuple(colour)
            assert (squares[trees == 0][:, 3] == 0).all()
    assert total == status.count("living")
    assert len(tiles) > 1
    assert len(set(colours.values())) == len(colours) > 1


@pytest.mark.parametrize("trees", [1, 2, 5, 1000, 10**6])
def test_the_scale_goes_from_pale_to_ink_and_each_step_is_darker_in_grey(trees):
    """Rec. 601 luma, as Pillow turns colours to grey."""
    counts = np.zeros((SIDE, SIDE), dtype=np.int64)
    shown = 2 ** np.arange(trees.bit_length())
    counts[0, : len(shown)] = shown
    read = Image.open(io.BytesIO(density_tile(counts, trees.bit_length()))).convert("RGBA")
    first_row = np.asarray(read)[0, : SQUARE_PX * len(shown) : SQUARE_PX]
    grey = [
        int(one)
        for one in np.asarray(read.convert("RGB").convert("L"))[0, : SQUARE_PX * len(shown) : SQUARE_PX]
    ]
    assert all(dark < pale for pale, dark in pairwise(grey))
    assert tuple(first_row[-1]) == (*ImageColor.getrgb(INK), 255)
    assert all(
        red <= green <= blue for red, green, blue, _ in first_row.tolist()
    )  # one hue: blue-grey to ink


def test_a_picture_of_nothing_is_seen_through():
    assert (picture(indexed([], []), Tile(3, 1, 1))[..., 3] == 0).all()
