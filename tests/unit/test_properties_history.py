"""Any order and any split of a batch of records end in the same state."""

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from layers.history import live_readings, state_at
from tests.builders import frame_of, make_reading, make_records, make_site, make_stem, make_tree, row
from tests.stand_builders import AS_OF, shuffled

IDS = [f"r{n}" for n in range(9)]
TIMES = [None, "2024-05-01T08:00:00Z", "2024-05-01T09:00:00Z"]


@st.composite
def batches(draw):
    """Readings of two stems that correct one another: chains, forks, circles, waiting, crossed out."""
    number = draw(st.integers(1, len(IDS)))
    parents = st.none() | st.sampled_from(IDS)
    return [
        make_reading(
            reading_id=IDS[n],
            fid=n,
            stem_id=draw(st.sampled_from(["s0", "s0", "s1"])),
            value=draw(st.integers(50, 60)),
            height_m=draw(st.sampled_from([1.3, 0.5, None])),
            crew=draw(st.sampled_from(["A", "B"])),
            round_id=draw(st.sampled_from([None, "r"])),
            measured_on=draw(st.sampled_from([None, "2023-05-01", "2024-05-01"])),
            supersedes=draw(parents),
            void=draw(st.booleans()) and n % 3 == 0,
            recorded_at=draw(st.sampled_from(TIMES)),
        )
        for n in range(number)
    ]


def by_id(found):
    return found.set_index("reading_id")[["state", "is_forked"]].sort_index()


@given(rows=batches(), data=st.data())
@settings(max_examples=60, deadline=None)
def test_the_order_of_records_does_not_matter(rows, data):
    order = data.draw(st.permutations(range(len(rows))))
    frame = frame_of("reading_record", rows)
    pd.testing.assert_frame_equal(by_id(live_readings(frame)), by_id(live_readings(shuffled(frame, order))))


@given(rows=batches())
@settings(max_examples=60, deadline=None)
def test_every_chain_has_at_most_one_live_reading_and_a_live_one_is_not_corrected(rows):
    found = live_readings(frame_of("reading_record", rows))
    live = found[found["state"] == "live"]
    assert not live["void"].any()
    corrected = set(zip(found["supersedes"], found["stem_id"], strict=True))
    assert not set(zip(live["reading_id"], live["stem_id"], strict=True)) & corrected
    parent = dict(zip(found["reading_id"], found["supersedes"], strict=True))

    def root(each):
        while isinstance(parent[each], str):
            each = parent[each]
        return each

    roots = [root(each) for each in live["reading_id"]]
    assert len(roots) == len(set(roots))


@given(rows=batches(), data=st.data())
@settings(max_examples=40, deadline=None)
def test_any_split_of_a_batch_ends_in_the_same_state(rows, data):
    order = data.draw(st.permutations(range(len(rows))))
    cut = data.draw(st.integers(0, len(rows)))
    frame = frame_of("reading_record", rows)
    first, second = shuffled(frame, order[:cut]), shuffled(frame, order[cut:])
    live_readings(first)  # what had arrived by then leaves nothing behind
    whole = pd.concat([second, first], ignore_index=True) if cut else second
    pd.testing.assert_frame_equal(by_id(live_readings(frame)), by_id(live_readings(whole)))


@given(rows=batches(), data=st.data())
@settings(max_examples=20, deadline=None)
def test_sizes_and_errors_do_not_depend_on_the_order_of_rows(rows, data):
    stems = [make_stem(stem_id=each, tree_id=each, fid=n) for n, each in enumerate(["s0", "s1"])]
    trees = [make_tree(tree_id=each, fid=n) for n, each in enumerate(["s0", "s1"])]
    events = [
        row(
            "status_event",
            status_event_id="e",
            fid=1,
            subject="tree",
            subject_id="s1",
            status="dead",
            happened_on="2024-01-01",
        ),
        row(
            "status_event",
            status_event_id="f",
            fid=2,
            subject="tree",
            subject_id="s1",
            status="living",
            happened_on="2024-01-01",
        ),
    ]
    one = make_records(trees=trees, stems=stems, readings=rows, status_events=events)
    order = data.draw(st.permutations(range(len(rows))))
    other = make_records(
        trees=trees, stems=stems, readings=[rows[n] for n in order], status_events=list(reversed(events))
    )
    a, b = (state_at(each, make_site(), AS_OF) for each in (one, other))
    pd.testing.assert_frame_equal(a.stem_state, b.stem_state)
    parts = [each.stem_parts.sort_values(["stem_id", "cause"], ignore_index=True) for each in (a, b)]
    pd.testing.assert_frame_equal(*parts)
    causes = [each.causes.sort_values("cause", ignore_index=True) for each in (a, b)]
    pd.testing.assert_frame_equal(*causes)
