"""Where the growth of planted trees of one kind will end, as far as their measurements together tell."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from flask_babel import gettext as _

from layers.days import days
from layers.group_curves import LEAST_TREES, GroupCurve, fit_group_curve
from layers.growth import dated_sizes
from layers.growth_curves import Form
from layers.growth_lines import DAYS_PER_YEAR
from layers.site_model import quantile95
from layers.standing import COUNTED
from service.view import SiteView
from service.web import display
from service.web.growth_facts import form_words

LEAST_READINGS = 3  # of a tree, from its planting on
MOST_TREES, MOST_KINDS = 100, 8  # more take long, and tell little more
_FORMS: tuple[Form, ...] = ("logistic", "Gompertz")


def ends_of_growth(view: SiteView, units: display.Units) -> list[tuple[str, int, str]]:
    """Return (genus, trees, what the curve of the group tells or why nothing), the most trees first.

    Of living trees with one trunk, a day of planting and three measurements; none where no kind has three.
    """
    return [
        (genus, of["tree_id"].nunique(), _words(of, units)) for genus, of in _groups(_planted_sizes(view))
    ]


def _planted_sizes(view: SiteView) -> pd.DataFrame:
    """``tree_id``, ``genus``, ``age`` [yr since planting] and ``dbh_cm`` of every reading of use."""
    trees = view.trees[view.trees["status"].isin(COUNTED).to_numpy() & (view.trees["stems"] == 1).to_numpy()]
    trees = trees[trees["genus"].notna().to_numpy() & ~np.isnat(days(trees["planted_on"]))]
    if not len(trees):
        return pd.DataFrame(columns=["tree_id", "genus", "age", "dbh_cm"])
    sizes, when = dated_sizes(view.records, view.terms, view.as_of)
    read = sizes.readings[["tree_id", "dbh_cm"]].assign(day=when)
    read = read.merge(trees[["tree_id", "genus", "planted_on"]], on="tree_id")
    age = (read["day"].to_numpy() - days(read["planted_on"])).astype("timedelta64[D]").astype(int)
    read = read.assign(age=age / DAYS_PER_YEAR)[(age >= 0) & (read["dbh_cm"] > 0).to_numpy()]
    return read[(read.groupby("tree_id")["age"].transform("nunique") >= LEAST_READINGS).to_numpy()]


def _groups(read: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    number = read.groupby("genus")["tree_id"].nunique().sort_values(ascending=False, kind="stable")
    for genus in number.index[number >= LEAST_TREES][:MOST_KINDS]:
        yield str(genus), read[read["genus"] == genus]


def _words(of: pd.DataFrame, units: display.Units) -> str:
    ids = np.sort(of["tree_id"].unique().astype(str))
    some = of[of["tree_id"].isin(ids[:: -(-len(ids) // MOST_TREES)])]
    tree, _ids = pd.factorize(some["tree_id"])
    age, dbh = some["age"].to_numpy(dtype=float), some["dbh_cm"].to_numpy(dtype=float)
    curves = [fit_group_curve(form, age, dbh, tree) for form in _FORMS]
    told = [curve for curve in curves if curve.identifiable]
    if not told:
        return str(_(curves[0].sentence))
    return _told(max(told, key=lambda curve: curve.log_likelihood), units)


def _told(curve: GroupCurve, units: display.Units) -> str:
    reach = float(quantile95(np.array(len(curve.own) - 1.0)))  # mostly the trees differ, and they are few
    return str(
        _(
            "The curve of the group (%(form)s) levels off at %(limit)s.",
            form=form_words(curve.form),
            limit=units.give_or_take(curve.parameters["limit"], curve.errors["limit"], "width", reach),
        )
    )
