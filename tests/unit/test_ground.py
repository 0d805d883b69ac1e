import numpy as np
import pandas as pd
import pytest
import shapely

from layers import ground
from layers.errors import ColumnMissing
from tests.builders import frame_of, make_site, make_tree
from tests.stand_builders import area_row, local_site

LOCAL = local_site()


def trees(*positions, accuracy=None):
    rows = [
        make_tree(tree_id=f"t{n}", lon_deg=None, lat_deg=None, x_m=x, y_m=y, position_accuracy_m=accuracy)
        for n, (x, y) in enumerate(positions)
    ]
    return frame_of("tree_record", rows)


def earth_trees(*positions):
    rows = [make_tree(tree_id=f"t{n}", lon_deg=lon, lat_deg=lat) for n, (lon, lat) in enumerate(positions)]
    return frame_of("tree_record", rows)


def areas(*rows):
    return frame_of("area_record", list(rows))


def inside(trees, areas, terms=LOCAL):
    found = ground.membership(trees, areas, terms)
    return sorted(zip(found["area_id"], found["tree_id"], strict=True))


WEST, EAST = shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)


def test_a_tree_on_a_corner_or_an_edge_is_inside():
    assert inside(trees((0, 0), (5, 10), (5, 5)), areas(area_row("a", WEST))) == [
        ("a", "t0"),
        ("a", "t1"),
        ("a", "t2"),
    ]


def test_a_tree_within_a_millimetre_is_inside_and_one_beyond_is_not():
    assert inside(trees((10.0009, 5), (10.0011, 5)), areas(area_row("a", WEST))) == [("a", "t0")]


def test_a_tree_in_a_hole_is_outside():
    ring = shapely.box(0, 0, 10, 10) - shapely.box(4, 4, 6, 6)
    assert inside(trees((5, 5), (4, 5), (1, 1)), areas(area_row("a", ring))) == [("a", "t1"), ("a", "t2")]


def test_a_tree_between_two_areas_of_a_layer_goes_to_the_smaller_id_in_lower_case():
    tiles = areas(area_row("b", WEST), area_row("A", EAST))
    assert inside(trees((10, 5), (9.9995, 5), (10.0005, 5)), tiles) == [("A", "t0"), ("A", "t1"), ("A", "t2")]


def test_a_tree_between_two_areas_of_different_layers_counts_in_both():
    tiles = areas(area_row("a", WEST), area_row("b", EAST, layer="other"))
    assert inside(trees((10, 5)), tiles) == [("a", "t0"), ("b", "t0")]


def test_nested_areas_of_a_layer_are_independent():
    nested = areas(area_row("a", shapely.box(0, 0, 20, 10)), area_row("b", WEST))
    assert inside(trees((0, 5), (10, 5)), nested) == [("a", "t0"), ("a", "t1"), ("b", "t0"), ("b", "t1")]


def test_areas_that_overlap_by_less_than_a_millimetre_share_an_edge():
    tiles = areas(area_row("a", shapely.box(0, 0, 10.0008, 10)), area_row("b", EAST))
    assert inside(trees((10.0004, 5)), tiles) == [("a", "t0")]


def test_areas_that_overlap_deeper_are_independent():
    tiles = areas(area_row("a", shapely.box(0, 0, 10.0008, 10)), area_row("b", shapely.box(9.998, 0, 20, 10)))
    assert inside(trees((10.0004, 5)), tiles) == [("a", "t0"), ("b", "t0")]


def test_an_area_judged_alone_keeps_the_trees_on_its_edge():
    assert inside(trees((10, 5)), areas(area_row("z", EAST))) == [("z", "t0")]


def test_several_polygons_of_one_area_are_one_area():
    both = shapely.MultiPolygon([WEST, shapely.box(30, 0, 40, 10)])
    assert inside(trees((5, 5), (25, 5), (35, 5)), areas(area_row("a", both))) == [("a", "t0"), ("a", "t2")]


def test_a_tree_without_a_position_is_in_no_area():
    assert inside(trees((None, None), (5, None)), areas(area_row("a", WEST))) == []


def test_an_area_without_an_outline_has_no_trees():
    assert inside(trees((5, 5)), areas(area_row("a", None))) == []


def test_edges_are_straight_in_longitude_and_latitude():
    # A wide area far north: half-way along its lower edge the straight line in degrees runs at 60.0 exactly,
    # while the shortest way on the earth passes about 1.9 km further north.
    wide = areas(area_row("a", shapely.box(10, 60, 12, 61)))
    assert inside(earth_trees((11, 60.0), (11, 59.9999), (11, 60.01)), wide, make_site()) == [
        ("a", "t0"),
        ("a", "t2"),
    ]


def test_a_millimetre_on_earth_is_a_millimetre():
    square = areas(area_row("a", shapely.box(9.0, 47.0, 9.001, 47.001)))
    per_degree = 111_320 * np.cos(np.radians(47.0))
    near, far = 9.001 + 0.0009 / per_degree, 9.001 + 0.0012 / per_degree
    assert inside(earth_trees((near, 47.0005), (far, 47.0005)), square, make_site()) == [("a", "t0")]


def test_near_the_edge_is_closer_than_the_position_is_known():
    found = ground.membership(trees((1, 5), (3, 5), accuracy=2.0), areas(area_row("a", WEST)), LOCAL)
    assert found["near_edge"].tolist() == [True, False]
    unsaid = ground.membership(trees((0.1, 5)), areas(area_row("a", WEST)), LOCAL)
    assert unsaid["near_edge"].tolist() == [False]


