"""Heights at which trunks are compared: what is offered, and what a country preselects and why.

A country only preselects: whoever runs the ground may choose any of them, or another one.

References
----------
.. [1] British Commonwealth Forest Terminology, "breast height": 4 ft 6 in (1.37 m) in the USA and India;
   1.30 m by agreement of the forest research organisations and in Europe.
.. [2] BS 5837:2012, Trees in relation to design, demolition and construction: stem diameter at 1.5 m.
.. [3] Handbooks of forestry and tree care, read second-hand: 1.4 m in Australia (tree care) and New Zealand,
   1.2 m in Korea and Japan, 1.30 m in Europe.
.. [4] Commentary on municipal tree by-laws in Germany, read second-hand: girth at 1.0 m.
"""

from dataclasses import dataclass

from layers.translating import N_

DEFAULT_HEIGHT_M = 1.30


@dataclass(frozen=True)
class Convention:
    """A height of measurement [m], who uses it, and the countries that preselect it."""

    height_m: float
    used_by: tuple[str, ...]
    countries: tuple[str, ...] = ()


OFFERED = (
    Convention(1.00, (N_("tree by-laws in Germany"),)),
    Convention(1.20, (N_("Korea"), N_("landscape work in Japan")), ("KR", "JP")),
    Convention(1.30, (N_("forestry in Europe"), N_("forestry in Australia"))),
    Convention(1.3716, (N_("USA"), N_("India and Nepal")), ("US", "IN", "NP")),
    Convention(1.40, (N_("tree care in Australia and New Zealand"),), ("AU", "NZ")),
    Convention(1.50, (N_("tree care in Britain"),), ("GB",)),
)
_BY_COUNTRY = {country: each for each in OFFERED for country in each.countries}


def breast_height_m(country: str | None) -> float:
    """Return the height at which trunks are compared in a country [m], 1.30 where nothing else is known."""
    known = _BY_COUNTRY.get(country or "")
    return known.height_m if known else DEFAULT_HEIGHT_M


def usual_in(country: str | None) -> tuple[str, ...]:
    """Return who uses the height that a country preselects; empty where nothing is known of the country."""
    known = _BY_COUNTRY.get(country or "")
    return known.used_by if known else ()
