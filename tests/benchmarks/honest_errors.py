"""One simulated site after another through the layers: does the truth lie in the 95 % intervals?

One case a site for each target: a random stem's diameter on its measuring day, one area's basal area per
hectare (of the stems that truly stand in it, as large as they were on their last measuring day), a random
stem's growth, an area's mean growth (of the stems that truly stand in it).
"""

import multiprocessing
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from layers import ground, learning
from layers.edge_doubt import doubt_of_areas, stems_in_doubt
from layers.figures import figures
from layers.girth import basal_area_m2, basal_area_per_cm
from layers.growth import Growth, growth_of, mean_growth
from layers.history import StandState, counted_readings, state_at
from layers.inputs import Records, SiteTerms, with_hands
from layers.intervals import quantile_of
from layers.site_model import Factor, SiteModel
from tests.benchmarks.simulated_mistakes import HEIGHT, with_mistakes
from tests.benchmarks.simulated_records import FIRST_DAY, records_of, terms_of
from tests.benchmarks.simulated_variances import errors_of
from tests.benchmarks.simulator import DAYS_PER_YEAR, Site, drawn_site, true_dbh_cm

TARGETS = ("diameter", "basal area per hectare", "growth", "mean growth")
AS_OF = "2031-01-01"
NORMAL = 1.959964


@dataclass(frozen=True)
class Case:
    """An estimate with its 95 % interval, the truth, and the half-width under the true variances."""

    target: str
    site: int
    middle: float
    half: float
    truth: float
    true_half: float
    own_factor: float
    crew_factor: float


def site_cases(world, seed, number, models, mistakes=0.0):
    """Return the cases of one site.

    ``models``: "published" (the site uses version 0) or "learned" (it learns from its repeated readings and
    adopts). ``mistakes`` is the share of readings with a gross mistake, all left in.
    """
    site = drawn_site(world, seed, number)
    if mistakes > 0:
        draw = np.random.default_rng([seed, number, 2])
        site = with_mistakes(site, draw, mistakes, kinds=tuple(range(HEIGHT + 1)))
    records, terms = records_of(site), terms_of(site)
    terms = with_hands(terms, records)
    draw = np.random.default_rng([seed, number, 1]).random(4)
    if models == "published":
        told = _Told.of(site, records, terms, draw)
        halves = told.true_halves()
    else:
        repeated = learning.repeats(records, terms)
        learned = learning.learned_from(repeated)
        told = _Told.of(site, records, replace(terms, model=learned), draw)
        known = _Told.of(site, records, replace(terms, model=_known_model(site, repeated)), draw)
        halves = {target: known.cases[target][1] for target in known.cases}
    factors = site.truth["own_factor"], site.truth["crew_factor"]
    return [Case(target, number, *each, halves[target], *factors) for target, each in told.cases.items()]


def _known_model(site, repeated):
    """The true factors, taken as known, and the shared effects as they are learned with these."""
    own, crew = (site.truth[name] ** 2 for name in ("own_factor", "crew_factor"))
    factors = {"own": own, "crew": crew, "departure": 1.0}
    effects = {}
    if len(repeated):
        likelihood = learning._Likelihood.of(repeated, 0.0)
        effects = likelihood.effects(np.log([factors[name] for name in likelihood.free]))
    return SiteModel(**{name: Factor(value) for name, value in factors.items()}, effects=effects)


