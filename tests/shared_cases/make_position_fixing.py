"""Write the shared cases of positions and heights: python -m tests.shared_cases.make_position_fixing.

Nothing here is taken from the program: points are found by a solver (scipy) or with complex numbers, and
covariances from differences of these, input by input.
"""

import cmath
import json
import math
import random
import statistics
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

FOLDER = Path(__file__).parent
POSITIONS, HEIGHTS = FOLDER / "position_fixing.json", FOLDER / "height_by_angle.json"
DRAWN = 14


def spread(found, inputs, deviations):
    """Position and covariance of what ``found`` makes of the inputs, by central differences."""
    inputs = np.array(inputs, dtype=float)
    cov = np.zeros((2, 2))
    for n, deviation in enumerate(deviations):
        step = np.zeros_like(inputs)
        step[n] = 1e-5
        by = (np.array(found(*(inputs + step))) - np.array(found(*(inputs - step)))) / 2e-5
        cov += np.outer(by, by) * deviation**2
    return told(*found(*inputs), cov[0, 0], cov[0, 1], cov[1, 1])


def told(x, y, xx, xy, yy):
    names = ("x_m", "y_m", "var_x_m2", "cov_xy_m2", "var_y_m2", "accuracy_m")
    return dict(zip(names, map(float, (x, y, xx, xy, yy, math.sqrt(xx + yy))), strict=True))


def axes(*points):
    """Deviations of the coordinates of known points."""
    return [point[2] / math.sqrt(2) for point in points for _axis in "xy"]


def two_tapes(a, b, from_a_m, from_b_m, tape_se_m):
    if math.dist(a[:2], b[:2]) == 0:
        return {"fault": "same point"}
    base = math.dist(a[:2], b[:2])
    if from_a_m + from_b_m < base:
        return {"fault": "too short"}
    if abs(from_a_m - from_b_m) > base:
        return {"fault": "too long"}
    sides = [from_a_m, from_b_m]
    angle = math.acos((sides[0] ** 2 + sides[1] ** 2 - base**2) / (2 * sides[0] * sides[1]))
    if math.sin(angle) < math.sin(math.radians(10)):
        return {"fault": "too narrow"}
    out = {}
    for side, turn in (("left", 1j), ("right", -1j)):

        def found(ra, rb, ax, ay, bx, by, turn=turn):
            start, way = complex(ax, ay), complex(bx, by) - complex(ax, ay)

            def at(angle):
                return start + ra * way / abs(way) * cmath.exp(turn * angle)

            end = at(brentq(lambda angle: abs(at(angle) - complex(bx, by)) - rb, 0, math.pi, xtol=1e-15))
            return end.real, end.imag

        inputs = [*sides, *a[:2], *b[:2]]
        out[side] = spread(found, inputs, [tape_se_m, tape_se_m, *axes(a, b)])
    return out


def turned(side, angle):
    """A right angle to a side, off by an angle."""
    return cmath.exp((1j if side == "left" else -1j) * math.pi / 2 + 1j * angle)


def along_and_off(a, b, along_m, off_m, side, tape_se_m, right_angle_se_deg):
    def found(along, off, angle, ax, ay, bx, by):
        start, way = complex(ax, ay), complex(bx, by) - complex(ax, ay)
        way /= abs(way)
        at = start + along * way + off * way * turned(side, angle)
        return at.real, at.imag

    inputs = [along_m, off_m, 0.0, *a[:2], *b[:2]]
    return spread(found, inputs, [tape_se_m, tape_se_m, math.radians(right_angle_se_deg), *axes(a, b)])


def pace_of(counts, walked_m):
    mean = statistics.fmean(counts)
    length = walked_m / mean
    share = max(statistics.stdev(counts) / mean, 1 / 50)
    return {
        "length_m": length,
        "length_se_m": length * share / math.sqrt(len(counts)),
        "sd_m": length * share * math.sqrt(mean),
    }


def along_and_off_in_paces(a, b, along, off, side, counts, walked_m, right_angle_se_deg):
    pace = pace_of(counts, walked_m)
    whole = pace["length_m"] / math.sqrt(12)
    own = [math.sqrt(n * pace["sd_m"] ** 2 + whole**2) for n in (along, off)]

    def found(length, first, second, angle, ax, ay, bx, by):
        start, way = complex(ax, ay), complex(bx, by) - complex(ax, ay)
        way /= abs(way)
        at = start + (along * length + first) * way + (off * length + second) * way * turned(side, angle)
        return at.real, at.imag

    inputs = [pace["length_m"], 0.0, 0.0, 0.0, *a[:2], *b[:2]]
    angle = math.radians(right_angle_se_deg)
    return spread(found, inputs, [pace["length_se_m"], *own, angle, *axes(a, b)])


def bearing_and_distance(a, bearing_deg, distance_m, declination_deg, bearing_se_deg, tape_se_m):
    def found(bearing, distance, ax, ay):
        at = complex(ax, ay) + distance * 1j * cmath.exp(-1j * math.radians(bearing + (declination_deg or 0)))
        return at.real, at.imag

    return spread(found, [bearing_deg, distance_m, *a[:2]], [bearing_se_deg, tape_se_m, *axes(a)])