def test_a_degree_square_has_its_published_area():
    # Karney 2013's algorithm on WGS84: the 1-degree cell at the equator, about 12,308.8 km2 (from memory).
    cell = areas(area_row("a", shapely.box(0, 0, 1, 1)))
    assert ground.areas_ha(cell, make_site())["area_ha"].iloc[0] == pytest.approx(1_230_878, rel=1e-4)


def test_areas_are_the_same_whichever_way_round_they_are_drawn():
    ring = shapely.box(0, 0, 0.01, 0.01) - shapely.box(0.004, 0.004, 0.006, 0.006)
    sizes = ground.areas_ha(areas(area_row("a", ring), area_row("b", shapely.reverse(ring))), make_site())[
        "area_ha"
    ]
    whole, hole = (
        ground.size_ha(shapely.box(low, low, high, high), make_site())
        for low, high in ((0, 0.01), (0.004, 0.006))
    )
    assert sizes.tolist() == pytest.approx([whole - hole] * 2)


def test_a_local_ground_is_plane_and_a_typed_size_stands_where_nothing_is_drawn():
    given = areas(area_row("a", WEST), area_row("b", None, typed_area_ha=1.5), area_row("c", None))
    assert ground.areas_ha(given, LOCAL)["area_ha"].tolist() == pytest.approx(
        [0.01, 1.5, np.nan], nan_ok=True
    )


def test_ground_under_two_areas_counts_once():
    given = areas(
        area_row("a", WEST), area_row("b", shapely.box(5, 0, 15, 10)), area_row("c", None, typed_area_ha=1.0)
    )
    assert ground.union_ha(given, LOCAL) == pytest.approx(1.015)
    assert np.isnan(ground.union_ha(areas(area_row("c", None)), LOCAL))


def test_no_areas_give_empty_frames():
    assert len(ground.areas_ha(areas(), LOCAL)) == 0
    found = ground.membership(trees((0, 0)), areas(), LOCAL)
    assert list(found.columns) == ["area_id", "tree_id", "near_edge"] and len(found) == 0
    assert ground.centre(trees(), areas(), LOCAL) is None


def test_a_missing_column_is_named():
    with pytest.raises(ColumnMissing, match="geometry"):
        ground.areas_ha(areas().drop(columns="geometry"), LOCAL)


def test_the_local_frame_keeps_lengths_and_comes_back():
    frame = ground.LocalFrame(9.17, 47.66)
    lon, lat = np.array([9.17, 9.25, np.nan]), np.array([47.66, 47.70, 47.0])
    x, y = frame.to_plane(lon, lat)
    assert (x[0], y[0]) == pytest.approx((0, 0), abs=1e-6)
    geodesic = ground._WGS84.inv(9.17, 47.66, 9.25, 47.70)[2]
    assert np.hypot(x[1], y[1]) == pytest.approx(geodesic, rel=1e-6)
    back = np.column_stack(frame.to_earth(x, y))
    assert back[:2] == pytest.approx(np.column_stack([lon, lat])[:2], abs=1e-9)
    assert np.isnan([x[2], y[2], *back[2]]).all()


def test_the_local_frame_moves_shapes():
    frame = ground.LocalFrame(9.17, 47.66)
    square = shapely.box(9.17, 47.66, 9.171, 47.661)
    there = frame.plane(square)
    assert there.area / 1e4 == pytest.approx(ground.size_ha(square, make_site()), rel=1e-6)
    assert shapely.equals_exact(frame.earth(there), square, tolerance=1e-9)


def test_a_cell_interleaves_the_bits_of_column_and_row():
    side = 1 << 24
    lon, lat = 9.17, 47.66
    x = int((lon + 180) / 360 * side)
    rad = np.radians(lat)
    y = int((1 - np.log(np.tan(rad) + 1 / np.cos(rad)) / np.pi) / 2 * side)
    bits = sum((((x >> bit) & 1) << (2 * bit)) | (((y >> bit) & 1) << (2 * bit + 1)) for bit in range(24))
    assert ground.cell([lon], [lat]).tolist() == [bits]


def test_cells_stay_within_48_bits_and_are_none_without_a_position():
    found = ground.cell([180.0, -180.0, np.nan, 0.0], [-90.0, 90.0, 1.0, np.nan]).tolist()
    assert found[2:] == [None, None]
    assert all(isinstance(each, int) and 0 <= each < 1 << 48 for each in found[:2])
    assert ground.cell(0.0, 0.0).tolist() == [0b11 << 46]


def test_neighbours_share_the_front_of_their_cells():
    near = ground.cell([9.17, 9.1700001], [47.66, 47.66]).tolist()
    assert near[0] >> 12 == near[1] >> 12


def test_a_hundred_thousand_trees_in_four_hundred_areas_take_a_few_seconds():
    rng = np.random.default_rng(5)
    edges = np.linspace(0, 1000, 21)
    tiles = areas(
        *(
            area_row(f"{i:02}-{j:02}", shapely.box(edges[i], edges[j], edges[i + 1], edges[j + 1]))
            for i in range(20)
            for j in range(20)
        )
    )
    at = rng.uniform(0, 1000, (100_000, 2))
    many = pd.DataFrame(
        {
            "tree_id": np.arange(100_000).astype(object),
            "x_m": at[:, 0],
            "y_m": at[:, 1],
            "position_accuracy_m": 1.0,
        }
    )
    found = ground.membership(many, tiles, LOCAL)
    assert len(found) == 100_000 and found["tree_id"].is_unique
