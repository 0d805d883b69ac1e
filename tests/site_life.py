"""What people do on a ground, at random by a seed, through the functions that take it in."""

import io
import random
import uuid
from contextlib import suppress

import sqlalchemy as sa
from PIL import Image

from layers import plan_image
from layers.questioned import FORK, UNLIKE
from layers.site_model import Factor, SiteModel
from service import set_aside
from service.actors import LOCAL_MANAGER, crew_actor
from service.closures import add_closures, add_hazards, reopen
from service.crew_words import CrewPass
from service.danger import answer_dangers, enter_dangers
from service.edit import (
    add_areas,
    add_crews,
    add_rounds,
    add_targets,
    add_trees,
    cross_out,
    edit_shape,
    edit_tree,
)
from service.entry import (
    enter_calibrations,
    enter_findings,
    enter_inspections,
    enter_observations,
    enter_readings,
    enter_statuses,
)
from service.errors import ImportRunning, InvalidRequest, NotFound, StaleVersion
from service.field_entry import take_batch
from service.field_records import batch_of
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.photos import keep_picture
from service.plan_images import add_plan_image, place_plan_image
from service.records import parsed
from service.settling import SettlingIn, settle
from service.site_models import adopt_fitted, adopt_version
from service.site_terms import edit_terms, terms_now
from service.store import schema
from service.store.site_rows import create_site, find_site
from service.undo import undo_last

WORDS = (
    "lime",
    "Tilia cordata",
    "Ulme",
    "дуб",
    "ナラ",
    "chêne 'Est'",
    'a "b";c',
    "\N{DECIDUOUS TREE}",
    "=1+1",
)
PLACES = (None, "Yard", "Hof", "Östliche Wiese")

MADE = (  # the kinds of record that a life has after its beginning
    *("change", "place", "area", "target", "tree", "stem", "round", "crew", "calibration", "reading"),
    *("observation", "status_event", "inspection", "inspection_answer", "finding", "question", "settling"),
    *("site_model", "plan_image", "source_key", "former_version"),
    *("danger_report", "danger_answer", "closure", "hazard", "photo", "picture", "set_aside"),
)


