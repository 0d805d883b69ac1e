"""Gross mistakes in simulated readings: which reading went wrong, how, and by how much."""

from dataclasses import replace

import numpy as np

from tests.benchmarks.simulated_crews import HEIGHTS_M
from tests.benchmarks.simulated_forecast import forecast
from tests.benchmarks.simulated_readings import read, rounded
from tests.benchmarks.simulator import true_dbh_cm

NEIGHBOUR_M = 20.0
KINDS = (
    *("unit mixed up", "girth or diameter", "digits swapped", "another stem", "neighbour's tag"),
    *("another height", "real shrinkage"),
)
UNIT, GIRTH, DIGITS, STEM, TAG, HEIGHT, SHRINKAGE = ALL = tuple(range(len(KINDS)))
SHRUNK = (0.70, 0.97)  # what is left of the diameter


def with_mistakes(site, rng, share=0.02, kinds=ALL):
    """Return the site with mistakes in a share of its readings, equal shares of the kinds.

    Returns
    -------
    Site
        ``readings`` has further arrays: ``mistake`` (a code of KINDS, -1 for a good reading; of a stem that
        shrank only the first reading after it), ``good_value`` and ``good_value_2`` (what would have been
        said), ``distance`` (how far the reading is from the good one, over the predictive deviation of the
        simulator given the earlier readings; 0 for good ones). After a shrinkage the true ``dbh_cm`` is less.
    """
    said = dict(site.readings)
    number = len(said["stem"])
    chosen = np.flatnonzero(rng.random(number) < share)
    code = np.full(number, -1)
    code[chosen] = rng.permutation(np.resize(rng.permutation(list(kinds)), len(chosen)))
    said |= {"good_value": said["value"], "good_value_2": said["value_2"]}
    said["value"], said["value_2"] = said["value"].copy(), said["value_2"].copy()
    before = forecast(site)
    for kind, make in MAKERS.items():
        rows = np.flatnonzero(code == kind)
        if len(rows):
            done = make(rng, site, said, rows)
            code[rows[~done]] = -1
    said["mistake"] = code
    after = forecast(replace(site, readings=said | {"dbh_cm": site.readings["dbh_cm"]}))
    apart = np.abs(after["standard_cm"] - before["standard_cm"]) / before["sd_cm"]
    said["distance"] = np.where(code >= 0, apart, 0.0)
    return replace(site, readings=said)


def _scaled(site, said, rows, factor):
    step = site.crews["step"][said["crew"][rows]]
    for name in ("value", "value_2"):
        said[name][rows] = rounded(said[name][rows] * factor, step)


def _mix_units(rng, site, said, rows):
    """Inches for centimetres or the reverse, feet for inches, a point in the wrong place."""
    inches = site.crews["unit"][said["crew"][rows]] == "in"
    which = rng.integers(0, 3, len(rows))
    of_unit = np.where(inches, 2.54, 1.0 / 2.54)
    point = np.where(rng.random(len(rows)) < 0.5, 10.0, 0.1)
    _scaled(
        site,
        said,
        rows,
        np.select([which == 0, (which == 1) & inches, which == 2], [of_unit, 1 / 12, point], of_unit),
    )
    return np.ones(len(rows), dtype=bool)


def _mix_girth(rng, site, said, rows):
    """The other of girth and diameter was read."""
    _scaled(site, said, rows, np.where(said["is_girth"][rows], 1.0 / np.pi, np.pi))
    return np.ones(len(rows), dtype=bool)


def _swap_digits(rng, site, said, rows):
    """Two digits beside each other change places; none where all are alike."""
    done = np.zeros(len(rows), dtype=bool)
    for n, row in enumerate(rows.tolist()):
        text = f"{said['value'][row]:g}"
        places = [i for i in range(len(text) - 1) if text[i : i + 2].isdigit() and text[i] != text[i + 1]]
        places += [i for i in range(len(text) - 2) if text[i + 1] == "." and text[i] != text[i + 2]]
        if places:
            at = int(rng.choice(places))
            to = at + 2 if text[at + 1] == "." else at + 1
            digits = list(text)
            digits[at], digits[to] = digits[to], digits[at]
            value = float("".join(digits))
            done[n] = value > 0
            said["value"][row] = value if value > 0 else said["value"][row]
    return done


def _read_other(rng, site, said, rows, **changed):
    """The rows read anew by the same crew, with something else than what was meant."""
    meant = {name: said[name][rows] for name in ("stem", "crew", "day", "height_m", "says_height")} | changed
    meant["dbh_cm"] = changed.get("dbh_cm", true_dbh_cm(site.stems, site.truth, meant["stem"], meant["day"]))
    parts = site.world.all_parts()
    got = read(rng, meant, site.stems, site.trees, site.crews, site.standard_m, site.truth, parts)
    said["value"][rows], said["value_2"][rows] = got["value"], got["value_2"]


def _read_another_stem(rng, site, said, rows):
    stems = len(site.stems["tree"])
    other = (said["stem"][rows] + rng.integers(1, stems, len(rows))) % stems
    _read_other(rng, site, said, rows, stem=other)
    return np.ones(len(rows), dtype=bool)


def _read_neighbour(rng, site, said, rows):
    """A stem of another tree within 20 m, which hangs beside."""
    at = site.ground["at_m"][site.stems["tree"]]
    mine = said["stem"][rows]
    apart = np.linalg.norm(at[mine][:, None, :] - at[None, :, :], axis=2)
    near = (apart <= NEIGHBOUR_M) & (site.stems["tree"][mine][:, None] != site.stems["tree"])
    done = near.any(axis=1)
    other = np.argmax(near * rng.random(near.shape), axis=1)
    _read_other(rng, site, said, rows[done], stem=other[done])
    return done


def _read_elsewhere(rng, site, said, rows):
    """Measured at another height than is said."""
    other = rng.choice(HEIGHTS_M, len(rows))
    done = np.abs(other - said["height_m"][rows]) > 0.1
    _read_other(rng, site, said, rows[done], height_m=other[done])
    return done


def _shrink(rng, site, said, rows):
    """The stem is thinner from this day on: bark or wood was lost; its later readings say so too."""
    said["dbh_cm"] = said["dbh_cm"].copy()
    left = rng.uniform(*SHRUNK, len(rows))
    for row, share in zip(rows.tolist(), left.tolist(), strict=True):
        later = np.flatnonzero((said["stem"] == said["stem"][row]) & (np.arange(len(said["stem"])) >= row))
        said["dbh_cm"][later] = said["dbh_cm"][later] * share
        _scaled(site, said, later, share)
    return np.ones(len(rows), dtype=bool)


MAKERS = {
    UNIT: _mix_units,
    GIRTH: _mix_girth,
    DIGITS: _swap_digits,
    STEM: _read_another_stem,
    TAG: _read_neighbour,
    HEIGHT: _read_elsewhere,
    SHRINKAGE: _shrink,
}
