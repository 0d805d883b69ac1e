"""An error model in words: each parameter as published, as in use and as learned now; figures with each."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from scipy import stats

from layers import taper
from layers.error_model import Z95
from layers.far_apart import Learned
from layers.site_model import PRIOR_DF, PUBLISHED, Effect, Factor, SiteModel
from service.site_models import figures_with
from service.view import SiteView
from service.web import display
from service.web import plain_words as plain

FACTORS = (
    ("own", _l("own error of a measurement"), _l("times the published deviation")),
    ("crew", _l("what teams differ by"), _l("times the published deviation")),
    ("departure", _l("how far one trunk is from the usual shape"), _l("times the published deviation")),
)


@dataclass(frozen=True)
class Parameter:
    """One parameter: what it is, in which measure, and its value with give-or-take in three models."""

    words: str
    measure: str
    published: str
    in_use: str
    learned: str

    @property
    def changes(self) -> bool:
        """Whether the model learned now says otherwise than the one in use."""
        return self.in_use != self.learned


def parameters(view: SiteView) -> list[Parameter]:
    """Return every parameter that the model in use or the one learned now says something about."""
    use, now = view.terms.model, view.learned.model
    rows = [_factor(name, str(words), str(measure), use, now) for name, words, measure in FACTORS]
    units = display.Units(view.terms.units)
    for cause in sorted({*use.effects, *now.effects}):
        kind, key = cause.split(":", 1)
        if kind == "taper":
            rows.append(_taper(key, cause, use, now))
        if kind == "instrument":
            rows.append(_instrument(key.split(":")[-1], cause, view, units))
    return rows


def _factor(name: str, words: str, measure: str, use: SiteModel, now: SiteModel) -> Parameter:
    said = [_factor_words(getattr(model, name)) for model in (PUBLISHED, use, now)]
    return Parameter(words, measure, *said)


def _factor_words(factor: Factor) -> str:
    """The factor of a deviation; with its 95 % interval where readings tell of it."""
    middle = display.number(math.sqrt(factor.value), 2)
    if not PRIOR_DF < factor.df < math.inf:
        return middle
    low, high = np.sqrt(factor.value * factor.df / stats.chi2.ppf([0.975, 0.025], factor.df))
    ends = {"low": display.number(low, 2), "high": display.number(high, 2)}
    return str(_("%(middle)s (%(low)s to %(high)s)", middle=middle, **ends))


def _taper(name: str, cause: str, use: SiteModel, now: SiteModel) -> Parameter:
    b = next((b for b, known in taper.SETS.items() if known == name), math.nan)
    published = Effect(0.0, (taper.COEFFICIENT_SHARE * b) ** 2)
    said = [_effect(model.effects.get(cause, published), b, 1.0, 3) for model in (PUBLISHED, use, now)]
    words = _("how trunks thin upward: %(set)s", set=plain.set_words(name))
    return Parameter(words, _("coefficient of the profile"), *said)


def _instrument(name: str, cause: str, view: SiteView, units: display.Units) -> Parameter:
    """What an instrument reads too much, at the sizes that were read several times."""
    per_cm = typical_cm(view.learned, cause)
    scale = units.value(per_cm, "width") or math.nan
    published = Effect(0.0, 1.0)
    models = (PUBLISHED, view.terms.model, view.learned.model)
    said = [_effect(model.effects.get(cause, published), 0.0, scale, 2) for model in models]
    words = _("what this reads too much: %(instrument)s", instrument=plain.said(plain.INSTRUMENT, name))
    return Parameter(words, units.unit("width"), *said)


def typical_cm(learned: Learned, cause: str) -> float:
    """The deviation that the published model gives a shared effect, at the sizes read several times [cm]."""
    parts = learned.kept.sizes.parts
    sizes = parts.loc[parts["cause"] == cause, "sensitivity_cm"].abs()
    return float(sizes.median()) if len(sizes) else math.nan


def _effect(effect: Effect, start: float, scale: float, decimals: int) -> str:
    middle, half = start + scale * effect.mean, scale * Z95 * math.sqrt(effect.variance)
    if math.isnan(middle):
        return display.NONE
    shown = display.number(middle, decimals), display.number(half, decimals)
    return str(_("%(middle)s, give or take %(half)s", middle=shown[0], half=shown[1]))


@dataclass(frozen=True)
class Compared:
    """One figure of the whole ground with the model in use and with the one learned now."""

    words: str
    in_use: str
    learned: str


def compared(view: SiteView) -> list[Compared]:
    """Return the figures that a model changes, with both models."""
    units = display.Units(view.terms.units)
    rows = (view.figures[0], figures_with(view, view.learned.model))
    found = [
        ("basal_area_m2", "basal_area_se_m2", "cut_face", _("cut face of all trunks together")),
        (
            "basal_area_m2_per_ha",
            "basal_area_se_m2_per_ha",
            "cut_face_per_ground",
            _("cut face on the ground"),
        ),
        ("mean_dbh_cm", None, "width", _("mean width of a trunk")),
    ]
    return [
        Compared(words, *(_shown(row, key, se, kind, units) for row in rows))
        for key, se, kind, words in found
    ]


def _shown(row: dict[str, Any], key: str, se: str | None, kind: str, units: display.Units) -> str:
    return units.give_or_take(row[key], row[se] if se else None, kind)
