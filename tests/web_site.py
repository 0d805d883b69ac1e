"""A small site for the tests of pages: brought in by the real import, its texts hostile where people type."""

import csv
import uuid

from service.actors import LOCAL_MANAGER
from service.entry import enter_inspections, enter_observations, enter_readings
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.store.site_rows import create_site
from service.view import view_of

SLUG = "yard"
HOSTILE_NAME = "Yard {{7*7}} {% raw %} ${8*8} <img src=x onerror=\"document.title='run'\">'\""
HOSTILE_TAG = "{{7*7}}<script>document.title='run'</script>"
HOSTILE_PLACE = 'Back `${8*8}` "yard" {# x #}'
HOSTILE_HEADER = "Contract <b>{{7*7}}</b>"
HOSTILE_NOTE = "</td><script>document.title='run'</script> {{ 7*7 }} {% for %}"
HEADERS = ["Tag", "Species", "Girth cm", "Height m", "Place", "Lon", "Lat", "Measured on", HOSTILE_HEADER]
KINDS = ("Quercus robur", "Tilia cordata", "Acer platanoides", "the big one by the gate")
TREES = 24


def write_list(path, trees=TREES):
    """A list of trees in rows of four metres by ten, every sixth without a girth."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEADERS)
        for i in range(trees):
            girth = "" if i % 6 == 5 else 40 + 11 * i
            place = HOSTILE_PLACE if i % 2 else "Front yard"
            lon, lat = 9.17 + (i % 6) * 1e-4, 47.66 + (i // 6) * 1e-4
            tag = HOSTILE_TAG if i == 7 else f"A{i + 1}"
            said = [
                tag,
                KINDS[i % 4],
                girth,
                12.5 if i % 3 == 0 else "",
                place,
                lon,
                lat,
                "2024-05-14",
                f"=K{i}",
            ]
            writer.writerow(said)
    return path


def make_web_site(store, folder, slug=SLUG, trees=TREES):
    """Make the site and return its view: an imported list, a later reading, a sight, a look."""
    create_site(
        store,
        slug,
        actor=LOCAL_MANAGER,
        name=HOSTILE_NAME,
        country="DE",
        time_zone="Europe/Berlin",
        phone="112 <b>",
    )
    report = import_file(store, write_list(folder / "trees.csv", trees), slug, ImportOptions(), LOCAL_MANAGER)
    assert report.refused == 0
    view = view_of(store, slug, LOCAL_MANAGER)
    first = view.records.stems.iloc[0]
    later = {"stem_id": first["stem_id"], "value": 58.5, "unit": "cm", "instrument": "girth tape"}
    later |= {"height_m": 0.9, "measured_on": "2026-05-20", "crew_kind": "pupils", "note": HOSTILE_NOTE}
    enter_readings(store, slug, LOCAL_MANAGER, [later])
    seen = {
        "tree_id": first["tree_id"],
        "what": "dead branch",
        "text": HOSTILE_NOTE,
        "observed_on": "2026-05-20",
    }
    enter_observations(store, slug, LOCAL_MANAGER, [seen])
    looked = {
        "inspected_on": "2026-06-01",
        "level": "formal",
        "organisation": "Council <i>",
        "qualified": True,
    }
    looked |= {"qualification": "inspector", "answers": {first["tree_id"]: {"answer": "nothing recorded"}}}
    enter_inspections(store, slug, LOCAL_MANAGER, [looked])
    return view_of(store, slug, LOCAL_MANAGER)


def new_id():
    """A fresh UUID."""
    return str(uuid.uuid4())
