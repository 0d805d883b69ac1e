"""The store ring: every test that takes ``store`` runs on SQLite and on a real PostgreSQL."""

from itertools import count

import pytest

from service.store.migrating import open_store
from tests.postgres_server import running_cluster

_numbers = count(1)


@pytest.fixture(scope="session")
def cluster():
    with running_cluster() as cluster:
        yield cluster


@pytest.fixture(scope="session")
def template(cluster):
    """A database with this version's schema, that others are copied from."""
    address = cluster.create("boleward_template")
    open_store(address).close()
    return "boleward_template"


@pytest.fixture
def new_postgresql(cluster, template):
    """Make addresses of fresh PostgreSQL databases with this version's schema."""
    made = []

    def make():
        made.append(f"store_{next(_numbers)}")
        return cluster.create(made[-1], template)

    yield make
    for name in made:
        cluster.drop(name)


@pytest.fixture
def sqlite_store(tmp_path):
    store = open_store(str(tmp_path / "store.sqlite"))
    yield store
    store.close()


@pytest.fixture
def postgresql_store(new_postgresql):
    store = open_store(new_postgresql())
    yield store
    store.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request):
    return request.getfixturevalue(f"{request.param}_store")
