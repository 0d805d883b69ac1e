"""Published equations for single species from the stump to breast height, to set beside the general profile.

No reading is converted with them: at which height the stumps were measured stood in none of the texts that
were read, and the forests were far away.

References
----------
.. [1] CERNE 22(3), 2016, on Quercus frainetto in north-east Greece (abstract): diameters in cm, R2 0.94, 0.92
   and 0.94; the square term has three decimals, which costs up to 0.45 cm at 30 cm.
.. [2] Hernandez Ramos et al. 2016. Revista Mexicana de Ciencias Forestales 7(35):7-18 (abstract), Pinus
   greggii: mean ratio of dbh to stump diameter 0.7879.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# From the constant term up.
EQUATIONS: dict[str, tuple[float, ...]] = {
    "Quercus frainetto, pure": (-0.359, 0.869, -0.001),
    "Quercus frainetto, mixed": (-1.571, 0.993, -0.004),
    "Quercus frainetto, whole forest": (-0.880, 0.915, -0.002),
    "Pinus greggii": (0.0, 0.7879),
}


def dbh_cm(equation: str, stump_cm: ArrayLike) -> Array:
    """Return the diameter at breast height that an equation makes of a stump's [cm].

    Parameters
    ----------
    equation : str
        A key of EQUATIONS.
    stump_cm : array_like
        Diameter of the stump [cm].
    """
    terms = np.polynomial.Polynomial(EQUATIONS[equation])
    return np.asarray(terms(np.asarray(stump_cm, dtype=float)))
