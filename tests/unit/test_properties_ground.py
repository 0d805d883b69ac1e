"""Any tiling of a ground adds up to the ground; the order of rows does not matter."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
import shapely.ops
from hypothesis import given, settings
from hypothesis import strategies as st

from layers import girth, ground, taper
from tests.builders import make_site
from tests.stand_builders import (
    area_row,
    figures_of,
    local_site,
    make_records,
    reading_rows,
    stem_rows,
    tree_rows,
)

CORNER = (9.17, 47.66)
METRE_DEG = (1 / (111_320 * math.cos(math.radians(CORNER[1]))), 1 / 111_195)


def cut(polygon, rng, depth):
    """Cut a polygon in two along a line through two points on its sides, again and again."""
    if depth == 0 or polygon.area < 30:
        return [polygon]
    ring = polygon.exterior
    a, b = (ring.interpolate(each, normalized=True) for each in rng.uniform(0, 1, 2))
    pieces = shapely.ops.split(polygon, shapely.LineString([a, b]))
    parts = [each for each in shapely.get_parts(pieces) if each.geom_type == "Polygon" and each.area > 1]
    if len(parts) < 2 or abs(sum(each.area for each in parts) - polygon.area) > 1e-6:
        return [polygon]
    return [tile for part in parts for tile in cut(part, rng, depth - 1)]


def tiling(rng):
    """Tiles of a square of 100 m: a lattice whose nodes are all shared, or cuts with corners on sides."""
    if rng.random() < 0.5:
        x, y = (
            np.concatenate([[0.0], np.sort(rng.uniform(5, 95, rng.integers(1, 4))), [100.0]])
            for _ in range(2)
        )
        return [shapely.box(a, c, b, d) for a, b in pairwise(x) for c, d in pairwise(y)]
    return cut(shapely.box(0, 0, 100, 100), rng, 3)


def trees_of(rng, tiles):
    """Trees anywhere, on corners, on sides, and within a millimetre of sides."""
    rings = [each.exterior for each in tiles]
    nodes = [point for ring in rings for point in list(ring.coords)[:-1]]
    on_sides = [ring.interpolate(rng.uniform(0, ring.length)) for ring in rings for _ in range(3)]
    sides = [(each.x, each.y) for each in on_sides]
    moves = rng.uniform(-4e-4, 4e-4, (len(sides), 2))
    beside = [(x + dx, y + dy) for (x, y), (dx, dy) in zip(sides, moves, strict=True)]
    anywhere = [tuple(each) for each in rng.uniform(-10, 110, (40, 2))]
    return nodes + sides + beside + anywhere


def on_earth(shape):
    return shapely.transform(shape, lambda at: np.array(CORNER) + at * np.array(METRE_DEG))


def kinds_of(rng, number):
    return rng.choice(["lawn", "play area", "woodland"], number).tolist()


def ids_of(rng, number):
    return [f"{'aAbB'[n % 4]}{n:03}" for n in rng.permutation(number)]


def records_of(tiles, whole, at, sizes, rng, frame):
    trees = tree_rows(len(at), at if frame == "local" else None)
    if frame == "earth":
        points = shapely.get_coordinates(on_earth(shapely.MultiPoint(at)))
        for tree, (lon, lat) in zip(trees, points, strict=True):
            tree.update(lon_deg=lon, lat_deg=lat)
        tiles, whole = [on_earth(each) for each in tiles], on_earth(whole)
    areas = [
        area_row(area_id, tile, kind=kind)
        for area_id, tile, kind in zip(ids_of(rng, len(tiles)), tiles, kinds_of(rng, len(tiles)), strict=True)
    ]
    areas.append(area_row("whole", whole, layer="whole"))
    return make_records(trees=trees, stems=stem_rows(len(at)), readings=reading_rows(sizes), areas=areas)


@given(seed=st.integers(0, 2**32 - 1), frame=st.sampled_from(["local", "earth"]))
@settings(max_examples=40, deadline=None)
def test_a_tiling_adds_up_to_its_union_exactly(seed, frame):
    rng = np.random.default_rng(seed)
    tiles = tiling(rng)
    at = trees_of(rng, tiles)
    sizes = [float(each) if rng.random() > 0.1 else None for each in rng.uniform(1, 120, len(at))]
    given_records = records_of(tiles, shapely.box(0, 0, 100, 100), at, sizes, rng, frame)
    rows = figures_of(given_records, local_site() if frame == "local" else make_site())
    whole = next(each for each in rows if each["area_id"] == "whole")
    parts = [each for each in rows if each["layer"] == "areas"]
    assert len(parts) == len(tiles)
    for key in ("trees", "stems", "measured_stems", "unmeasured_trees"):
        assert sum(each[key] for each in parts) == whole[key]
    total = math.fsum(each["basal_area_m2"] or 0.0 for each in parts)
    assert total == pytest.approx(whole["basal_area_m2"], rel=1e-12)
    stems = [
        sum(row["stems"] for row in column)
        for column in zip(*(each["size_classes"] for each in parts if each["size_classes"]), strict=True)
    ]
    assert stems == [row["stems"] for row in whole["size_classes"]]


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_figures_do_not_depend_on_the_order_of_rows(seed):
    rng = np.random.default_rng(seed)
    tiles = tiling(rng)
    at = trees_of(rng, tiles)
    one = records_of(
        tiles, shapely.box(0, 0, 100, 100), at, rng.uniform(1, 120, len(at)).tolist(), rng, "local"
    )
    mixed = {
        name: getattr(one, name).sample(frac=1, random_state=int(seed % 1000)).reset_index(drop=True)
        for name in ("trees", "stems", "readings", "areas")
    }
    for a, b in zip(figures_of(one), figures_of(type(one)(**mixed)), strict=True):
        assert a["area_id"] == b["area_id"]
        for key, value in a.items():
            if isinstance(value, int | float | str):
                assert b[key] == (pytest.approx(value, rel=1e-9) if isinstance(value, float) else value)
        assert [each["scientific_name"] for each in a["species"]] == [
            each["scientific_name"] for each in b["species"]
        ]


finite = st.floats(1, 400)


@given(sizes=st.lists(finite, min_size=1, max_size=20), tilt=st.floats(0, 60), height=st.floats(0.15, 1.53))
def test_a_vector_gives_what_its_scalars_give(sizes, tilt, height):
    array = np.array(sizes)

    def alike(function, values):
        assert function(np.array(values)) == pytest.approx(
            [float(function(each)) for each in values], rel=1e-14
        )

    for function in (girth.diameter_cm, girth.basal_area_m2, girth.density_index, girth.basal_area_per_cm):
        alike(function, array)
    alike(girth.tilt_factor, [tilt, 0.0, tilt])
    alike(lambda each: taper.ratio(each, 1.3, 0.12), [height, 1.0, height])
    alike(lambda each: taper.departure_se(each, 1.3), [height, 1.0, height])


@given(size=finite, height=st.floats(0.15, 1.53), b=st.floats(0.08, 0.15))
def test_there_and_back_is_the_same_diameter(size, height, b):
    there = size * taper.ratio(height, 1.3, b)
    assert float(there * taper.ratio(1.3, height, b)) == pytest.approx(size, rel=1e-12)


@given(lon=st.floats(-180, 180), lat=st.floats(-85, 85))
def test_a_cell_does_not_depend_on_the_company_it_is_worked_out_in(lon, lat):
    alone = ground.cell(lon, lat).tolist()
    assert ground.cell([0.0, lon, np.nan], [0.0, lat, 1.0]).tolist()[1:2] == alone
    assert 0 <= alone[0] < 1 << 48


@given(
    lon=st.floats(-170, 170),
    lat=st.floats(-80, 80),
    east=st.floats(-0.05, 0.05),
    north=st.floats(-0.05, 0.05),
)
@settings(deadline=None)
def test_the_local_frame_comes_back_anywhere_on_earth(lon, lat, east, north):
    frame = ground.LocalFrame(lon, lat)
    back = frame.to_earth(*frame.to_plane(lon + east, lat + north))
    assert (float(back[0]), float(back[1])) == pytest.approx((lon + east, lat + north), abs=1e-9)
