"""Grid cells of positions, for the index of the store (definitions R9)."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

_ZOOM = 24
_HIGHEST_LAT_DEG = 85.0511


def cells_at(lon_deg: Sequence[float | None], lat_deg: Sequence[float | None]) -> list[int | None]:
    """Return the cell of each position [deg]; None without one."""
    lon = np.array([np.nan if v is None else v for v in lon_deg], dtype=float)
    lat = np.array([np.nan if v is None else v for v in lat_deg], dtype=float)
    known = np.isfinite(lon) & np.isfinite(lat)
    out: list[int | None] = [None] * len(lon)
    for at, value in zip(np.flatnonzero(known), _cells(lon[known], lat[known]).tolist(), strict=True):
        out[at] = value
    return out


def _cells(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.int64]:
    size = 1 << _ZOOM
    sine = np.sin(np.radians(np.clip(lat, -_HIGHEST_LAT_DEG, _HIGHEST_LAT_DEG)))
    x = (lon + 180.0) / 360.0
    y = 0.5 - np.arctanh(sine) / (2 * np.pi)
    return _spread(x, size) | (_spread(y, size) << 1)


def _spread(share: NDArray[np.float64], size: int) -> NDArray[np.int64]:
    whole = np.clip((share * size).astype(np.int64), 0, size - 1)
    out = np.zeros_like(whole)
    for bit in range(_ZOOM):
        out |= (whole >> bit & 1) << (2 * bit)
    return out