@dataclass(frozen=True)
class _Told:
    """What the layers tell of a site: by target the middle and half-width of the interval, and the truth."""

    site: Site
    records: Records
    terms: SiteTerms
    state: StandState
    growth: Growth
    row: dict
    stem: int  # row of the stem state
    area: int
    grown: int  # row of the stems with growth, -1 for none
    members: np.ndarray  # rows of the stems with growth that are recorded inside
    cases: dict

    @classmethod
    def of(cls, site, records, terms, draw):
        state = state_at(records, terms, AS_OF)
        growth = growth_of(records, terms, AS_OF)
        areas = ground.areas_ha(records.areas, terms)
        area, stem = int(draw[1] * len(areas)), int(draw[0] * len(state.stem_state))
        inside = ground.membership(records.trees, areas.iloc[[area]], terms)
        row = _figures(records, terms, state, areas.iloc[[area]], inside)
        can = np.flatnonzero(growth.can_be_told)
        grown = int(can[int(draw[2] * len(can))]) if len(can) else -1
        tree = site.stems["tree"][_numbers(growth.stems["stem_id"])]
        members = np.flatnonzero(np.isin(tree, _numbers(inside["tree_id"])))
        told = cls(site, records, terms, state, growth, row, stem, area, grown, members, {})
        return replace(told, cases=told._cases())

    def _cases(self):
        cases = {TARGETS[0]: self._diameter(), TARGETS[1]: self._basal_area()}
        if self.grown >= 0:
            row = self.growth.stems.iloc[self.grown]
            middle = float(row["growth_cm_per_yr"])
            cases[TARGETS[2]] = middle, float(row["hi"]) - middle, float(self._true_growth([self.grown])[0])
        mean = self._mean_growth().groups.iloc[0]
        tree = self.site.stems["tree"][self._grown_numbers()]
        truly = np.flatnonzero(self.site.ground["inside"][self.area][tree] & self._has_growth())
        if mean["stems"] and len(truly):
            middle = float(mean["growth_cm_per_yr"])
            cases[TARGETS[3]] = middle, float(mean["hi"]) - middle, float(self._true_growth(truly).mean())
        return cases

    def _mean_growth(self):
        """The mean growth of the stems that are recorded in the area."""
        area = self.records.areas.iloc[[self.area]]
        doubt = doubt_of_areas(self.records.trees, area, self.terms)
        tree = self.site.stems["tree"][self._grown_numbers()]
        doubtful = stems_in_doubt(doubt, tree[self._has_growth()], 1)
        group = np.zeros(len(self.members), dtype=np.int64)
        return mean_growth(self.growth, group, self.members, 1, self.terms, doubtful)

    def _has_growth(self):
        return np.isfinite(self.growth.stems["growth_cm_per_yr"].to_numpy())

    def _diameter(self):
        row = self.state.stem_state.iloc[self.stem]
        parts = self.state.stem_parts[(self.state.stem_parts["stem_id"] == row["stem_id"]).to_numpy()]
        causes = self.state.causes.set_index("cause").loc[parts["cause"]]
        variances = {"own": float(row["own_var_cm2"])}
        for kind, size, v in zip(causes["kind"], parts["sensitivity_cm"], causes["variance"], strict=True):
            variances[kind] = variances.get(kind, 0.0) + size**2 * v
        half = quantile_of(variances, self.terms.model) * np.sqrt(sum(variances.values()))
        day = _days([row["measured_on"]])
        truth = true_dbh_cm(self.site.stems, self.site.truth, _numbers([row["stem_id"]]), day)[0]
        return float(row["dbh_cm"]), float(half), float(truth)

    def _basal_area(self):
        row, rows = self.row, self.state.stem_state
        half = quantile_of(row["error_by_cause"], self.terms.model) * row["basal_area_se_m2_per_ha"]
        middle = (row["basal_area_lo"] + row["basal_area_hi"]) / 2.0 / row["area_ha"]
        stem = _numbers(rows["stem_id"])
        inside = self.site.ground["inside"][self.area][self.site.stems["tree"][stem]]
        dbh = true_dbh_cm(self.site.stems, self.site.truth, stem, _days(rows["measured_on"].tolist()))
        truth = basal_area_m2(dbh)[inside].sum() / self.site.ground["area_ha"][self.area]
        return float(middle), float(half), float(truth)

    def _grown_numbers(self):
        return _numbers(self.growth.stems["stem_id"])

    def _true_growth(self, rows):
        """What the stems really grew a year between their first and last reading."""
        stem, of = self._grown_numbers()[rows], self.growth.stems.iloc[rows]
        first, last = (
            of[name].to_numpy().astype("datetime64[D]").astype(np.int64) - FIRST_DAY.astype(np.int64)
            for name in ("first_on", "last_on")
        )
        size = [true_dbh_cm(self.site.stems, self.site.truth, stem, day) for day in (first, last)]
        return (size[1] - size[0]) / (last - first) * DAYS_PER_YEAR

    def true_halves(self):
        """Half-widths of the same estimates by the true variances of the readings, as the simulator has them.

        What the ground and the trees near its edge add is that of the figures.
        """
        errors = errors_of(self.site)
        counted = counted_readings(self.records, self.terms, AS_OF)
        reading = _numbers(counted.sizes.readings["reading_id"])[counted.rows]
        stem = counted.stem[counted.rows]

        def variance(of_stem):
            a = np.zeros(len(errors.own_var))
            a[reading] = counted.weights * of_stem[stem]
            return errors.variance(a)

        dbh = self.state.stem_state["dbh_cm"].to_numpy(dtype=float)
        only = (np.arange(len(dbh)) == self.stem).astype(float)
        inside = self._recorded_inside()
        ha, row = self.row["area_ha"], self.row
        of_sizes = variance(basal_area_per_cm(dbh) * inside / ha)
        shares = row["error_by_cause"]
        beside = (shares.get("area", 0.0) + shares.get("edge", 0.0)) * row["basal_area_se_m2_per_ha"] ** 2
        out = {TARGETS[0]: variance(only), TARGETS[1]: of_sizes + beside}
        if self.grown >= 0:
            out[TARGETS[2]] = self._growth_variance(errors, [self.grown])
        of_edge = float(self._mean_growth().variances[0, -1])
        out[TARGETS[3]] = self._growth_variance(errors, self.members) + of_edge
        return {target: NORMAL * float(np.sqrt(size)) for target, size in out.items()}

    def _recorded_inside(self):
        inside = ground.membership(self.records.trees, self.records.areas.iloc[[self.area]], self.terms)
        return self.state.stem_state["tree_id"].isin(inside["tree_id"]).to_numpy(dtype=float)

    def _growth_variance(self, errors, rows):
        rows = [n for n in rows if self._has_growth()[n]]
        weights = self.growth.weights
        weights = weights[weights["stem"].isin(rows)]
        a = np.zeros(len(errors.own_var))
        ids = self._growth_reading_ids()
        np.add.at(a, ids[weights["row"].to_numpy()], weights["weight"].to_numpy() / max(len(rows), 1))
        return errors.variance(a)

    def _growth_reading_ids(self):
        """The number of the reading in every row that the weights of growth speak of."""
        live = self.records.readings
        when = pd.to_datetime(live["measured_on"])
        span = when.groupby(live["stem_id"]).transform("max") - when.groupby(live["stem_id"]).transform("min")
        order = live.assign(when=when)[span >= pd.Timedelta(days=292)]
        codes = pd.factorize(live["stem_id"])[0][order.index]
        return order.index.to_numpy()[np.lexsort((order["when"], codes))]


