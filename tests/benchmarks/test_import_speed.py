"""Import of a city's list against a bare executemany of the same records with the same indexes."""

import csv
import os
import random
import sqlite3
import time
from pathlib import Path

import pytest

from service.actors import LOCAL_MANAGER
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.store.migrating import open_store

BAR = 6.0
ROUNDS = 3
ROWS = 15_711
SPECIES = (
    ("Tilia cordata", "Linde, Winter-Linde", "Tilia"),
    ("Acer platanoides", "Ahorn, Spitz-Ahorn", "Acer"),
    ("Quercus robur", "Eiche, Stiel-Eiche", "Quercus"),
    ("Juglans regia", "Nussbaum, Walnuss", "Juglans"),
    ("Platanus x hispanica", "Platane", "Platanus"),
    ("Betula pendula", "Birke, Hänge-Birke", "Betula"),
)
HEADER = (
    "X", "Y", "OBJECTID", "baumId", "baumNr", "baumart", "hoeheM", "kronendurchmesserM", "stammumfangCM",
    "location", "Name_dt", "Name_lat", "AGOL_Name",
)  # fmt: skip


def invented_list(path):
    """A city's list of that size and those columns, invented with a fixed seed."""
    draw = random.Random(20)
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(HEADER)
        for number in range(1, ROWS + 1):
            latin, plain, genus = draw.choice(SPECIES)
            where = (f"{draw.uniform(9.10, 9.22):.12f}", f"{draw.uniform(47.65, 47.75):.12f}")
            street = draw.randrange(775)
            sizes = (draw.randint(3, 25), draw.randint(2, 15), draw.randint(20, 400))
            writer.writerow(
                (*where, number, number, draw.randint(1, 60), 52, *sizes, f"Weg {street} ({street})",
                 plain, latin, genus)
            )  # fmt: skip
    return path


@pytest.fixture
def city_list(tmp_path):
    """The real list of the city of Konstanz where BOLEWARD_INPUTS names its folder, else an invented one."""
    if "BOLEWARD_INPUTS" in os.environ:
        return Path(os.environ["BOLEWARD_INPUTS"]) / "konstanz" / "KN_Baumkataster_2020.csv"
    return invented_list(tmp_path / "city.csv")


def imported_in_s(path, address):
    store = open_store(str(address))
    start = time.perf_counter()
    report = import_file(store, path, "city", ImportOptions(), LOCAL_MANAGER)
    took = time.perf_counter() - start
    store.close()
    assert report.read == report.records["trees"]["new"] == ROWS
    return took


def bare_in_s(like, address):
    """Insert all rows of a store into an empty copy of its schema, in one transaction [s]."""
    source = sqlite3.connect(like)
    bare = sqlite3.connect(address, isolation_level=None)
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "cache_size=-65536", "temp_store=MEMORY"):
        bare.execute(f"PRAGMA {pragma}")
    made = (
        "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY type DESC"
    )
    for (statement,) in source.execute(made):
        bare.execute(statement)
    named = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    rows = {name: source.execute(f'SELECT * FROM "{name}"').fetchall() for (name,) in source.execute(named)}
    start = time.perf_counter()
    bare.execute("BEGIN IMMEDIATE")
    for name, cells in rows.items():
        if cells:
            bare.executemany(f'INSERT INTO "{name}" VALUES ({", ".join("?" * len(cells[0]))})', cells)
    bare.execute("COMMIT")
    took = time.perf_counter() - start
    assert len(rows["tree"]) == ROWS
    source.close()
    bare.close()
    return took


def test_an_import_takes_at_most_six_times_a_bare_insert_of_the_same_records(city_list, tmp_path, capsys):
    small = tmp_path / "small.csv"
    small.write_text("\n".join(city_list.read_text(encoding="utf-8-sig").split("\n")[:50]), encoding="utf-8")
    warm = open_store(str(tmp_path / "warm.sqlite"))  # the start of the process is left out
    import_file(warm, small, "city", ImportOptions(size="girth-cm"), LOCAL_MANAGER)
    warm.close()
    ours, bare = [], []
    for turn in range(ROUNDS):
        ours.append(imported_in_s(city_list, tmp_path / f"ours_{turn}.sqlite"))
        bare.append(bare_in_s(tmp_path / f"ours_{turn}.sqlite", tmp_path / f"bare_{turn}.sqlite"))
    ratio = min(ours) / min(bare)
    with capsys.disabled():
        print(
            f"\nimport of {city_list.name}: {min(ours):.2f} s, bare insert {min(bare):.2f} s, "
            f"ratio {ratio:.1f} (at most {BAR:g}), best of {ROUNDS} each"
        )
    assert ratio <= BAR
