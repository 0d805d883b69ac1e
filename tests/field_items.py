"""Items as phones send them, for tests: a ground with planned days, and short ways to say things."""

import datetime as dt
import uuid

from service.actors import LOCAL_MANAGER, crew_actor
from service.crew_words import CrewPass
from service.edit import add_trees
from service.field_entry import take_batch
from service.field_records import batch_of
from service.round_days import planned_round
from service.rounds import plan_round
from service.store.site_rows import create_site
from service.view import view_of

SLUG = "school"
TREES = [str(uuid.UUID(int=9_300 + n)) for n in range(8)]
STEMS = [str(uuid.uuid5(uuid.UUID(tree), "1")) for tree in TREES]
ROUND = str(uuid.UUID(int=9_900))
PHONE = str(uuid.UUID(int=77))
LON_M, LAT_M = 1 / 71_700.0, 1 / 111_200.0
DAY = "2026-05-04"
AHEAD = {"name": "Spring", "from_on": "2999-05-04", "height_m": 1.3, "pupils": 2, "trained_staff": 1}
AHEAD |= {"meeting_words": "at the gate", "practice": 1}


def ground(store, **more):
    """A ground with eight trees, two of them with the number 7, and measuring days of three teams."""
    site_id = str(uuid.UUID(int=9_200))
    create_site(store, SLUG, actor=LOCAL_MANAGER, site_id=site_id, phone="112", **more)
    tags = ["1", "2", "3", "4", "5", "6", "7", "7"]
    is_local = more.get("frame") == "local"
    trees = [
        {"id": id, "tag": tag, **_place(n % 4 * 10.0, n // 4 * 10.0, is_local)}
        for n, (id, tag) in enumerate(zip(TREES, tags, strict=True))
    ]
    trees[5]["stems"] = 2
    add_trees(store, SLUG, LOCAL_MANAGER, trees)
    plan_round(store, SLUG, LOCAL_MANAGER, {**AHEAD, **_place(0.0, -10.0, is_local)}, ROUND)
    return store


def _place(x, y, is_local):
    """A place so many metres from the first tree."""
    return {"x_m": x, "y_m": y} if is_local else {"lon_deg": 9.0 + x * LON_M, "lat_deg": 50.0 + y * LAT_M}


def passes(store):
    """Whom the words of the teams let in, by code."""
    now = planned_round(view_of(store, SLUG, LOCAL_MANAGER), ROUND)
    return {
        code: CrewPass(SLUG, ROUND, id, code, now.kinds[id], "2999-05-05T00:00:00Z")
        for id, code in now.codes.items()
    }


def item(kind, content, *, id=None, crew="team 1", at=f"{DAY}T10:00:00+02:00", **more):
    """An item of a phone."""
    return {
        "kind": kind,
        "id": id or str(uuid.uuid4()),
        "recorded_at": at,
        "crew": crew,
        "content": content,
        **more,
    }


def reading(stem_id=None, value=100.0, *, id=None, crew="team 1", **content):
    """A reading of a trunk, or of a number where no trunk is named."""
    said = {"value": value, "unit": "cm", "instrument": "girth tape", "height_m": 1.3, "measured_on": DAY}
    about = {"stem_id": stem_id} if stem_id else {}
    return item("reading", {**said, **about, **content}, id=id, crew=crew)


def tree(tree_id, stem_id, *, id=None, crew="team 1", **content):
    """A tree that a team wrote down."""
    said = {"tree_id": tree_id, "stems": [{"id": stem_id, "number": 1}], "x": 3.0, "y": 4.0}
    said |= {"position_source": "two tapes", "position_accuracy_m": 0.3, "how": {"tapes": [3.1, 4.2]}}
    return item("tree", {**said, **content}, id=id, crew=crew)


def sent(items, *, format=1, sent_at=None):
    """A batch as it is sent, at a time of the phone (now by default)."""
    at = sent_at or dt.datetime.now(dt.UTC).isoformat()
    return {"format": format, "phone": PHONE, "program": "0", "sent_at": at, "items": items}


def take(store, items, *, crew="team 1", **more):
    """Take items in as a phone of a team sends them; answers by id."""
    mine = passes(store)[crew]
    answers = take_batch(store, crew_actor(mine.crew_id), mine, batch_of(sent(items, **more)))
    return {answer.id: answer for answer in answers}


def outcomes(store, items, **more):
    """What became of items, in their order."""
    found = take(store, items, **more)
    return [found[one["id"]].outcome for one in items]
