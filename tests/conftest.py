"""What all rings share: a clean environment, settings, a store, the application and a client of it."""

import os
from pathlib import Path

import pytest
from hypothesis import settings as drawing

# what draws examples and does not say how many: fewer of them in the short form than in make long
drawing.register_profile("short", max_examples=30, deadline=None)
drawing.register_profile("long", deadline=None)
REAL_INPUTS = Path(__file__).parent / "real_inputs"


def pytest_configure(config):
    drawing.load_profile("short" if "not slow" in config.getoption("markexpr", "") else "long")


def pytest_ignore_collect(collection_path):
    """The ring on real inputs runs only where BOLEWARD_INPUTS names their folder."""
    if "BOLEWARD_INPUTS" not in os.environ and collection_path == REAL_INPUTS:
        return True
    return None


def pytest_terminal_summary(terminalreporter):
    if "BOLEWARD_INPUTS" not in os.environ:
        terminalreporter.write_line("real_inputs did not run: BOLEWARD_INPUTS names no folder of real lists.")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """A skip is a failure in CI: what does not run proves nothing."""
    report = yield
    if report.skipped and "CI" in os.environ and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, and a skip is a failure in CI: {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    """A whole module that skips itself is a failure in CI, too."""
    report = yield
    if report.skipped and "CI" in os.environ:
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid} was skipped, and a skip is a failure in CI: {report.longrepr}"
    return report


@pytest.fixture(autouse=True)
def clean_environment(monkeypatch, tmp_path):
    """No setting of the person who runs the tests reaches them, and nothing of theirs is written."""
    for name in [name for name in os.environ if name.startswith("BOLEWARD_") and name != "BOLEWARD_INPUTS"]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data_home"))


@pytest.fixture(scope="session")
def inputs():
    """The folder of real inputs; only the ring ``real_inputs`` asks for it."""
    return Path(os.environ["BOLEWARD_INPUTS"])


@pytest.fixture
def settings(tmp_path):
    from service.settings import Settings

    return Settings(data_folder=tmp_path / "data")


@pytest.fixture
def store(settings):
    from service.store.migrating import open_store

    store = open_store(settings.store_address)
    yield store
    store.close()


@pytest.fixture
def app(settings, store):
    from service.app import create_app

    return create_app(store, settings)


@pytest.fixture
def client(app):
    return app.test_client()