def averaged(fixes, least_m):
    if not fixes:
        return {"fault": "nothing"}
    total = sum(1 / each[2] ** 2 for each in fixes)
    x, y = (sum(each[n] / each[2] ** 2 for each in fixes) / total for n in (0, 1))
    scatter = math.sqrt(sum(math.dist(each[:2], (x, y)) ** 2 / each[2] ** 2 for each in fixes) / total)
    accuracy = max(math.sqrt(len(fixes) / total), scatter, least_m)
    return told(x, y, accuracy**2 / 2, 0, accuracy**2 / 2)


def tapped(x_m, y_m, scale, plan_accuracy_m):
    variance = ((0.007 * scale) ** 2 + plan_accuracy_m**2) / 2
    return told(x_m, y_m, variance, 0, variance)


def height(found, inputs, deviations):
    variance = 0.0
    for n, deviation in enumerate(deviations):
        more, less = list(inputs), list(inputs)
        more[n], less[n] = inputs[n] + 1e-5, inputs[n] - 1e-5
        variance += ((found(*more) - found(*less)) / 2e-5 * deviation) ** 2
    return {"height_m": found(*inputs), "se_m": math.sqrt(variance)}


def height_by_angle(distance_m, top_deg, foot_deg, slope_deg, angle_se_deg, tape_se_m):
    level = math.cos(math.radians(slope_deg))
    tangent = {n: math.tan(math.radians(n)) for n in (top_deg, foot_deg)}
    if not tangent[top_deg] > tangent[foot_deg] or not distance_m > 0:
        return {"fault": "outside"}

    def found(distance, top, foot):
        high, low = (cmath.exp(1j * math.radians(angle)) for angle in (top, foot))
        return distance * level * (high.imag / high.real - low.imag / low.real)

    return height(found, [distance_m, top_deg, foot_deg], [tape_se_m, angle_se_deg, angle_se_deg])


def height_by_stick(distance_m, covered_cm, reach_cm, tape_se_m, covered_se_cm, reach_se_cm):
    if min(distance_m, covered_cm, reach_cm) <= 0:
        return {"fault": "outside"}
    inputs, deviations = [distance_m, covered_cm, reach_cm], [tape_se_m, covered_se_cm, reach_se_cm]
    return height(lambda far, covered, reach: far * covered / reach, inputs, deviations)


A, B = [0.0, 0.0, 0.0], [5.0, 0.0, 0.0]
NEAR, FAR = [12.5, -3.25, 0.5], [31.0, 8.0, 1.5]


def positions_by_hand():
    """Cases that anyone can check with pencil and paper, and those that cannot be."""
    yield "a triangle of 3, 4 and 5", two_tapes, (A, B, 3.0, 4.0, 0.2)
    yield "tapes of one length", two_tapes, (A, B, 6.5, 6.5, 0.2)
    yield "two known points that are not known well", two_tapes, (NEAR, FAR, 14.2, 17.9, 0.1)
    yield "tapes that do not reach each other", two_tapes, (A, B, 2.0, 2.5, 0.2)
    yield "one tape that goes round the other", two_tapes, (A, B, 2.0, 7.5, 0.2)
    yield "tapes nearly along one line", two_tapes, (A, B, 2.51, 2.51, 0.2)
    yield "tapes along one line behind a point", two_tapes, (A, B, 25.0, 20.05, 0.2)
    yield "one point twice", two_tapes, (A, A, 3.0, 3.0, 0.2)
    yield "along a wall to the right", along_and_off, (A, B, 4.0, 3.0, "right", 0.2, 5.0)
    yield "along a wall to the left", along_and_off, (A, B, 4.0, 3.0, "left", 0.2, 5.0)
    yield "before the wall begins", along_and_off, (NEAR, FAR, -2.0, 6.5, "left", 0.1, 3.0)
    yield "at the wall", along_and_off, (NEAR, FAR, 12.0, 0.0, "left", 0.2, 5.0)
    yield "fifteen degrees at 20 m", bearing_and_distance, (A, 90.0, 20.0, None, 15.0, 0.2)
    yield "north", bearing_and_distance, (NEAR, 0.0, 12.0, None, 15.0, 0.2)
    yield "south by west, 3 degrees east", bearing_and_distance, (NEAR, 190.0, 12.0, 3.0, 10.0, 0.3)
    yield "28 paces over 20 m", along_and_off_in_paces, (A, B, 14, 7, "left", [28, 28, 28], 20.0, 5.0)
    yield "uneven paces", along_and_off_in_paces, (NEAR, FAR, 21, 9, "right", [30, 34, 31, 29], 20.0, 5.0)
    yield "one place for ten seconds", averaged, ([[4.0, 5.0, 8.0]] * 10, 5.0)
    yield "a good one among poor ones", averaged, ([[0.0, 0.0, 20.0], [6.0, 1.0, 5.0], [5.0, 2.0, 6.0]], 5.0)
    yield "a device that thinks too well of itself", averaged, ([[0.0, 0.0, 2.0], [1.0, 1.0, 2.0]], 5.0)
    yield "far scattered", averaged, ([[0.0, 0.0, 6.0], [40.0, 0.0, 6.0]], 5.0)
    yield "no position at all", averaged, ([], 5.0)
    yield "a finger at 1:500", tapped, (10.0, 20.0, 500.0, 0.0)
    yield "a plan that lies 2 m off", tapped, (10.0, 20.0, 200.0, 2.0)


