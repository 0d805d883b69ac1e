"""Thirty phones that send twenty readings each at once to a real server, while others read pages.

Every phone makes a batch of one reading, waits for no other phone, and sends half of its batches twice, as a
phone whose answer was lost does. Every page that is read meanwhile is computed anew,
as something was said. Kept has to be each reading once; the wait for an answer is measured where
the phones are, the 99th percentile of all sends, twice sent ones among them.

What else the machine does is not counted: the waits are taken times the share of the time in which the
server was ready to run and did run, as Linux tells it (/proc/.../schedstat, Documentation/scheduler/
sched-stats.rst of the kernel). On a machine of its own that share is 1; both are printed.
"""

import json
import re
import subprocess
import sys
import threading
import time
import urllib.request
import uuid
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from service.actors import LOCAL_MANAGER
from service.crew_tokens import give_token
from service.crew_words import CrewPass, make_words
from service.round_days import planned_round
from service.sample import load_samples
from service.store import changes
from service.store.migrating import open_store
from service.view import view_of
from tests.field_items import reading, sent

P99_S = 1.0
SLUG = "sample-school"
READERS, PAUSE_S = 2, 2.0  # somebody reads a page for a while before going on to the next
PAGES = (f"/sites/{SLUG}", f"/sites/{SLUG}/trees", f"/sites/{SLUG}/figures")
BEGIN_S = 60.0


class Server:
    """The program as it is started by hand, on a free port."""

    def __init__(self, store, folder):
        self.said = folder / "said.txt"
        words = [sys.executable, "-m", "service.cli.main", "--store", str(store), "serve", "--port", "0"]
        with self.said.open("w") as said:
            self.process = subprocess.Popen(
                words, stdout=said, stderr=said, cwd=Path(__file__).parents[2],
                env={"BOLEWARD_DATA_FOLDER": str(folder), "PATH": "/usr/bin:/bin"},
            )  # fmt: skip
        self.address = self._address()

    def _address(self):
        began = time.monotonic()
        while time.monotonic() - began < BEGIN_S and self.process.poll() is None:
            found = re.search(r"http://127\.0\.0\.1:\d+", self.said.read_text())
            if found:
                return found[0]
            time.sleep(0.1)
        self.process.kill()
        raise AssertionError(self.said.read_text())

    def ran(self):
        """Of the time in which threads of the server could have run, the share in which they did."""
        told = [
            path.read_text().split() for path in Path(f"/proc/{self.process.pid}/task").glob("*/schedstat")
        ]
        ran, waited = (sum(int(numbers[n]) for numbers in told) for n in (0, 1))
        return ran / (ran + waited)

    def stop(self):
        self.process.terminate()
        self.process.wait(30)


@pytest.fixture
def ground(tmp_path):
    """A store with the samples, tokens of thirty phones, and the trunks of the ground."""
    address = tmp_path / "s.sqlite"
    store = open_store(str(address))
    load_samples(store, LOCAL_MANAGER)
    view = view_of(store, SLUG, LOCAL_MANAGER)
    round_id = view.records.rounds.loc[view.records.rounds["status"] == "planned", "id"].iloc[0]
    now = planned_round(view, round_id)
    make_words(store, SLUG, LOCAL_MANAGER, round_id)
    teams = [
        CrewPass(SLUG, round_id, id, code, now.kinds[id], "2999-01-01T00:00:00Z")
        for id, code in now.codes.items()
    ]
    phones = []
    for n in range(30):
        mine = teams[n % len(teams)]
        phones.append((mine.code, give_token(store, mine, str(uuid.uuid4()), changes.now())))
    stems, trees = view.records.stems, view.plain_trees
    there = stems["tree_id"].isin(trees.loc[trees["status"] != "removed", "tree_id"])
    yield store, address, phones, list(stems.loc[there, "stem_id"])
    store.close()


def post(address, token, items):
    """Send items; how long the answer took [s], and what became of them."""
    request = urllib.request.Request(
        f"{address}/field/api/send",
        json.dumps(sent(items)).encode(),
        {"Content-Type": "application/json", "Authorization": f"Bearer {token}"},
    )
    began = time.perf_counter()
    with urllib.request.urlopen(request, timeout=20) as answer:
        said = json.load(answer)
    return time.perf_counter() - began, [one["outcome"] for one in said["answers"]]


def read_pages(address, stop):
    """Read pages until told to stop; how many."""
    count = 0
    while not stop.is_set():
        with urllib.request.urlopen(address + PAGES[count % len(PAGES)], timeout=20) as page:
            page.read()
        count += 1
        stop.wait(PAUSE_S)
    return count


def one_phone(address, code, token, stems, mine):
    """Send the readings of a phone one by one, half of them twice; the waits [s] and the ids."""
    waits, ids = [], []
    for n in range(mine):
        item = reading(stems[n % len(stems)], 80.0 + n, crew=code)
        ids.append(item["id"])
        for again in range(1 + n % 2):
            took, outcomes = post(address, token, [item])
            waits.append(took)
            assert outcomes == [("already there" if again else "taken")]
    return waits, ids


def run(ground, tmp_path, mine):
    store, place, phones, stems = ground
    server, stop = Server(place, tmp_path), threading.Event()
    try:
        for page in PAGES:  # the server is in use: everything has been loaded once
            urllib.request.urlopen(server.address + page, timeout=60).close()
        with ThreadPoolExecutor(len(phones) + READERS) as pool:
            reading_pages = [pool.submit(read_pages, server.address, stop) for _ in range(READERS)]
            sending = [
                pool.submit(one_phone, server.address, code, token, stems[n::30], mine)
                for n, (code, token) in enumerate(phones)
            ]
            try:
                done = [phone.result() for phone in sending]
            finally:
                stop.set()
            pages = sum(reader.result() for reader in reading_pages)
        share = server.ran()
    finally:
        server.stop()
    ids = [id for _waits, ids in done for id in ids]
    waits = np.concatenate([waits for waits, _ids in done])
    kept = view_of(store, SLUG, LOCAL_MANAGER).records.readings["reading_id"]
    found = int(kept.isin(set(ids)).sum())
    p99 = float(np.quantile(waits, 0.99))
    print(
        f"\n{len(phones)} phones: {found} of {len(ids)} readings kept once, {len(waits)} sends, "
        f"median {np.median(waits):.3f} s, 99 of 100 within {p99:.3f} s, {pages} pages read meanwhile; "
        f"the server ran in {share:.0%} of the time in which it could: {p99 * share:.3f} s"
    )
    assert kept.is_unique
    assert found == len(ids) == len(set(ids)) == len(phones) * mine
    assert pages > 0
    assert p99 * share < P99_S


def test_thirty_phones_at_once_lose_nothing_and_wait_less_than_a_second(ground, tmp_path):
    run(ground, tmp_path, 5)


@pytest.mark.slow
def test_thirty_phones_with_twenty_readings_each_lose_nothing_and_wait_less_than_a_second(ground, tmp_path):
    run(ground, tmp_path, 20)
