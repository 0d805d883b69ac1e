"""The plane in which phones say where something is: metres round where the first tree of a site was put.

It stays the same however many trees come in, so that what waits on a phone means the same
whenever it comes.
"""

import math
from typing import Any

import shapely

from layers.ground import LocalFrame
from service.round_ground import RoundGround
from service.store.engine import Connection
from service.store.field_rows import first_place
from service.view import SiteView

_STEP_M = 100.0


class FieldGround(RoundGround):
    """The ground of a site in the metres of phones.

    Parameters
    ----------
    view : SiteView
        The site at a day.
    connection : Connection
        To look the first tree up.
    site_fid : int
    """

    def __init__(self, view: SiteView, connection: Connection, site_fid: int) -> None:
        super().__init__(view)
        first = None if view.terms.frame == "local" else first_place(connection, site_fid)
        if first is not None:
            self.frame = LocalFrame(*first)


def place_of(frame: str, first: tuple[float, float] | None, x: float, y: float) -> dict[str, float]:
    """Return the columns of a place that a phone said in metres; none where the plane has no place on earth.

    Parameters
    ----------
    frame : str
        "earth" or "local".
    first : tuple or None
        What `service.store.field_rows.first_place` gives.
    x, y : float
        East and north [m].
    """
    if frame == "local":
        return {"x_m": x, "y_m": y}
    if first is None:
        return {}
    lon, lat = LocalFrame(*first).to_earth([x], [y])
    return {"lon_deg": round(float(lon[0]), 8), "lat_deg": round(float(lat[0]), 8)}


def frame_told(frame: LocalFrame | None, is_local: bool) -> dict[str, Any]:
    """Return how degrees become the metres of the plane, linear: enough at the size of a ground."""
    if is_local:
        return {"kind": "local"}
    if frame is None:
        return {"kind": "none"}
    x, y = frame.to_plane([frame.lon, frame.lon], [frame.lat, frame.lat])
    lon, lat = frame.to_earth([x[0] + _STEP_M, x[0]], [y[0], y[0] + _STEP_M])
    return {
        "kind": "earth",
        "lon0": frame.lon,
        "lat0": frame.lat,
        "m_per_lon": round(_STEP_M / (float(lon[0]) - frame.lon), 3),
        "m_per_lat": round(_STEP_M / (float(lat[1]) - frame.lat), 3),
    }


def rings_of(shape: Any) -> list[list[list[float]]]:
    """Return the rings of polygons, or the lines, of a shape in metres, to the centimetre."""
    out = []
    for part in [] if shape is None else shapely.get_parts(shape):
        lines = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
        out += [_rounded(line) for line in lines if not line.is_empty]
    return out


def _rounded(line: Any) -> list[list[float]]:
    return [[round(x, 2), round(y, 2)] for x, y in shapely.get_coordinates(line).tolist() if math.isfinite(x)]
