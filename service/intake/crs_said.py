"""The coordinate system that a file names, as a code; worked out where the file is read, which is shut in.

Nothing of a definition is used for computing: a system that has no code is said and not used.
"""

from typing import Any

from pyproj import CRS
from pyproj.exceptions import CRSError

MAX_CHARACTERS = 20_000  # no definition is longer
_WGS84 = "EPSG:4326"


def ready() -> None:
    """Open what the library of coordinate systems looks codes up in, as long as files can be opened."""
    CRS.from_wkt(CRS.from_epsg(25832).to_wkt("WKT1_ESRI")).to_epsg()


def read(definition: Any, code: str | None = None, name: str | None = None) -> tuple[str | None, str | None]:
    """Return (EPSG:n or None, what the file calls it or None) of a code, or of a definition.

    ``definition`` is WKT, or PROJJSON as an object. Without either both are None.
    """
    if code in ("OGC:CRS84", "EPSG:4326"):
        return _WGS84, name or code
    if code is not None and code.startswith("EPSG:"):
        return code, name or code
    if not definition or len(str(definition)) > MAX_CHARACTERS:
        return None, name or code
    try:
        crs = CRS.from_json_dict(definition) if isinstance(definition, dict) else CRS.from_wkt(definition)
        number = crs.to_epsg()
    except (CRSError, TypeError, ValueError, KeyError):
        return None, name or code or "a coordinate system in words"
    return (None if number is None else f"EPSG:{number}"), name or crs.name
