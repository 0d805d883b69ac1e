"""The numbers of the error model written out a second time, so that the simulator rests on nothing it tests.

Lengths in cm unless said. All standard deviations but the first are assumptions.

References
----------
.. [1] Luoma, V. et al. 2017. Forests 8(2):38 (abstract): standard deviation of dbh 0.3 cm (1.5 %).
.. [2] Raile 1982, USDA Forest Service NC-224 (form of the profile), and FIADB REF_SPECIES (coefficients).
"""

import numpy as np

FOOT_M = 0.3048
CM_OF = {"cm": 1.0, "in": 2.54}

# Scientific name and published coefficient B outside bark, by FIADB REF_SPECIES.
SPECIES = (
    ("Acer rubrum", 0.11585),
    ("Betula papyrifera", 0.11585),
    ("Populus tremuloides", 0.09658),
    ("Fraxinus americana", 0.12766),
    ("Tilia americana", 0.12766),
    ("Ulmus americana", 0.12766),
    ("Quercus rubra", 0.12798),
    ("Acer saccharum", 0.12798),
    ("Pinus strobus", 0.08091),
    ("Pinus sylvestris", 0.08091),
    ("Picea abies", 0.14525),
    ("Abies balsamea", 0.12667),
)
TAPER_SHARE = 0.20
TILT_SHARE = 0.002
HEIGHT_NOT_SAID_SHARE = 0.005
HAND_CM, HAND_SD_CM = 8.0, 0.5  # of a crew, and from crew to crew (mensuration handbook: 7.5 and 8.5)
PLACEMENT_CM = 0.3  # deviation of laying a hand once
LAID, TIMES = 10, 5  # hands one after the other along a tape, and how often
HAND_SE_CM = PLACEMENT_CM / np.sqrt(LAID * TIMES)

GIRTH_TAPE, DIAMETER_TAPE, CALIPER, NOT_SAID, STRING, CALIBRATED, HANDS, SIGHTING, EYE = range(9)
INSTRUMENTS = (
    *("girth tape", "diameter tape", "caliper", "unknown", "string and ruler", "hand breadths"),
    *("hand breadths", "sighting", "eye"),
)
# By instrument for trained hands, then for pupils and volunteers: the larger of a length and a share of the
# diameter, a further share in squares; the crew's is a length.
#            own: cm  share  more  instrument: cm  share   crew: cm
_TRAINED = {
    GIRTH_TAPE: (0.3, 0.015, 0.0, 0.1, 0.0, 0.1),
    DIAMETER_TAPE: (0.3, 0.015, 0.0, 0.1, 0.0, 0.1),
    CALIPER: (0.3, 0.015, 0.0, 0.1, 0.0, 0.1),
    NOT_SAID: (0.3, 0.015, 0.0, 0.1, 0.0, 0.1),
    STRING: (0.3, 0.015, 0.005, 0.1, 0.005, 0.1),
    CALIBRATED: (0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    HANDS: (0.0, 0.02, 0.0, 0.0, 0.07, 0.0),
    SIGHTING: (0.0, 0.05, 0.0, 0.0, 0.02, 0.0),
    EYE: (0.0, 0.15, 0.0, 0.0, 0.05, 0.0),
}
_HELPERS = _TRAINED | {
    **dict.fromkeys((GIRTH_TAPE, DIAMETER_TAPE, CALIPER, NOT_SAID), (0.7, 0.0, 0.0, 0.3, 0.0, 0.2)),
    STRING: (0.7, 0.0, 0.005, 0.3, 0.005, 0.2),
}
_TABLE = np.array([[hands[i] for i in range(len(INSTRUMENTS))] for hands in (_TRAINED, _HELPERS)])

_S_AT = np.array([0.0, 0.0446, 0.8333, 1.7718])
_S_IS = np.array([0.0, 0.005, 0.035, 0.075])


def profile(height_m):
    """f(h) of the stem profile: 0 at 4.5 ft, positive below."""
    feet = np.asarray(height_m, dtype=float) / FOOT_M
    return (4.5 - feet) / (feet + 1.0)


def ratio(height_m, standard_m, b):
    """Diameter at a height over that at the site's breast height."""
    return (1.0 + b * profile(height_m)) / (1.0 + b * profile(standard_m))


def departure_share(height_m, standard_m):
    """Departure of a stem with z = 1 from the profile, as a share of its diameter; signed.

    s(f(h)) - s(f(H)) with s piecewise linear; twice that where either height is above 4.5 ft.
    """
    height_m = np.asarray(height_m, dtype=float)
    apart = _s(profile(height_m)) - _s(profile(standard_m))
    beyond = np.maximum(height_m, standard_m) > 4.5 * FOOT_M + 1e-9
    return np.where(beyond, 2.0, 1.0) * np.where(np.abs(height_m - standard_m) <= 0.02, 0.0, apart)


def _s(f):
    size = np.abs(f)
    slope = (_S_IS[3] - _S_IS[2]) / (_S_AT[3] - _S_AT[2])
    return np.sign(f) * (np.interp(size, _S_AT, _S_IS) + np.maximum(size - _S_AT[3], 0.0) * slope)


def deviations_cm(instrument, is_helper, diameter_cm, hand_cm):
    """Standard deviations of a diameter as measured: own, instrument, crew, calibration [cm].

    Of calibrated hands u(C)^2 = n s_p^2 + (n u(b))^2 for n hands; the rounding of the count is apart.
    """
    cm, share, more, by_instrument, by_share, crew = np.moveaxis(
        _TABLE[is_helper.astype(int), instrument], -1, 0
    )
    own = np.hypot(np.maximum(cm, share * diameter_cm), more * diameter_cm)
    hands = np.pi * diameter_cm / hand_cm
    by_hand = np.sqrt(hands) * PLACEMENT_CM / np.pi
    calibrated = instrument == CALIBRATED
    own = np.where(calibrated, by_hand, own)
    calibration = np.where(calibrated, hands * HAND_SE_CM / np.pi, 0.0)
    return own, np.hypot(by_instrument, by_share * diameter_cm), crew, calibration