def positions_drawn(dice):
    for n in range(DRAWN):
        a = [dice.uniform(-60, 60), dice.uniform(-60, 60), dice.choice([0.0, 0.3, 2.0])]
        b = [dice.uniform(-60, 60), dice.uniform(-60, 60), dice.choice([0.0, 0.3, 2.0])]
        at = [dice.uniform(-60, 60), dice.uniform(-60, 60)]
        se = dice.uniform(0.05, 0.5)
        side = dice.choice(["left", "right"])
        tapes = (round(math.dist(at, a[:2]), 2), round(math.dist(at, b[:2]), 2))
        yield f"drawn {n + 1}", two_tapes, (a, b, *tapes, se)
        off = (round(dice.uniform(0, 30), 2), round(dice.uniform(0, 20), 2))
        yield f"drawn {n + 1}", along_and_off, (a, b, *off, side, se, dice.uniform(1, 10))
        declination = dice.choice([None, dice.uniform(-20, 20)])
        turn = (dice.uniform(0, 360), dice.uniform(1, 40), declination, dice.uniform(3, 20), se)
        yield f"drawn {n + 1}", bearing_and_distance, (a, *turn)
        counts = [dice.randrange(24, 36) for _walk in range(dice.randrange(3, 6))]
        paces = (dice.randrange(0, 40), dice.randrange(0, 30), side, counts, 20.0, dice.uniform(1, 10))
        yield f"drawn {n + 1}", along_and_off_in_paces, (a, b, *paces)
        seen = [[at[0] + dice.gauss(0, 4), at[1] + dice.gauss(0, 4), dice.uniform(3, 30)] for _fix in "12345"]
        yield f"drawn {n + 1}", averaged, (seen, dice.uniform(0, 10))


def heights_by_hand():
    foot = -math.degrees(math.atan2(5.5, 50))
    yield "45 degrees, the foot level with the eye", height_by_angle, (20.0, 45.0, 0.0, 0.0, 1.0, 0.2)
    yield "17 degrees at 50 and the eye at 5.5", height_by_angle, (50.0, 17.0, foot, 0.0, 1.0, 0.2)
    yield "up a slope, the foot above the eye", height_by_angle, (25.0, 40.0, 5.0, 9.0, 1.0, 0.2)
    yield "down a slope", height_by_angle, (25.0, 20.0, -15.0, -9.0, 2.0, 0.2)
    yield "the tip below the foot", height_by_angle, (25.0, -5.0, 10.0, 0.0, 1.0, 0.2)
    yield "no distance", height_by_angle, (0.0, 40.0, -5.0, 0.0, 1.0, 0.2)
    yield "a stick as long as the arm", height_by_stick, (14.0, 60.0, 60.0, 0.2, 1.0, 2.0)
    yield "half of the stick", height_by_stick, (14.0, 30.0, 60.0, 0.2, 1.0, 2.0)
    yield "no arm", height_by_stick, (14.0, 30.0, 0.0, 0.2, 1.0, 2.0)


def heights_drawn(dice):
    for n in range(DRAWN):
        angles = (dice.uniform(15, 70), dice.uniform(-15, 8), dice.uniform(-20, 20), dice.uniform(0.5, 3))
        yield f"drawn {n + 1}", height_by_angle, (dice.uniform(5, 50), *angles, dice.uniform(0.1, 1))
        stick = (dice.uniform(10, 80), dice.uniform(40, 75), dice.uniform(0.1, 1), 1.0, dice.uniform(1, 4))
        yield f"drawn {n + 1}", height_by_stick, (dice.uniform(5, 50), *stick)


def cases(*sources):
    for source in sources:
        for name, rule, given in source:
            names = rule.__code__.co_varnames[: rule.__code__.co_argcount]
            said = dict(zip(names, given, strict=True))
            yield {"name": name, "of": rule.__name__, "given": said, "expected": rule(**said)}


def documents():
    about = "Made by make_position_fixing.py, which takes nothing from the program."
    dice = random.Random(5)
    yield POSITIONS, {"about": about, "cases": list(cases(positions_by_hand(), positions_drawn(dice)))}
    yield HEIGHTS, {"about": about, "cases": list(cases(heights_by_hand(), heights_drawn(dice)))}


def main():
    """One case a line, so that a change of one is seen as one."""
    for file, made in documents():
        lines = ",\n".join(json.dumps(case, separators=(",", ":")) for case in made.pop("cases"))
        file.write_text(f'{json.dumps(made)[:-1]}, "cases": [\n{lines}\n]}}\n', encoding="utf-8")


if __name__ == "__main__":
    main()
