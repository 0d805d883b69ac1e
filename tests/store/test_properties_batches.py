"""Any order and any split of a batch of readings ends in the same state (definitions R5), in the store.

Corrections before what they correct, corrections of what never comes, forks, void ones, circles and
corrections of another trunk's readings are all in the batches.
"""

import uuid
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from layers.history import live_readings
from service.actors import LOCAL_MANAGER
from service.edit import add_trees
from service.entry import enter_readings
from service.store import changes
from service.store.site_rows import create_site
from service.view import view_of
from tests.store.test_import_properties import emptied

SLUG = "school"
DAY = "2026-06-30"
TREES = [str(uuid.UUID(int=7_000 + n)) for n in range(2)]
STEMS = [str(uuid.uuid5(uuid.UUID(tree), "1")) for tree in TREES]
IDS = [str(uuid.UUID(int=n)) for n in (5, 3, 8, 1, 9, 2, 7, 4)]  # in no order of time or size
TIMES = (None, "2024-05-01T08:00:00Z", "2024-05-01T09:00:00Z")

few = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)


@st.composite
def batches(draw):
    """Readings of two trunks; each may correct any other one, or one that never comes."""
    return [
        {
            "id": id,
            "stem_id": draw(st.sampled_from([STEMS[0], STEMS[0], STEMS[0], STEMS[1]])),
            "value": float(draw(st.integers(50, 60))),
            "instrument": draw(st.sampled_from(["girth tape", "string and ruler"])),
            "height_m": draw(st.sampled_from([1.3, 0.5, None])),
            "measured_on": draw(st.sampled_from([None, "2023-05-01", "2024-05-01"])),
            "recorded_at": draw(st.sampled_from(TIMES)),
            "supersedes": draw(st.none() | st.sampled_from([other for other in IDS if other != id])),
            "void": draw(st.integers(0, 3)) == 0,
        }
        for id in IDS[: draw(st.integers(1, len(IDS)))]
    ]


@pytest.fixture(autouse=True)
def one_moment(monkeypatch):
    """Everything is received at one time: a reading without a date counts from the day it came."""
    monkeypatch.setattr(changes, "now", lambda: "2025-05-14T10:00:00.000000Z")


def entered(store, *parts):
    """Enter readings in parts on an empty ground; what stands then, and what was answered."""
    emptied(store)
    create_site(store, SLUG, actor=LOCAL_MANAGER, site_id=str(uuid.UUID(int=6_000)))
    add_trees(store, SLUG, LOCAL_MANAGER, [{"id": id, "tag": id[-1]} for id in TREES])
    answers = [answer for part in parts for answer in enter_readings(store, SLUG, LOCAL_MANAGER, part)]
    return stands(store), answers


def stands(store):
    """The live readings as they were said, and every figure but the number of the change."""
    view = view_of(store, SLUG, LOCAL_MANAGER, DAY)
    found = live_readings(view.records.readings).drop(columns=["fid", "change_no"])
    live = found[found["state"] == "live"].sort_values("reading_id", ignore_index=True)
    figures = [{name: value for name, value in row.items() if name != "known_at"} for row in view.figures]
    return live.to_json(orient="records"), figures


def correction(id, of, value, **said):
    return {
        "id": id,
        "stem_id": STEMS[0],
        "value": value,
        "measured_on": "2024-05-01",
        "supersedes": of,
        **said,
    }


FORK = [
    correction(IDS[0], None, 50.0),
    correction(IDS[1], IDS[0], 51.0, recorded_at=TIMES[2]),
    correction(IDS[2], IDS[0], 52.0, recorded_at=TIMES[1]),
    correction(IDS[3], IDS[1], 53.0, void=True),
]


@few
@given(batch=batches(), data=st.data())
def test_any_order_and_split_of_a_batch_ends_in_the_same_state(store, batch, data):
    whole, _ = entered(store, batch)
    shuffled = data.draw(st.permutations(batch))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(batch)), max_size=3)))
    ends = [0, *cuts, len(batch)]
    split, _ = entered(store, *(shuffled[a:b] for a, b in pairwise(ends)))
    assert split == whole


@few
@given(order=st.permutations(range(len(FORK))), cut=st.integers(0, len(FORK)))
@example(order=[3, 2, 1, 0], cut=1)
def test_a_fork_with_a_void_end_is_the_same_whatever_came_first(store, order, cut):
    shuffled = [FORK[n] for n in order]
    (live, figures), answers = entered(store, shuffled[:cut], shuffled[cut:])
    assert {answer.outcome for answer in answers} == {"taken"}
    assert (live, figures) == entered(store, FORK)[0]


@few
@given(batch=batches(), data=st.data())
def test_sending_a_part_again_changes_nothing(store, batch, data):
    once, answers = entered(store, batch)
    again = data.draw(st.lists(st.sampled_from(batch), max_size=4))
    known = {answer.id for answer in answers if answer.outcome in ("taken", "questioned")}
    repeated = enter_readings(store, SLUG, LOCAL_MANAGER, again)
    assert all(answer.outcome == "already there" for answer in repeated if answer.id in known)
    assert stands(store) == once
