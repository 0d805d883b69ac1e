"""Lengths as they are said, in centimetres; and back for pages in US customary units.

References
----------
.. [1] International yard and pound agreement of 1959: 1 ft = 0.3048 m, 1 in = 2.54 cm, exactly.
"""

# Lengths; hands and spans are in layers/hands.py.
CM_PER_UNIT = {"cm": 1.0, "mm": 0.1, "m": 100.0, "in": 2.54, "ft": 30.48}
CM_PER_IN = 2.54
M_PER_FT = 0.3048
HA_PER_ACRE = 0.40468564224
FT2_PER_ACRE_PER_M2_PER_HA = 4.356  # 43,560 / 10,000, exactly


def feet_and_inches(metres: float) -> tuple[int, float]:
    """Return a height in whole feet and the inches beside them, to a tenth of an inch."""
    feet, tenths = divmod(round(metres / M_PER_FT * 120.0), 120)
    return feet, tenths / 10.0


def height_words(metres: float, units: str) -> str:
    """Return a height of measuring as people say it: 1.30 m, or 4 ft 6 in where ``units`` is "us"."""
    if units != "us":
        return f"{metres:.2f} m"
    feet, inches = feet_and_inches(metres)
    return f"{feet} ft {inches:g} in" if inches else f"{feet} ft"
