import threading
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from service.actors import LOCAL_MANAGER
from service.errors import ImportRunning, NotFound, StoreUnavailable
from service.intake import writing
from service.intake.import_site import ground_of
from service.intake.prepared import ImportOptions
from service.intake.taking import take
from service.store import changes, schema
from service.store.frames import records_of
from service.store.site_rows import create_site, find_site
from tests.store.import_files import prepared, rows_of, said_by_people, take_in, tree_row

PLACES = ("North", "South")


def some_rows(count=20):
    return [tree_row(n, place=PLACES[n % 2]) for n in range(1, count + 1)]


class Killed(BaseException):
    """The process ended here."""


@pytest.fixture
def small_steps(monkeypatch):
    """Transactions of four rows."""
    monkeypatch.setattr(changes, "FIRST_ROWS", 4)
    monkeypatch.setattr(changes, "AIM_S", 0.0)


def kill_after(monkeypatch, transactions):
    """End the next import when it is about to write one transaction more."""
    left = [transactions]
    build = writing.build

    def counting(*arguments):
        left[0] -= 1
        if left[0] < 0:
            raise Killed
        return build(*arguments)

    monkeypatch.setattr(writing, "build", counting)
    return lambda: monkeypatch.setattr(writing, "build", build)


def age_heartbeat(store, seconds):
    then = (datetime.now(UTC) - timedelta(seconds=seconds)).isoformat(timespec="microseconds")
    with store.write() as conn:
        conn.execute(
            sa.update(schema.change)
            .where(schema.change.c.change_no.is_(None))
            .values(heartbeat_at=then.replace("+00:00", "Z"))
        )


def counts_of_everything(store):
    tables = [t for t in schema.metadata.sorted_tables if "change_id" in t.c]
    with store.read() as conn:
        return {
            t.name: n
            for t in tables
            if (n := conn.execute(sa.select(sa.func.count()).select_from(t)).scalar())
        }


@pytest.mark.parametrize("transactions", [0, 1, 3])
def test_a_killed_import_shows_nothing_and_is_resumed_by_the_same_command(
    store, monkeypatch, small_steps, transactions
):
    file = prepared(*some_rows())
    revive = kill_after(monkeypatch, transactions)
    with pytest.raises(Killed):
        take_in(store, file)
    with store.read() as conn:
        site = find_site(conn, "park")
        assert site.change_no == 1
        assert len(records_of(conn, site.fid).trees) == 0
    revive()
    report = take_in(store, file)
    assert report.counts == {"taken": 20, "already_there": 0, "questioned": 0, "refused": 0}
    assert report.change_no == 2
    assert counts_of_everything(store) == {
        "place": 2, "tree": 20, "stem": 20, "reading": 20, "source_key": 20
    }  # fmt: skip


def test_resumed_and_in_one_go_are_the_same(store, sqlite_store, tmp_path, monkeypatch, small_steps):
    from service.store.migrating import open_store

    one_go = open_store(str(tmp_path / "one_go.sqlite"))
    take_in(one_go, prepared(*some_rows()))
    revive = kill_after(monkeypatch, 2)
    with pytest.raises(Killed):
        take_in(store, prepared(*some_rows()))
    revive()
    take_in(store, prepared(*some_rows()))
    assert said_by_people(store) == said_by_people(one_go)
    one_go.close()


def test_a_killed_import_changes_no_tree_that_was_there(store, monkeypatch, small_steps):
    take_in(store, prepared(*some_rows()))
    changed = prepared(*[tree_row(n, tag=f"{n}a", place=PLACES[n % 2]) for n in range(1, 21)])
    revive = kill_after(monkeypatch, 2)
    with pytest.raises(Killed):
        take_in(store, changed)
    assert {tree.version for tree in rows_of(store, schema.tree)} == {1}
    revive()
    assert take_in(store, changed).taken == 20
    assert {(tree.version, tree.tag[-1]) for tree in rows_of(store, schema.tree)} == {(2, "a")}


def test_a_site_whose_first_import_was_killed_is_not_there(store, monkeypatch, small_steps):
    def take_new():
        with store.read() as conn:
            ground = ground_of(conn, "new", ImportOptions())
        return take(store, prepared(*some_rows()), ground, "", frozenset(), LOCAL_MANAGER)

    revive = kill_after(monkeypatch, 2)
    with pytest.raises(Killed):
        take_new()
    with store.read() as conn, pytest.raises(NotFound):
        find_site(conn, "new")
    revive()
    report = take_new()
    assert report.guesses[0].value == "new"
    with store.read() as conn:
        assert find_site(conn, "new").change_no == 1


def test_a_site_may_be_made_by_hand_where_its_first_import_was_killed(store, monkeypatch, small_steps):
    with store.read() as conn:
        ground = ground_of(conn, "new", ImportOptions())
    kill_after(monkeypatch, 1)
    with pytest.raises(Killed):
        take(store, prepared(*some_rows()), ground, "", frozenset(), LOCAL_MANAGER)
    made = create_site(store, "new", actor=LOCAL_MANAGER, name="New", time_zone="Europe/Rome")
    assert (made.change_no, made.time_zone, made.id) == (1, "Europe/Rome", ground.site_id)