class Life:
    """A ground on which something happens at every ``step``."""

    def __init__(self, store, slug, box, folder, seed):
        self.store, self.slug, self.box, self.folder = store, slug, box, folder
        self.random = random.Random(seed)
        self.lists = 0
        self.deeds = [
            *(self.trees, self.edit, self.readings, self.readings, self.correct, self.void, self.see),
            *(self.status, self.finding, self.look, self.hand, self.area, self.target, self.redraw),
            *(self.round, self.crew, self.strike, self.settle, self.settle_list, self.back, self.terms),
            *(self.list_of_trees, self.model, self.plan),
            *(self.danger, self.answer, self.close, self.open_again, self.hazard),
            *(self.phone, self.mend, self.picture),
        ]

    def begin(self):
        """Make the ground and let everything happen once."""
        create_site(self.store, self.slug, actor=LOCAL_MANAGER, name="A life", country="DE", phone="112")
        self.trees()
        for deed in (*self.deeds, self.readings, self.back):
            deed()

    def step(self):
        """Let something happen."""
        self.random.choice(self.deeds)()

    def trees(self):
        made = [self._tree() for _ in range(self.random.randint(1, 3))]
        add_trees(self.store, self.slug, LOCAL_MANAGER, made)

    def edit(self):
        tree = self._some(schema.tree)
        self._unless_stale(edit_tree, tree.id, tree.version, self._tree())

    def readings(self):
        items = []
        for _ in range(self.random.randint(1, 4)):
            item = {"stem_id": self._some(schema.stem).id, "value": round(self.random.uniform(5, 300), 1)}
            item |= {"crew": "5b", "crew_kind": "pupils", "height_m": 1.3, "note": self._word()}
            items.append({**item, "measured_on": self._day()})
        enter_readings(self.store, self.slug, LOCAL_MANAGER, items)

    def correct(self):
        row = self._some(schema.reading)
        item = {"stem_id": row.stem_id, "value": round(self.random.uniform(5, 300), 1)}
        item |= {"supersedes": row.id, "measured_on": self._day(), "reason": "misread"}
        enter_readings(self.store, self.slug, LOCAL_MANAGER, [item])

    def void(self):
        row = self._some(schema.reading)
        item = {"stem_id": row.stem_id, "supersedes": row.id, "void": True, "reason": self._word()}
        enter_readings(self.store, self.slug, LOCAL_MANAGER, [item])

    def see(self):
        item = {"tree_id": self._some(schema.tree).id, "what": "height", "value": 12.5, "unit": "m"}
        enter_observations(self.store, self.slug, LOCAL_MANAGER, [{**item, "observed_on": self._day()}])

    def status(self):
        item = {"subject_id": self._some(schema.tree).id, "happened_on": self._day()}
        item["status"] = self.random.choice(("dead", "removed", "living"))
        enter_statuses(self.store, self.slug, LOCAL_MANAGER, [item])

    def finding(self):
        tree = self._some(schema.tree).id
        item = {"flag_key": f"size:{tree}", "rule_version": 1, "tree_id": tree, "found": self._word()}
        item |= {"looked_on": self._day(), "capacity": "qualified"}
        enter_findings(self.store, self.slug, LOCAL_MANAGER, [item])

    def look(self):
        item = {"inspected_on": self._day(), "level": "formal", "organisation": "Council"}
        item["answers"] = {self._some(schema.tree).id: {"answer": "recorded", "note": self._word()}}
        enter_inspections(self.store, self.slug, LOCAL_MANAGER, [item])

    def hand(self):
        item = {"crew": "5b", "totals_cm": [70, 71, 69, 70.5, 69.5], "calibrated_on": self._day()}
        enter_calibrations(self.store, self.slug, LOCAL_MANAGER, [item])

    def area(self):
        add_areas(self.store, self.slug, LOCAL_MANAGER, [{"name": self._word(), "geometry": self._ring()}])

    def target(self):
        line = {"type": "LineString", "coordinates": [[9.0, 47.0], [9.1, 47.1]]}
        add_targets(self.store, self.slug, LOCAL_MANAGER, [{"name": self._word(), "geometry": line}])

    def redraw(self):
        area = self._some(schema.area)
        said = {"name": self._word(), "geometry": self._ring(), "counting_limit_cm": 7.0}
        self._unless_stale(edit_shape, "area", area.id, area.version, said)

    def round(self):
        add_rounds(self.store, self.slug, LOCAL_MANAGER, [{"name": self._word(), "from_on": self._day()}])

    def crew(self):
        add_crews(self.store, self.slug, LOCAL_MANAGER, [{"code": "5b", "kind": "pupils"}])

    def strike(self):
        kind = self.random.choice(("tree", "area", "target", "crew"))
        row = self._some(schema.metadata.tables[kind])
        self._unless_stale(cross_out, kind, row.id, row.version)

    def settle(self):
        what = self.random.choice((UNLIKE, FORK))
        said = {"subject": "reading", "what": what, "subject_id": self._some(schema.reading).id}
        with suppress(InvalidRequest):  # corrected meanwhile
            settle(self.store, self.slug, LOCAL_MANAGER, parsed(SettlingIn, {**said, "answer": "accept"}))

    def settle_list(self):
        row = self._some(schema.question)
        if row is not None:
            said = {"subject": "question", "subject_id": str(row.fid), "what": row.what, "answer": "accept"}
            settle(self.store, self.slug, LOCAL_MANAGER, parsed(SettlingIn, said))

    def back(self):
        with suppress(NotFound):
            undo_last(self.store, self.slug, LOCAL_MANAGER)

    def terms(self):
        known = terms_now(self.store, self.slug)
        said = {**known.values, "name": f"{self._word()} ground", "phone": str(self.random.randrange(10**6))}
        with suppress(StaleVersion):
            edit_terms(self.store, self.slug, LOCAL_MANAGER, known.version, said)

    def list_of_trees(self):
        """A list of which some rows are new, some changed, some questioned."""
        path = self.folder / f"list {self.slug} {self.random.randrange(10**9)}.csv"
        lines = ["Nr;Baumart;Umfang cm;Ort;lon;lat;Pflege"]
        for number in range(1, 6 + self.lists % 5):
            girth = self.random.choice(("101", "88,5", "240 - 184", "", "1200"))
            place = f"9.00{number:03d};47.00{number:03d}"
            lines.append(f"{number};{self.random.choice(WORDS[:3])};{girth};Hof;{place};{self._day()}")
        path.write_text("\n".join(lines), encoding="utf-8")
        with suppress(ImportRunning):
            import_file(self.store, path, self.slug, ImportOptions(size="girth-cm"), LOCAL_MANAGER)
        self.lists += 1

    def model(self):
        with self.store.read() as connection:
            last = find_site(connection, self.slug).change_no
        learned = SiteModel(own=Factor(round(self.random.uniform(0.5, 2), 3), 43.2), crew=Factor(0.4, 12.0))
        with suppress(StaleVersion):
            adopt_fitted(self.store, self.slug, LOCAL_MANAGER, learned, last)
            if self.random.random() < 0.3:
                adopt_version(self.store, self.slug, LOCAL_MANAGER, 0, self._some(schema.site_model).number)

    def plan(self):
        out = io.BytesIO()
        colour = tuple(self.random.randrange(256) for _ in range(3))
        Image.new("RGB", (60, 40), colour).save(out, "PNG")
        id = add_plan_image(self.store, self.box, self.slug, LOCAL_MANAGER, self._word(), out.getvalue())
        flat = plan_image.from_length((0, 20), (60, 20), 50.0)
        placed = plan_image.with_point_on_earth(flat, (0, 40), 9.0, 47.0)
        with suppress(StaleVersion):
            place_plan_image(self.store, self.slug, LOCAL_MANAGER, id, 1, placed, 0.02)

    def danger(self):
        item = {"sight": "fresh crack", "seen_on": self._day(), "leader_did": ["moved away", "called"]}
        where = self.random.choice(({"place": self._word()}, {"tree_id": self._some(schema.tree).id}))
        enter_dangers(self.store, self.slug, LOCAL_MANAGER, [{**item, **where}])

    def answer(self):
        item = {"report_id": self._some(schema.danger_report).id, "did": self._word()}
        item |= {"organisation": "Council", "answered_on": self._day()}
        answer_dangers(self.store, self.slug, LOCAL_MANAGER, [item])

    def close(self):
        item = {"name": self._word(), "why": self._word(), "who_may_reopen": "Council"}
        item |= self.random.choice(({"geometry": self._ring()}, {"tree_id": self._some(schema.tree).id}))
        item |= {"radius_m": 12.5} if "tree_id" in item else {}
        add_closures(self.store, self.slug, LOCAL_MANAGER, [{**item, "from_on": "2009-05-01"}])

    def open_again(self):
        closed = self._some(schema.closure)
        said = {"reopened_on": self._day(), "reopened_because": self._word(), "reopened_by": "Council"}
        self._unless_stale(reopen, closed.id, closed.version, said)

    def hazard(self):
        line = {"type": "LineString", "coordinates": [[9.0, 47.0], [9.1, self.random.uniform(47, 47.1)]]}
        item = {"kind": "overhead line", "geometry": line, "voltage_kv": 20, "barrier": True}
        add_hazards(self.store, self.slug, LOCAL_MANAGER, [item])

    def phone(self):
        """A phone sends a measurement, one of a number that nobody knows, a tree, word of a picture."""
        crew = self._some(schema.crew)
        said = {"value": 99.0, "unit": "cm", "measured_on": self._day(), "note": self._word()}
        new = {"tree_id": self._id(), "stems": [{"id": self._id(), "number": 1}], "how": {"paces": 12}}
        shown = {"photo_id": self._id(), "subject": "tree", "subject_id": self._some(schema.tree).id}
        items = [
            {"kind": "reading", "content": {**said, "stem_id": self._some(schema.stem).id}},
            {"kind": "reading", "content": {**said, "tag": f"none {self._id()}"}},
            {"kind": "tree", "content": {**new, "tag": self._word(), "x": 1.5, "y": -2.0}},
            {"kind": "photo", "content": {**shown, "kind": "leaf"}},
        ]
        items = [{"id": self._id(), "crew": crew.code, "recorded_at": None, **item} for item in items]
        mine = CrewPass(self.slug, self._id(), crew.id, crew.code, crew.kind, "2999-01-01T00:00:00Z")
        batch = batch_of({"format": 1, "phone": self._id(), "items": items})
        take_batch(self.store, crew_actor(crew.id), mine, batch)

    def mend(self):
        """Somebody says what was meant, or drops it."""
        waits = set_aside.all_waiting(self.store, self.slug)
        if waits:
            one = self.random.choice(waits)
            if self.random.random() < 0.5:
                set_aside.drop(self.store, self.slug, LOCAL_MANAGER, one.id, one.version, self._word())
            else:
                meant = {"stem_id": self._some(schema.stem).id}
                set_aside.take(self.store, self.slug, LOCAL_MANAGER, one.id, one.version, **meant)

    def picture(self):
        """The picture of something arrives."""
        out = io.BytesIO()
        colour = tuple(self.random.randrange(256) for _ in range(3))
        Image.new("RGB", (40, 30), colour).save(out, "JPEG")
        keep_picture(self.store, self.box, self.slug, LOCAL_MANAGER, self._id(), out.getvalue())

    def _id(self):
        return str(uuid.UUID(int=self.random.getrandbits(128)))

    def _unless_stale(self, deed, *arguments):
        with suppress(StaleVersion):
            deed(self.store, self.slug, LOCAL_MANAGER, *arguments)

    def _some(self, table):
        """A row of the ground; the latest ones come up more often."""
        with self.store.read() as connection:
            site = find_site(connection, self.slug).fid
            query = sa.select(table).join(schema.change, schema.change.c.fid == table.c.change_id)
            query = query.where(table.c.site_id == site, schema.change.c.change_no.is_not(None))
            rows = connection.execute(query.order_by(table.c.fid.desc()).limit(40)).all()
        return rows[self.random.randrange(len(rows))] if rows else None

    def _tree(self):
        said = {"tag": str(self.random.randrange(1000)), "name_as_written": self._word()}
        said |= {"place": self.random.choice(PLACES), "stems": 1}
        if self.random.random() < 0.8:
            said |= {"lon_deg": self.random.uniform(9, 9.01), "lat_deg": self.random.uniform(47, 47.01)}
        return said

    def _ring(self):
        west = round(self.random.uniform(9, 9.1), 6)
        ring = [[west, 47.0], [west + 0.01, 47.0], [west + 0.01, 47.01], [west, 47.0]]
        return {"type": "Polygon", "coordinates": [ring]}

    def _word(self):
        return self.random.choice(WORDS)

    def _day(self):
        return (
            f"20{self.random.randrange(10, 26)}-0{self.random.randrange(1, 10)}-1{self.random.randrange(10)}"
        )


def new_life(store, box, folder, *, slug="life", seed=1):
    """A ground on which everything has happened once."""
    life = Life(store, slug, box, folder, seed)
    life.begin()
    return life
