"""The ring itself: both databases are real, and tests do not see each other's rows."""

import pytest
import sqlalchemy as sa


@pytest.mark.parametrize("turn", [1, 2])
def test_every_test_gets_an_empty_store_of_the_present_schema(store, turn):
    with store.write() as connection:
        assert connection.execute(sa.text("SELECT count(*) FROM tree")).scalar_one() == 0
        connection.execute(
            sa.text(
                "INSERT INTO site (id, slug, name, breast_height_m, units, time_zone, frame, created_at,"
                " invented, change_no, version)"
                " VALUES ('a', 's', 'n', 1.3, 'metric', 'UTC', 'earth', '2024', 0, 0, 1)"
            )
        )
    with store.read() as connection:
        assert connection.execute(sa.text("SELECT count(*) FROM site")).scalar_one() == 1


def test_the_two_stores_are_the_two_databases(sqlite_store, postgresql_store):
    assert sqlite_store.engine.dialect.name == "sqlite"
    assert postgresql_store.engine.dialect.name == "postgresql"