def test_another_file_waits_for_a_live_import_and_erases_an_abandoned_one(store, monkeypatch, small_steps):
    revive = kill_after(monkeypatch, 2)
    with pytest.raises(Killed):
        take_in(store, prepared(*some_rows(), name="first"))
    revive()
    other = prepared(tree_row(99), name="other")
    with pytest.raises(ImportRunning, match=r"first\.csv"):
        take_in(store, other)
    age_heartbeat(store, 61)
    assert take_in(store, other).taken == 1
    assert counts_of_everything(store) == {"tree": 1, "stem": 1, "reading": 1, "source_key": 1}


def test_the_same_command_twice_at_once_ends_the_first_and_loses_nothing(store, monkeypatch, small_steps):
    build, started = writing.build, []

    def build_while_another_starts(*arguments):
        if len(started) == 2:
            started.append("second")
            monkeypatch.setattr(writing, "build", build)
            assert take_in(store, prepared(*some_rows())).taken == 20
        started.append("step")
        return build(*arguments)

    monkeypatch.setattr(writing, "build", build_while_another_starts)
    with pytest.raises(ImportRunning):
        take_in(store, prepared(*some_rows()))
    assert counts_of_everything(store)["tree"] == 20
    assert take_in(store, prepared(*some_rows())).already_there == 20


def test_an_import_that_closed_while_another_was_being_read_is_seen_by_it(store, monkeypatch):
    from service.intake import taking

    open_change, ran = taking._open, []

    def after_another_import(*arguments):
        if not ran:
            ran.append(take_in_quietly())
        return open_change(*arguments)

    def take_in_quietly():
        monkeypatch.setattr(taking, "_open", open_change)
        take_in(store, prepared(*some_rows()))
        return True

    take_in(store, prepared(tree_row(50)))
    monkeypatch.setattr(taking, "_open", after_another_import)
    report = take_in(store, prepared(*some_rows()))
    assert report.already_there == 20
    assert counts_of_everything(store)["tree"] == 21


def test_a_full_disk_is_said_in_a_sentence_and_shows_nothing(sqlite_store):
    take_in(sqlite_store, prepared(tree_row(1)))
    with sqlite_store.engine.connect() as conn:
        pages = conn.exec_driver_sql("PRAGMA page_count").scalar()
        conn.rollback()
    limit = f"PRAGMA max_page_count={pages + 3}"
    sa.event.listen(sqlite_store.engine, "connect", lambda raw, _: raw.execute(limit))
    sqlite_store.engine.dispose()
    with pytest.raises(StoreUnavailable, match="disk is full"):
        take_in(sqlite_store, prepared(*[tree_row(n, kept={"note": "x" * 2000}) for n in range(2, 60)]))
    assert len(rows_of(sqlite_store, schema.tree)) == 1


def test_no_transaction_of_a_long_import_holds_the_store_long(store, monkeypatch):
    took = []
    write = writing.Batch._write

    def timed(self, *arguments):
        took.append(write(self, *arguments))
        return took[-1]

    monkeypatch.setattr(writing.Batch, "_write", timed)
    take_in(store, prepared(*some_rows(4000)))
    assert len(took) > 3
    assert sorted(took)[len(took) // 2] <= 0.2  # one slow moment of a shared machine is not our doing


def test_others_write_and_read_while_an_import_is_under_way(store, monkeypatch, small_steps):
    build, numbers = writing.build, []

    def build_after_an_entry(*arguments):
        with store.write() as conn:
            site = find_site(conn, "park")
            numbers.append(changes.begin(conn, site.fid, LOCAL_MANAGER, "entry").change_no)
        return build(*arguments)

    monkeypatch.setattr(writing, "build", build_after_an_entry)
    report = take_in(store, prepared(*some_rows(8)))
    assert numbers == list(range(2, 2 + len(numbers)))
    assert report.change_no == numbers[-1] + 1


def test_numbers_of_changes_have_no_gaps_however_many_write_at_once(store):
    create_site(store, "park", actor=LOCAL_MANAGER)
    taken, trouble = [], []

    def write_some():
        for _ in range(10):
            try:
                with store.write() as conn:
                    taken.append(changes.begin(conn, 1, LOCAL_MANAGER, "entry").change_no)
            except StoreUnavailable as error:
                trouble.append(str(error))

    threads = [threading.Thread(target=write_some) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert trouble == []
    assert sorted(taken) == list(range(2, 42))


def test_when_the_list_of_rows_to_look_at_cannot_be_written_nothing_is_shown(sqlite_store):
    file = prepared(tree_row(1), tree_row(2, refused="It cannot be."))
    in_the_way = sqlite_store.folder / "imports"
    in_the_way.write_text("a file where the folder should be")
    with pytest.raises(StoreUnavailable, match="give the same command again"):
        take_in(sqlite_store, file)
    assert rows_of(sqlite_store, schema.tree) == []
    in_the_way.unlink()
    assert take_in(sqlite_store, file).counts["taken"] == 1
