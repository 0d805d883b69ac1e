"""Growth of many stems against a bare numpy weighted least squares of the same sizes, in the same run.

Four readings a stem by four crews, sizes from 5 to 125 cm, in both runs as standard diameters. The yardstick
knows the variance of each reading and nothing of what readings share, judges none, gives no interval and
reads no frame. Time is that of the process, so that what else the machine does is not counted; one thread
does the work. Memory is that of the whole process, the sizes that are handed over included.
"""

import json
import subprocess
import sys

import pytest

SHORT, FULL = 100_000, 1_000_000
READINGS = 4
MOST_S, MOST_GB = 20.0, 2.0


def measured(stems):
    """What a process of its own prints: seconds of both, memory, what came out of both."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.growth_run", str(stems), str(READINGS)],
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def said(found, capsys):
    with capsys.disabled():
        print(
            f"\ngrowth of {found['stems']:,} stems x {READINGS} readings: {found['growth_s']:.1f} s, "
            f"{found['growth_s'] / found['bare_s']:.0f} times a bare weighted least squares "
            f"({found['bare_s']:.2f} s), {found['memory_gb']:.2f} GB"
        )


def judged(found, stems):
    assert found["told"] == stems
    assert abs(found["mean_growth"] - found["mean_bare"]) < 0.01
    assert found["growth_s"] < MOST_S * stems / FULL


def test_the_growth_of_100_000_stems_is_told_in_a_tenth_of_the_time(capsys):
    found = measured(SHORT)
    said(found, capsys)
    judged(found, SHORT)


@pytest.mark.slow
def test_the_growth_of_a_million_stems_is_told_in_20_seconds_and_2_gb(capsys):
    found = measured(FULL)
    said(found, capsys)
    judged(found, FULL)
    assert found["memory_gb"] < MOST_GB
