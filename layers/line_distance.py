"""How far people who are not trained for lines stay from an overhead line, by a rule of the United States.

References
----------
.. [1] 29 CFR 1910.269, definition of line-clearance tree trimming, as read at law.cornell.edu.
.. [2] 29 CFR 1910.333(c)(3)(i): 10 ft for unqualified people up to 50 kV to ground, as reported in a trade
   article. Rules elsewhere may ask for more; the owner of the line is asked in any case.
"""

import math

from layers.translating import N_, filled
from layers.units import M_PER_FT

UP_TO_KV = 50.0
LEAST_M, MORE_M_PER_KV = 3.05, 0.10 / 10.0  # as the rule says it in metres
LEAST_FT, MORE_FT_PER_KV = 10.0, (4.0 / 12.0) / 10.0  # and in feet

AT_VOLTAGE = N_(
    "%(voltage)s kV: people who are not trained for lines, and their tools and poles, stay at least "
    "%(apart)s away (29 CFR 1910.269, a rule of the United States). Ask the line's owner for its own "
    "distance."
)
NOT_KNOWN = N_(
    "Its voltage is not known here: stay well away, and ask the line's owner for the distance that holds."
)
SENTENCES = (AT_VOLTAGE, NOT_KNOWN)


def line_distance_m(voltage_kv: float) -> float:
    """Return the least distance of people and tools from a line [m]: the larger of the rule's two wordings.

    Parameters
    ----------
    voltage_kv : float
        Voltage to ground [kV].

    Examples
    --------
    A line of 115 kV: 12.17 ft (the wording in metres gives 3.70 m).

    >>> round(line_distance_m(115) / 0.3048, 2)
    12.17
    """
    above = max(0.0, voltage_kv - UP_TO_KV)
    return max(LEAST_M + MORE_M_PER_KV * above, (LEAST_FT + MORE_FT_PER_KV * above) * M_PER_FT)


def asked_of_people(voltage_kv: float | None) -> str:
    """Return what an overhead line asks of people, in words; the distance is rounded up."""
    if voltage_kv is None or voltage_kv != voltage_kv:
        return NOT_KNOWN
    apart = math.ceil(line_distance_m(voltage_kv) * 100 - 1e-9) / 100
    return filled(AT_VOLTAGE, voltage=f"{voltage_kv:g}", apart=f"{apart:.2f} m")
