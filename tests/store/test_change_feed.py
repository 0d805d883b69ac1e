"""A copy kept from the address of changes is the site, whatever happens there meanwhile."""

import random
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa
from werkzeug.serving import make_server

from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.edit import add_trees, edit_tree
from service.entry import enter_readings
from service.file_box import FileBox
from service.settings import Settings
from service.store import record_log, schema
from service.store.site_removal import remove_sample
from service.store.site_rows import create_site, find_site
from tests.follower import Follower, MadeAnew, main
from tests.site_life import MADE, Life, new_life

SLUG = "life"
SAMPLE = "6ba7b810-9dad-11d1-80b4-00c04fd430c8"


@pytest.fixture
def address(store, tmp_path):
    """The address of a server of the store."""
    server = make_server("127.0.0.1", 0, create_app(store, Settings(data_folder=tmp_path)), threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def client(store, tmp_path):
    return create_app(store, Settings(data_folder=tmp_path)).test_client()


@pytest.fixture
def life(store, tmp_path):
    return new_life(store, FileBox(tmp_path / "files"), tmp_path)


def read_anew(address, slug=SLUG, **options):
    follower = Follower(address, slug, **options)
    follower.catch_up()
    records = follower.records()
    follower.close()
    return records


def api(query=""):
    return f"/api/sites/{SLUG}/changes{query}"


def follow_through(store, address, life, tmp_path, steps):
    """Let two people work at the ground while it is followed; return the follower at the end."""
    other = Life(store, SLUG, life.box, tmp_path, seed=99)

    def work():
        for _ in range(steps // 2):
            other.step()

    follower = Follower(address, SLUG, limit=37)
    chance = random.Random(7)
    with ThreadPoolExecutor(1) as pool:
        worker = pool.submit(work)
        for _ in range(steps - steps // 2):
            life.step()
            if chance.random() < 0.3:
                follower.take_page()
        worker.result()
    follower.catch_up()
    return follower


def check_copy(store, address, life, tmp_path, steps):
    follower = follow_through(store, address, life, tmp_path, steps)
    kept = follower.records()
    assert follower.pages > steps // 10
    with store.read() as connection:
        assert follower.complete_to == find_site(connection, SLUG).change_no > steps // 2
    assert {kind for kind, _ in kept} >= {"site", *MADE}
    assert kept == read_anew(address)
    follower.close()
    return kept


def test_a_copy_kept_while_two_people_work_is_the_whole_site(store, address, life, tmp_path):
    check_copy(store, address, life, tmp_path, 150)


@pytest.mark.slow
def test_a_copy_kept_through_a_thousand_steps_is_the_whole_site(store, address, life, tmp_path):
    check_copy(store, address, life, tmp_path, 1000)


def test_a_copy_that_misses_a_page_differs(address, life):
    class Careless(Follower):
        def _take(self, rows):
            if self.pages != 3:
                super()._take(rows)

    careless = Careless(address, SLUG, limit=20)
    careless.catch_up()
    assert careless.pages > 4
    assert careless.records() != read_anew(address)
    careless.close()


def test_every_record_of_the_store_is_in_the_feed(store, address, life):
    kept = read_anew(address)
    with store.read() as connection:
        for name in record_log.TABLES:
            table = record_log.table_named(name)
            count = connection.execute(sa.select(sa.func.count()).select_from(table)).scalar()
            assert sum(kind == name for kind, _ in kept) == count, name
    assert {kind for kind, _ in kept} >= set(MADE)


def test_at_every_number_a_copy_is_the_site_as_it_was_then(store, address, life, tmp_path):
    """What is read up to a number is what a fresh copy held when that was the last one."""
    then = read_anew(address)
    last = then["site", 0]["change_no"]
    for _ in range(25):
        life.step()
    with store.read() as connection:
        site = find_site(connection, SLUG)
        for name, columns, rows in record_log.record_parts(connection, site.fid, last):
            found = [dict(zip(columns, row, strict=True)) for row in rows]
            held = [row for (kind, _), row in sorted(then.items()) if kind == name]
            assert [row["change_no"] for row in found] == [row["change_no"] for row in held], name
            plain = [c for c in columns if c not in record_log.JSON_TEXT and c != "wkb"]
            assert [[row[c] for c in plain] for row in found] == [[row[c] for c in plain] for row in held]
        now = record_log.site_row(connection, site, last)
    assert now["name"] == then["site", 0]["name"]


def test_a_page_of_any_size_gives_the_same_copy(address, life):
    assert read_anew(address, limit=3) == read_anew(address, limit=10_000)


def test_a_large_page_ends_by_its_bytes(address, life, monkeypatch):
    whole = read_anew(address)
    monkeypatch.setattr("service.web.change_feed.PAGE_BYTES", 2000)
    follower = Follower(address, SLUG)
    follower.catch_up()
    assert follower.pages > 6
    assert follower.records() == whole
    follower.close()


def test_a_large_import_is_a_window_of_its_own(store, address, life, monkeypatch):
    whole = read_anew(address)
    monkeypatch.setattr(record_log, "MOST_LISTED", 2)
    with store.read() as connection:
        site = find_site(connection, SLUG).fid
        windows = [record_log.next_window(connection, site, 0)]
        while windows[-1].changes:
            windows.append(record_log.next_window(connection, site, windows[-1].upto))
    (number,) = (key for (kind, key), row in whole.items() if kind == "change" and row["kind"] == "import")
    assert (number - 1, number) in [(window.since, window.upto) for window in windows]
    assert read_anew(address) == whole


def test_a_follower_that_was_ended_goes_on_where_it_was(address, life, tmp_path, capsys):
    path = str(tmp_path / "copy.sqlite")
    first = Follower(address, SLUG, path, limit=25)
    first.take_page()
    first.take_page()
    first.close()
    main(address, SLUG, path)
    assert '"complete_to"' in capsys.readouterr().out
    again = Follower(address, SLUG, path)
    assert again.records() == read_anew(address)
    again.close()


def test_a_record_changed_twice_comes_once_with_its_former_versions(store, client):
    create_site(store, SLUG, actor=LOCAL_MANAGER)
    (tree,) = add_trees(store, SLUG, LOCAL_MANAGER, [{"tag": "1"}])
    edit_tree(store, SLUG, LOCAL_MANAGER, tree, 1, {"tag": "2"})
    edit_tree(store, SLUG, LOCAL_MANAGER, tree, 2, {"tag": "3"})
    said = client.get(api("?since=1")).json
    assert [(row["tag"], row["version"], row["change_no"]) for row in said["records"]["tree"]] == [
        ("3", 3, 4)
    ]
    former = said["records"]["former_version"]
    assert [(row["content"]["tag"], row["change_no"], row["ended_by"]) for row in former] == [
        ("1", 2, 3),
        ("2", 3, 4),
    ]
    assert not {"fid", "site_id", "change_id"} & set(former[0]["content"])
    earlier = client.get(api("?since=1&upto=2")).json
    assert [row["tag"] for row in earlier["records"]["tree"]] == ["1"]
    assert (earlier["complete_to"], earlier["more"], earlier["last"]) == (2, True, 4)


def test_the_answer_says_where_it_stands(client, life):
    said = client.get(api()).json
    assert (said["since"], said["site"]["slug"]) == (0, SLUG)
    assert [row["change_no"] for row in said["changes"]] == list(range(1, said["upto"] + 1))
    assert {"change_no", "kind", "actor", "at", "note", "file_name"} <= set(said["changes"][0])
    stopped = client.get(api("?limit=5")).json
    assert (stopped["complete_to"], stopped["more"]) == (0, True)
    assert "after=change%3A5" in stopped["next"]


def test_the_place_of_a_file_on_this_machine_does_not_leave(store, address, life, tmp_path):
    with store.read() as connection:
        kept = connection.execute(sa.select(schema.change.c.summary)).scalars().all()
    assert any(str(tmp_path) in summary for summary in kept if summary)
    said = read_anew(address)
    imports = [row for (kind, _), row in said.items() if kind == "change" and row["kind"] == "import"]
    assert imports[0]["summary"]["read"] > 0
    assert imports[0]["summary"]["side_file"] is None
    assert str(tmp_path) not in str(said)


def test_nothing_new_is_304_until_something_happens(client, life):
    last = client.get(api()).json
    while last["more"]:
        last = client.get(last["next"]).json
    answer = client.get(last["next"])
    assert (answer.json["more"], answer.json["changes"], answer.json["records"]) == (False, [], {})
    held = {"If-None-Match": answer.headers["ETag"]}
    assert client.get(last["next"], headers=held).status_code == 304
    life.trees()
    fresh = client.get(last["next"], headers=held)
    assert (fresh.status_code, len(fresh.json["changes"])) == (200, 1)


@pytest.mark.parametrize(
    ("query", "named"),
    [
        ("since=-1", "since"),
        ("since=1e3", "since"),
        ("since=99999999999999999999", "since"),
        ("limit=0", "limit"),
        ("limit=1000000000", "limit"),
        ("since=3&upto=3", "upto"),
        ("after=tree", "after"),
        ("after=site:1", "after"),
        ("after=tree:1;drop", "after"),
    ],
)
def test_a_bad_number_is_named(client, life, query, named):
    answer = client.get(api(f"?{query}"))
    assert (answer.status_code, answer.content_type) == (400, "application/problem+json")
    assert [fault["where"] for fault in answer.json["errors"]] == [named]


def test_a_copy_of_what_never_happened_here_is_409(client, life):
    answer = client.get(api("?since=1000"))
    assert (answer.status_code, answer.json["type"]) == (409, "/problems/copy-of-another")
    assert "since=0" in answer.json["detail"]
    assert client.get(api("?since=2&mark=2020-01-01T00:00:00Z")).status_code == 409


def test_a_sample_that_left_and_came_again_is_noticed_though_its_id_and_numbers_are_the_same(store, address):
    def fill():
        create_site(
            store, SLUG, actor=LOCAL_MANAGER, invented=True, site_id="6ba7b810-9dad-11d1-80b4-00c04fd430c8"
        )
        add_trees(store, SLUG, LOCAL_MANAGER, [{"tag": "1"}])

    fill()
    follower = Follower(address, SLUG)
    follower.catch_up()
    remove_sample(store, SLUG, LOCAL_MANAGER)
    fill()
    with pytest.raises(MadeAnew):
        follower.take_page()
    follower.close()


def test_an_import_under_way_is_in_no_page_and_then_comes_whole(store, address, life, monkeypatch):
    """It takes its number at the end, whatever was written in between."""
    from service.intake.writing import Batch

    seen, write_all = [], Batch.write_all

    def written_while_others_work(batch, progress):
        write_all(batch, progress)
        enter_readings(store, SLUG, LOCAL_MANAGER, [{"stem_id": life._some(schema.stem).id, "value": 61}])
        seen.append(read_anew(address))

    monkeypatch.setattr(Batch, "write_all", written_while_others_work)
    before = read_anew(address)
    life.list_of_trees()
    after = read_anew(address)
    assert {kind for kind, _ in set(seen[0]) - set(before)} == {"change", "reading"}
    number = after["site", 0]["change_no"]
    assert after["change", number]["kind"] == "import"
    new = [row for key, row in after.items() if key not in seen[0] and key[0] != "site"]
    assert {row.get("ended_by", row["change_no"]) for row in new} == {number}


def test_a_crew_that_may_only_measure_reads_no_changes(client, life, monkeypatch):
    from service.actors import Actor

    monkeypatch.setattr("service.web.access._asking", lambda _right: Actor("crew", "5b"))
    assert client.get(api()).status_code == 403
