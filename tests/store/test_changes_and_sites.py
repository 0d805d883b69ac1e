import json

import pytest
import sqlalchemy as sa

from service.actors import LOCAL_MANAGER
from service.errors import Conflict, InvalidRequest, NotFound, StaleVersion
from service.store import changes, rows, schema
from service.store.site_rows import box_of, create_site, find_site
from tests.store.import_files import prepared, rows_of, take_in, tree_row


def test_making_a_site_is_its_first_change(store):
    made = create_site(store, "mill-park", actor=LOCAL_MANAGER, name="Mill park", country="DE")
    assert (made.name, made.country, made.change_no, made.frame) == ("Mill park", "DE", 1, "earth")
    with store.read() as conn:
        change = conn.execute(sa.select(schema.change)).one()
    assert (change.kind, change.change_no, change.actor) == ("init", 1, "local manager")


def test_a_site_is_made_once(store):
    create_site(store, "park", actor=LOCAL_MANAGER)
    with pytest.raises(Conflict):
        create_site(store, "park", actor=LOCAL_MANAGER)


@pytest.mark.parametrize(
    ("terms", "says"),
    [
        ({"slug": "Our park"}, "small letters"),
        ({"slug": ""}, "small letters"),
        ({"breast_height_m": 4.5}, "between 1.00 and 1.50"),
        ({"units": "yards"}, "metric or us"),
        ({"time_zone": "Berlin"}, "Area/City"),
        ({"time_zone": "../etc"}, "Area/City"),
        ({"country": "Germany"}, "two capital letters"),
    ],
)
def test_terms_that_cannot_be_are_refused_with_a_sentence(sqlite_store, terms, says):
    with pytest.raises(InvalidRequest, match=says):
        create_site(sqlite_store, **{"slug": "park", "actor": LOCAL_MANAGER, **terms})


def test_an_unknown_site_is_not_found(store):
    with store.read() as conn, pytest.raises(NotFound):
        find_site(conn, "nowhere")


def test_the_box_of_a_site_is_that_of_its_trees(store):
    take_in(store, prepared(tree_row(1), tree_row(3), tree_row(4, lon_deg=None, lat_deg=None)))
    with store.read() as conn:
        assert box_of(conn, find_site(conn, "park")) == (9.001, 47.0, 9.003, 47.0)


def test_each_change_takes_the_next_number_of_its_own_site(store):
    one = create_site(store, "one", actor=LOCAL_MANAGER)
    two = create_site(store, "two", actor=LOCAL_MANAGER)
    with store.write() as conn:
        numbers = [changes.begin(conn, fid, LOCAL_MANAGER, "entry").change_no for fid in (one.fid, two.fid)]
        numbers.append(changes.begin(conn, one.fid, LOCAL_MANAGER, "entry", "a note").change_no)
    assert numbers == [2, 2, 3]


def test_a_change_that_is_taken_back_leaves_no_gap(store):
    one = create_site(store, "one", actor=LOCAL_MANAGER)
    with pytest.raises(ZeroDivisionError), store.write() as conn:
        changes.begin(conn, one.fid, LOCAL_MANAGER, "entry")
        1 / 0  # noqa: B018
    with store.write() as conn:
        assert changes.begin(conn, one.fid, LOCAL_MANAGER, "entry").change_no == 2


def test_a_change_of_no_site_is_refused(store):
    with store.write() as conn, pytest.raises(NotFound):
        changes.begin(conn, 99, LOCAL_MANAGER, "entry")


def test_a_new_version_keeps_the_former_one_and_refuses_a_stale_one(store):
    take_in(store, prepared(tree_row(1)))
    tree = rows_of(store, schema.tree)[0]
    with store.write() as conn:
        change = changes.begin(conn, tree.site_id, LOCAL_MANAGER, "edit")
        assert rows.revise(conn, schema.tree, tree.site_id, tree.id, 1, {"tag": "a"}, change.fid) == 2
        with pytest.raises(StaleVersion) as both:
            rows.revise(conn, schema.tree, tree.site_id, tree.id, 1, {"tag": "b"}, change.fid)
        with pytest.raises(NotFound):
            rows.revise(conn, schema.tree, tree.site_id, "no such tree", 1, {"tag": "b"}, change.fid)
    assert (both.value.sent["tag"], both.value.known["tag"]) == ("b", "a")
    with store.read() as conn:
        former = conn.execute(sa.select(schema.former_version)).one()
    assert (json.loads(former.content)["tag"], former.version, former.ended_by) == ("1", 1, change.fid)
    assert former.change_id == tree.change_id


def test_records_with_different_columns_go_in_together(store):
    site = create_site(store, "one", actor=LOCAL_MANAGER)
    with store.write() as conn:
        change = changes.begin(conn, site.fid, LOCAL_MANAGER, "entry")
        common = {"site_id": site.fid, "change_id": change.fid, "version": 1, "void": 0, "kind": "part"}
        rows.insert_records(
            conn,
            schema.place,
            [{"id": "a", "name": "100 % north", **common}, {"id": "b", "name": "?", "cell": 5, **common}],
        )
    assert [(p.name, p.cell) for p in rows_of(store, schema.place)] == [("100 % north", None), ("?", 5)]
