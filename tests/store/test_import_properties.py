"""Whatever the file, its split, its order and its interruptions: the same records."""

from contextlib import suppress

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.intake import writing
from service.store import changes, schema
from service.store.migrating import open_store
from tests.store.import_files import girth, prepared, said_by_people, seen, take_in, tree_row

SPECIES = ("Tilia cordata", "Quercus robur", None)
HEADER = {"said": ("tag", "species", "position", "place", "status", "girth"), "kept": ["Bemerkung"]}
DAYS = (None, "2019-07-02", "2024-05-14")

girths = st.floats(0.1, 1500).map(lambda value: round(value, 1))
readings = st.dictionaries(st.sampled_from(DAYS), girths, max_size=3).map(
    lambda found: [girth(value, measured_on=day) for day, value in found.items()]
)
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=6)


@st.composite
def tree_rows(draw, least=1):
    """Rows whose keys and tags differ: what equal ones mean depends on which came first."""
    numbers = draw(st.lists(st.integers(1, 60), min_size=least, max_size=9, unique=True))
    return [
        tree_row(
            number,
            name_as_written=draw(st.sampled_from(SPECIES)),
            place=draw(st.sampled_from((None, "North", "South"))),
            status=draw(st.sampled_from(("living", "dead", "unknown"))),
            stems=draw(st.integers(1, 3)),
            readings=draw(readings),
            observations=[seen(draw(girths))] if draw(st.booleans()) else [],
            kept={"Bemerkung": draw(texts)} if draw(st.booleans()) else {},
            refused="It cannot be." if draw(st.integers(0, 9)) == 0 else None,
        )
        for number in numbers
    ]


@pytest.fixture(params=["sqlite", "postgresql"])
def two_stores(request, tmp_path):
    """Two stores of one kind."""
    if request.param == "postgresql":
        make = request.getfixturevalue("new_postgresql")
        addresses = [make(), make()]
    else:
        addresses = [str(tmp_path / f"{name}.sqlite") for name in ("one", "two")]
    stores = [open_store(address) for address in addresses]
    yield stores
    for store in stores:
        store.close()


def emptied(*stores):
    """Stores without anything in them: each example begins anew."""
    for store in stores:
        with store.write() as conn:
            for table in reversed(schema.metadata.sorted_tables):
                conn.execute(sa.delete(table))
    return stores


few = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)


@few
@given(rows=tree_rows(), data=st.data())
def test_any_split_in_any_order_gives_the_same_records(two_stores, rows, data):
    whole, split = emptied(*two_stores)
    shuffled = data.draw(st.permutations(rows))
    cut = data.draw(st.integers(0, len(rows)))
    take_in(whole, prepared(*rows, **HEADER))
    for part in (shuffled[:cut], shuffled[cut:]):
        take_in(split, prepared(*part, **HEADER))
    assert said_by_people(split) == said_by_people(whole)


@few
@given(rows=tree_rows())
def test_the_second_run_of_a_file_changes_nothing(store, rows):
    emptied(store)
    first = take_in(store, prepared(*rows, **HEADER))
    before = said_by_people(store)
    second = take_in(store, prepared(*rows, **HEADER))
    assert (second.taken, second.questioned, second.change_no) == (0, 0, None)
    assert second.already_there == first.read - first.refused
    assert second.read == first.read == sum(first.counts.values())
    assert said_by_people(store) == before


class Killed(BaseException):
    """The process ended here."""


def take_in_and_kill(store, file, steps):
    """Import in transactions of one row and end before the given one."""
    build, left = writing.build, [steps]

    def counting(*arguments):
        left[0] -= 1
        if left[0] < 0:
            raise Killed
        return build(*arguments)

    with pytest.MonkeyPatch.context() as patch, suppress(Killed):
        patch.setattr(changes, "FIRST_ROWS", 1)
        patch.setattr(changes, "AIM_S", 0.0)
        patch.setattr(writing, "build", counting)
        take_in(store, file)


@few
@given(rows=tree_rows(least=2), changed=tree_rows(least=2), steps=st.lists(st.integers(0, 8), max_size=3))
def test_killed_and_resumed_equals_one_go_for_new_and_known_trees(two_stores, rows, changed, steps):
    one_go, killed = emptied(*two_stores)
    for file in (prepared(*rows, **HEADER), prepared(*changed, **HEADER)):
        before = said_by_people(killed)
        take_in(one_go, file)
        for step in steps:
            take_in_and_kill(killed, file, step)
            assert said_by_people(killed) in (before, said_by_people(one_go))
        take_in(killed, file)
        assert said_by_people(killed) == said_by_people(one_go)


@few
@given(rows=tree_rows(), changed=tree_rows())
def test_both_databases_hold_the_same(sqlite_store, postgresql_store, rows, changed):
    for store in emptied(sqlite_store, postgresql_store):
        take_in(store, prepared(*rows, **HEADER))
        take_in(store, prepared(*changed, **HEADER))
    assert said_by_people(sqlite_store) == said_by_people(postgresql_store)
