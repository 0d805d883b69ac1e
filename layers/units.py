"""Lengths as they are said, in centimetres; and back for pages in US customary units.

References
----------
.. [1] International yard and pound agreement of 1959: 1 ft = 0.3048 m, 1 in = 2.54 cm, exactly.
"""

CM_PER_UNIT = {"cm": 1.0, "mm": 0.1, "m": 100.0, "in": 2.54, "ft": 30.48}
CM_PER_IN = 2.54
M_PER_FT = 0.3048
HA_PER_ACRE = 0.40468564224
FT2_PER_ACRE_PER_M2_PER_HA = 4.356  # 43,560 / 10,000, exactly
