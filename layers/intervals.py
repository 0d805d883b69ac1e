"""How many standard errors reach to either end of a 95 % interval, from where its variance comes from."""

import math
from collections.abc import Mapping

from layers.error_model import Z95
from layers.site_model import SiteModel, quantile95


def degrees_of_freedom(variances: Mapping[str, float], model: SiteModel) -> float:
    """Return the degrees of freedom of a sum of variances [-]; infinite where all are taken as known.

    Parameters
    ----------
    variances : mapping
        Variance by kind of cause, in any unit (shares do as well). A stem's departure from the profile counts
        with what else is its own.
    model : SiteModel
        The model that the variances are of.
    """
    kinds = dict(variances)
    kinds["own"] = kinds.get("own", 0.0) + kinds.pop("departure", 0.0)
    return float(model.degrees_of_freedom(kinds, list(kinds.values())))


def quantile_of(variances: Mapping[str, float], model: SiteModel) -> float:
    """Return how many standard errors reach to either end of a 95 % interval [-].

    The normal value where the variances are taken as known, Student's t where they were estimated.
    """
    df = degrees_of_freedom(variances, model)
    return Z95 if math.isinf(df) else float(quantile95(df))