def _figures(records, terms, state, areas, inside):
    frames = state.stem_state, state.stem_parts, state.causes, inside
    given = {"trees": records.trees, "areas": areas, "terms": terms, "as_of": AS_OF, "known_at": 1}
    return figures(*frames, **given)[1]


def _days(iso):
    return (np.array(iso, dtype="datetime64[D]") - FIRST_DAY).astype(np.int64)


def _numbers(ids):
    return np.array([int(each[1:]) for each in ids], dtype=np.int64)


def cases_of(world, seed, sites, models="published", mistakes=0.0, processes=1):
    """Return the cases of many sites as a frame, one row a case, with whether the truth is inside."""
    jobs = [(world, seed, number, models, mistakes) for number in range(sites)]
    if processes > 1:
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            found = pool.starmap(site_cases, jobs, chunksize=20)
    else:
        found = [site_cases(*job) for job in jobs]
    frame = pd.DataFrame([vars(case) for of_site in found for case in of_site])
    return frame.assign(is_inside=(frame["truth"] - frame["middle"]).abs() <= frame["half"])


def summary(cases):
    """Sites, coverage [-] and mean half-width over that under the true variances [-] by target."""
    by = cases.groupby("target", sort=False)
    out = by.agg(sites=("site", "size"), coverage=("is_inside", "mean"))
    out = out.assign(ratio=by["half"].mean() / by["true_half"].mean())
    return out.loc[[target for target in TARGETS if target in out.index]]
