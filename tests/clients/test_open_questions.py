"""Questions that schemathesis makes from the description of the open collections, good ones and bad ones.

All of its checks: no error of the server, every status and type is described, answers are as their schemas
say, what is described is accepted, what is not is refused, methods that are not offered are refused.
"""

import os
import re
import subprocess
import sys
from pathlib import Path
from urllib.request import urlopen

import pytest

from service.store.migrating import open_store
from tests.clients.conftest import ROOT, serving
from tests.open_site import make_open_sites

SEED = "1"
PROGRAM = Path(sys.executable).with_name("schemathesis")


@pytest.fixture
def address(tmp_path):
    """The address of the running program with small grounds."""
    path = tmp_path / "store.sqlite"
    store = open_store(str(path))
    make_open_sites(store, tmp_path)
    store.close()
    with serving(path, tmp_path / "log.txt") as where:
        urlopen(f"{where}/ogc/openapi.json", timeout=120).close()  # what is computed once is there
        yield where


@pytest.mark.parametrize(
    "examples", [2, pytest.param(300, marks=[pytest.mark.slow, pytest.mark.timeout(6 * 3600)])]
)
def test_every_generated_question_is_answered_as_described(address, tmp_path, examples):
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "SCHEMATHESIS_HOOKS": "tests.clients.open_strategies",
    }
    command = [PROGRAM, "run", f"{address}/ogc/openapi.json", "--checks", "all", "--seed", SEED]
    done = subprocess.run(
        [*command, "--max-examples", str(examples), "--suppress-health-check", "too_slow"],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout[-20_000:] + done.stderr
    (found,) = re.findall(r"(\d+) generated, (\d+) passed", done.stdout)
    assert found[0] == found[1]
    assert int(found[0]) > 500
    assert "25 selected / 25 total" in done.stdout
