"""A migrated database is the one that the tables describe, on both databases, whatever version it was."""

import ast
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import alembic.op
import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from service.actors import LOCAL_MANAGER
from service.store import migrating, migrations
from service.store.engine import connect
from service.store.migrating import bring_up_to_date, open_store, upgrade_within
from service.store.schema import metadata
from service.store.site_rows import create_site

SCRIPTS = ScriptDirectory.from_config(migrating._config())
REVISIONS = [script.revision for script in SCRIPTS.walk_revisions()][::-1]
FILES = sorted((Path(migrations.__file__).parent / "versions").glob("[0-9]*.py"))


@pytest.fixture(params=["sqlite", "postgresql"])
def empty(request, tmp_path):
    """A store without any table."""
    if request.param == "sqlite":
        store = connect(str(tmp_path / "empty.sqlite"))
        yield store
        store.close()
        return
    cluster = request.getfixturevalue("cluster")
    store = connect(cluster.create("migrated"))
    yield store
    store.close()
    cluster.drop("migrated")


def differences(store):
    with store.read() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        return compare_metadata(context, metadata)


def tables_of(store):
    with store.read() as connection:
        return set(sa.inspect(connection).get_table_names())


def shape(store):
    """Every table, column, key and index of a database, with names, as the database itself tells them."""
    with store.read() as connection:
        if store.engine.dialect.name == "sqlite":
            said = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
            return {name: _in_any_order(text) for name, text in said if name != "alembic_version"}
        told = [
            "SELECT table_name, column_name, ordinal_position, data_type, is_nullable, is_identity,"
            " column_default FROM information_schema.columns WHERE table_schema = 'public'",
            "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint"
            " WHERE connamespace = 'public'::regnamespace",
            "SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
        ]
        rows = [tuple(row) for query in told for row in connection.exec_driver_sql(query)]
        return sorted(row for row in rows if row[0] != "alembic_version")


def _in_any_order(text):
    """What a statement that makes a table says: columns in their order, constraints in any, what follows."""
    begins, body, ends = re.fullmatch(r"([^(]*)\((.*)\)(.*)", re.sub(r"[\"`]", "", text), re.DOTALL).groups()
    said = [" ".join(part.split()) for part in re.split(r",(?![^(]*\))", body)]
    keys = {part for part in said if part.startswith("CONSTRAINT")}
    return [begins.strip(), ends.strip(), *(part for part in said if part not in keys)], keys


def test_a_new_store_has_the_tables_of_this_version(store):
    assert differences(store) == []
    assert tables_of(store) == {*metadata.tables, "alembic_version"}


def test_the_tables_are_the_same_to_the_letter_as_those_that_are_described(empty, request):
    with empty.write() as connection:
        metadata.create_all(connection)
    described = shape(empty)
    assert len(described) > 2 * len(metadata.tables)
    assert shape(request.getfixturevalue(f"{empty.engine.dialect.name}_store")) == described


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_store_of_every_version_is_brought_to_this_one(empty, revision):
    with empty.write() as connection:
        upgrade_within(connection, revision)
    bring_up_to_date(empty)
    assert differences(empty) == []
    create_site(empty, "park", actor=LOCAL_MANAGER)
    bring_up_to_date(empty)
    with empty.read() as connection:
        assert connection.execute(sa.text("SELECT count(*) FROM site")).scalar_one() == 1


def test_a_change_of_the_tables_that_fails_half_way_leaves_nothing(empty, monkeypatch):
    make, made = alembic.op.create_index, []

    def failing(name, *arguments, **more):
        made.append(name)
        if len(made) > 9:
            raise RuntimeError("the process ended here")
        return make(name, *arguments, **more)

    monkeypatch.setattr(alembic.op, "create_index", failing)
    with pytest.raises(RuntimeError):
        bring_up_to_date(empty)
    assert tables_of(empty) == set()
    monkeypatch.undo()
    bring_up_to_date(empty)
    assert differences(empty) == []


def test_many_may_open_a_new_store_at_once(empty):
    address = empty.address

    def open_and_close(_):
        open_store(address).close()

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(open_and_close, range(4)))
    assert differences(empty) == []


def test_sqlite_refuses_a_word_for_a_number_and_never_uses_an_id_again(sqlite_store):
    with sqlite_store.read() as connection:
        listed = connection.exec_driver_sql("PRAGMA table_list").mappings().all()
        strict = {row["name"] for row in listed if row["strict"]}
        made = dict(
            connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'table'").all()
        )
    assert strict == set(metadata.tables)
    assert all("AUTOINCREMENT" in made[name] for name in metadata.tables)
    create_site(sqlite_store, "park", actor=LOCAL_MANAGER)
    with pytest.raises(sa.exc.IntegrityError, match="cannot store TEXT"), sqlite_store.write() as connection:
        connection.exec_driver_sql("UPDATE site SET breast_height_m = 'high'")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_what_a_change_of_the_tables_does_never_changes(path):
    """A file that read the tables of today would do another thing tomorrow."""
    imported = {
        name
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in [getattr(node, "module", None), *(alias.name for alias in node.names)]
    }
    assert imported <= {None, "alembic", "op", "sqlalchemy", "json", "collections.abc", "Sequence"}


def test_every_file_of_changes_is_one_step_of_one_line():
    assert len(FILES) == len(REVISIONS)
    assert SCRIPTS.get_heads() == [REVISIONS[-1]]
    assert [path.name[:4] for path in FILES] == REVISIONS
