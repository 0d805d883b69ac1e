"""How far people who are not trained for lines stay from an overhead line, by a rule of the United States.

References
----------
.. [1] 29 CFR 1910.269, definition of line-clearance tree trimming, as read at law.cornell.edu.
.. [2] 29 CFR 1910.333(c)(3)(i): 10 ft for unqualified people up to 50 kV to ground, as reported in a trade
   article. Rules elsewhere may ask for more; the owner of the line is asked in any case.
"""

LEAST_M = 3.05  # 10 ft, up to 50 kV
UP_TO_KV = 50.0
MORE_M_PER_KV = 0.10 / 10.0  # 4 in for every 10 kV above


def line_distance_m(voltage_kv: float) -> float:
    """Return the least distance of people and tools from a line [m].

    Parameters
    ----------
    voltage_kv : float
        Voltage to ground [kV].

    Examples
    --------
    A line of 115 kV: 12.17 ft, 3.70 m.

    >>> round(line_distance_m(115), 2)
    3.7
    """
    return LEAST_M + MORE_M_PER_KV * max(0.0, voltage_kv - UP_TO_KV)
