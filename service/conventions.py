"""What a country preselects for a new ground; everything can be changed afterwards.

References
----------
.. [1] British Commonwealth Forest Terminology, "breast height": 4 ft 6 in (1.37 m) in the USA and India.
.. [2] BS 5837:2012, Trees in relation to design, demolition and construction: stem diameter at 1.5 m.
.. [3] Handbooks of forestry and tree care, read second-hand: 1.4 m in Australia (tree care) and New Zealand,
   1.2 m in Korea and Japan, 1.30 m in Europe.
"""

DEFAULT_HEIGHT_M = 1.30
_HEIGHT_M = {
    "US": 1.3716,
    "IN": 1.3716,
    "NP": 1.3716,
    "GB": 1.50,
    "AU": 1.40,
    "NZ": 1.40,
    "KR": 1.20,
    "JP": 1.20,
}


def breast_height_m(country: str | None) -> float:
    """Return the height at which trunks are compared in a country [m], 1.30 where nothing else is known."""
    return _HEIGHT_M.get(country or "", DEFAULT_HEIGHT_M)
