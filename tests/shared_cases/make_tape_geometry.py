"""Write ``tape_geometry.json``: python -m tests.shared_cases.make_tape_geometry.

What a tape shows, worked out apart from the formula: the arc by adaptive quadrature, the place where the tape
leaves the trunk by a root of the cross product, the profile from its equation in feet (Raile 1982, NC-224).
"""

import json
import math
import random
from pathlib import Path

from scipy.integrate import quad
from scipy.optimize import brentq

FILE = Path(__file__).with_name("tape_geometry.json")
DRAWN = 60


def girth_at(trunk, height_m):
    def wide(metres):
        feet = metres / 0.3048
        return 1.0 + trunk["profile"] * (4.5 - feet) / (feet + 1.0)

    return trunk["girth"] * wide(height_m) / wide(trunk["height"])


def length(girth, tilt_deg, gap_cm):
    """The shortest closed line round an ellipse and a point off the end of its short axis."""
    short = girth / (2.0 * math.pi)
    long = short / math.cos(math.radians(tilt_deg))

    def speed(p):
        return math.hypot(long * math.cos(p), short * math.sin(p))

    def turn(p):
        """Cross product of the way to the point and the direction of the ellipse: 0 on the tangent."""
        x, y = long * math.sin(p), short * math.cos(p)
        return (short + gap_cm - y) * long * math.cos(p) - (0.0 - x) * (-short * math.sin(p))

    leaves = brentq(turn, 1e-12, math.pi / 2.0, xtol=1e-15) if gap_cm > 0 else 0.0
    straight = math.hypot(long * math.sin(leaves), short + gap_cm - short * math.cos(leaves))
    arc = quad(speed, leaves, math.pi, epsabs=1e-12, epsrel=1e-13)[0]
    return 2.0 * (arc + straight)


def shows(case):
    return length(girth_at(case["trunk"], case["height"]), case["tilt"], case["gap"])


def cases():
    """The ends of each slider by itself, then combinations drawn at random."""
    trunk = {"girth": 100.0, "height": 1.3, "profile": 0.12766}
    ways = [(t, 0.0, 1.3) for t in (0, 1, 5, 10, 15, 20, 25, 30)]
    ways += [(0, g, 1.3) for g in (0.1, 0.5, 1.0, 2.0, 5.0)]
    ways += [(0, 0.0, h) for h in (0.15, 0.3, 0.8, 1.3716, 1.53)]
    dice = random.Random(7)
    drawn = [
        {
            "trunk": {
                "girth": round(dice.uniform(10, 600), 1),
                "height": dice.choice([1.0, 1.3, 1.3716, 1.4]),
                "profile": dice.choice([0.08091, 0.12766, 0.14525]),
            },
            "tilt": dice.randint(0, 30),
            "gap": round(dice.uniform(0, 5), 1),
            "height": round(dice.uniform(0.15, 1.53), 2),
        }
        for _ in range(DRAWN)
    ]
    return [{"trunk": trunk, "tilt": t, "gap": g, "height": h} for t, g, h in ways] + drawn


def document():
    return [{**case, "shows": round(shows(case), 9)} for case in cases()]


if __name__ == "__main__":
    FILE.write_text(json.dumps(document(), indent=1) + "\n", encoding="utf-8")
