import json
import re

import pytest

from service.assets import build as browser_files
from service.assets.files import FILES


def packages(folder):
    """An npm that puts every file of the table and one licence where packages lie."""

    def npm(arguments, where):
        assert arguments[0] == "ci"
        assert "--ignore-scripts" in arguments
        for name in FILES:
            path = folder / "node_modules" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(name, encoding="utf-8")
        (folder / "node_modules" / "leaflet" / "LICENSE").write_text("as it is", encoding="utf-8")
        return 0

    return npm


@pytest.fixture
def here(tmp_path, monkeypatch):
    lock = browser_files.HERE / "package-lock.json"
    (tmp_path / "package-lock.json").write_bytes(lock.read_bytes())
    monkeypatch.setattr(browser_files, "HERE", tmp_path)
    return tmp_path


def test_the_lock_names_no_registry_and_pins_every_package():
    lock = json.loads((browser_files.HERE / "package-lock.json").read_text(encoding="utf-8"))
    for place, package in lock["packages"].items():
        if place:
            assert "resolved" not in package
            assert package["integrity"].startswith("sha512-")
    asked = json.loads((browser_files.HERE / "package.json").read_text(encoding="utf-8"))["dependencies"]
    assert all(re.fullmatch(r"[\d.]+", version) for version in asked.values())


def test_building_copies_files_and_licences_and_leaves_no_packages(here):
    vendor = here / "vendor"
    assert browser_files.build(vendor, packages(here)) is True
    assert all((vendor / place).is_file() for place in FILES.values())
    assert (vendor / "licences" / "leaflet.txt").read_text(encoding="utf-8") == "as it is"
    assert not (here / "node_modules").exists()


def test_building_twice_fetches_once(here):
    vendor = here / "vendor"
    browser_files.build(vendor, packages(here))

    def no_npm(arguments, where):
        raise AssertionError("fetched again")

    assert browser_files.build(vendor, no_npm) is False


@pytest.mark.parametrize("spoil", ["changed", "gone", "other lock"])
def test_a_changed_file_or_lock_is_fetched_again(here, spoil):
    vendor = here / "vendor"
    browser_files.build(vendor, packages(here))
    file = vendor / "leaflet" / "leaflet.js"
    if spoil == "changed":
        file.write_text("something else", encoding="utf-8")
    elif spoil == "gone":
        file.unlink()
    else:
        lock = here / "package-lock.json"
        lock.write_text(lock.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert not browser_files.is_built(vendor)
    assert browser_files.build(vendor, packages(here)) is True
    assert browser_files.is_built(vendor)


def test_without_a_network_the_files_that_are_there_stay(here):
    vendor = here / "vendor"
    browser_files.build(vendor, packages(here))
    (here / "package-lock.json").write_text('{"packages": {}}', encoding="utf-8")
    with pytest.raises(browser_files.AssetsMissing, match="needs the internet once"):
        browser_files.build(vendor, lambda arguments, where: 1)
    assert (vendor / "leaflet" / "leaflet.js").is_file()


def test_a_package_without_a_file_of_the_table_is_said(here):
    def npm(arguments, where):
        packages(here)(arguments, where)
        (here / "node_modules" / "leaflet" / "dist" / "leaflet.js").unlink()
        return 0

    with pytest.raises(browser_files.AssetsMissing, match=r"leaflet\.js"):
        browser_files.build(here / "vendor", npm)
