"""Where the simulated trees stand, and areas whose edges and size are known with an error."""

import numpy as np

MARGIN_M = 10.0  # trees stand on both sides of every edge
M2_PER_HA = 10_000.0
CORNERS = ((0, 0), (0, 1), (1, 1), (1, 0))


def drawn_ground(rng, trees, parts):
    """Return true and recorded positions of trees and corners of four areas that tile the middle.

    A plan that is a little too large or small stretches everything alike; corners are traced and trees are
    placed with errors of their own, normal on each axis with the accuracy that is said.
    """
    side = np.sqrt(trees / rng.uniform(150.0, 600.0) * M2_PER_HA) + 2.0 * MARGIN_M
    shape = rng.uniform(0.7, 1.4)
    size = np.array([side * np.sqrt(shape), side / np.sqrt(shape)])
    at = rng.uniform(0.0, 1.0, (trees, 2)) * size
    grid = np.stack(np.meshgrid(*[np.linspace(MARGIN_M, each - MARGIN_M, 3) for each in size]), axis=-1)
    grid = grid + rng.uniform(-0.08, 0.08, grid.shape) * (size - 2.0 * MARGIN_M)

    accuracy = rng.choice([0.3, 1.0, 2.0, 4.0], p=[0.3, 0.4, 0.2, 0.1])
    traced, stretch = rng.uniform(0.1, 0.5), rng.uniform(0.005, 0.03)
    too_large = 1.0 + 0.5 * stretch * rng.standard_normal() * parts["area"]
    placed = at + accuracy * parts["position"] * rng.standard_normal(at.shape)
    drawn = grid + traced * parts["area"] * rng.standard_normal(grid.shape)
    quads = [np.array([grid[r + i, c + j] for i, j in CORNERS]) for r in (0, 1) for c in (0, 1)]
    quads_drawn = [np.array([drawn[r + i, c + j] for i, j in CORNERS]) for r in (0, 1) for c in (0, 1)]
    return {
        "at_m": at,
        "placed_m": placed * too_large,
        "accuracy_m": np.full(trees, accuracy),
        "corners_m": quads,
        "drawn_m": [quad * too_large for quad in quads_drawn],
        "area_ha": np.array([size_m2(quad) for quad in quads]) / M2_PER_HA,
        "area_se_ha": np.array([_size_se_m2(quad, traced, stretch) for quad in quads]) / M2_PER_HA,
        "inside": np.array([inside(at, quad) for quad in quads]),
    }


def size_m2(corners):
    """Area of a polygon [m2]."""
    x, y = corners.T
    return 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def _size_se_m2(corners, traced, stretch):
    across = np.roll(corners, -1, axis=0) - np.roll(corners, 1, axis=0)
    by_corners = 0.5 * traced * np.sqrt(np.sum(across**2))
    return np.hypot(by_corners, stretch * size_m2(corners))


def inside(at, corners):
    """Whether points are inside a convex polygon, whichever way round its corners go."""
    along = np.roll(corners, -1, axis=0) - corners
    apart = at[:, None, :] - corners
    side = along[:, 0] * apart[..., 1] - along[:, 1] * apart[..., 0]
    return (side >= 0).all(axis=1) | (side <= 0).all(axis=1)
