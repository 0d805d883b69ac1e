"""What phones send is kept once, in any order and any split; what needs a person waits in sight."""

import datetime as dt
import json
import uuid

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service import field_records
from service import set_aside as waiting_list
from service.actors import LOCAL_MANAGER, Actor, crew_actor
from service.crew_words import CrewPass
from service.edit import add_crews, add_rounds, add_trees, cross_out
from service.entry import enter_statuses
from service.errors import InvalidRequest, NotPermitted, StaleVersion
from service.field_entry import take_batch
from service.field_records import batch_of
from service.store import schema
from service.store.site_rows import create_site, find_site
from service.view import view_of
from tests import field_items as phone
from tests.field_items import DAY, SLUG, STEMS, TREES, item, outcomes, reading, take, tree

NEW_TREE, NEW_STEM = (str(uuid.UUID(int=9_500 + n)) for n in range(2))
EARLIER = str(uuid.UUID(int=9_950))
TABLES = (
    *(schema.tree, schema.stem, schema.reading, schema.observation, schema.status_event),
    *(schema.danger_report, schema.calibration, schema.photo),
)


@pytest.fixture
def ground(store):
    return phone.ground(store)


def rows(store, table, slug=SLUG):
    with store.read() as connection:
        site = find_site(connection, slug).fid
        return connection.execute(sa.select(table).where(table.c.site_id == site)).all()


def readings(store):
    return {row.id: row for row in rows(store, schema.reading)}


def changes(store):
    with store.read() as connection:
        return find_site(connection, SLUG).change_no


def test_what_is_sent_twice_is_kept_once_and_a_batch_is_one_change(ground):
    sent = [reading(STEMS[0]), reading(STEMS[1]), tree(NEW_TREE, NEW_STEM), reading(NEW_STEM)]
    sent += [item("observation", {"tree_id": TREES[0], "what": "height", "value": 9.5, "unit": "m"})]
    before = changes(ground)
    assert outcomes(ground, [sent[0], *sent]) == ["taken"] * 6
    assert changes(ground) == before + 1
    assert outcomes(ground, sent) == ["already there"] * 5
    assert changes(ground) == before + 1
    assert len(readings(ground)) == 3


def test_team_kind_and_round_come_from_the_word_and_never_from_what_was_said(ground):
    said = reading(STEMS[0], crew_kind="trained staff", round_id=str(uuid.UUID(int=1)), source="x")
    said["content"]["crew"] = "team 3"
    strange = reading(STEMS[1], crew="team of nobody")
    other = reading(STEMS[2], crew="team 2")
    take(ground, [said, strange, other])
    kept = readings(ground)
    assert [kept[one["id"]].crew for one in (said, strange, other)] == ["team 1", "team 1", "team 2"]
    assert {row.round_id for row in kept.values()} == {phone.ROUND}
    assert {row.crew_kind for row in kept.values()} == {"pupils"}
    assert kept[said["id"]].source is None


def test_two_phones_with_one_tree_both_count(ground):
    ours, theirs = reading(STEMS[0], 100.0), reading(STEMS[0], 101.0, crew="team 2")
    assert outcomes(ground, [ours]) == outcomes(ground, [theirs], crew="team 2") == ["taken"]
    assert len(readings(ground)) == 2


@pytest.mark.parametrize(
    ("tag", "why"),
    [("99", "No tree had the number 99"), ("7", "2 trees have the number 7"), ("6", "Tree 6 has 2 trunks")],
)
def test_a_number_that_leads_to_no_single_trunk_waits_and_a_person_says_which(ground, tag, why):
    sent = reading(tag=tag)
    answer = take(ground, [sent])[sent["id"]]
    assert (answer.outcome, answer.why[: len(why)]) == ("set aside", why)
    assert outcomes(ground, [sent]) == ["set aside"]
    (one,) = waiting_list.all_waiting(ground, SLUG)
    assert (one.team, one.recorded_at, one.content["value"]) == ("team 1", f"{DAY}T10:00:00+02:00", 100.0)
    with pytest.raises(InvalidRequest, match="Choose the tree"):
        waiting_list.take(ground, SLUG, LOCAL_MANAGER, one.id, one.version)
    waiting_list.take(ground, SLUG, LOCAL_MANAGER, one.id, one.version, stem_id=STEMS[3])
    kept = readings(ground)[sent["id"]]
    assert (kept.stem_id, kept.crew, kept.round_id) == (STEMS[3], "team 1", phone.ROUND)
    assert waiting_list.all_waiting(ground, SLUG) == []
    assert outcomes(ground, [sent]) == ["already there"]


def test_a_number_of_one_tree_is_that_tree(ground):
    sent = reading(tag=" 3 ")
    assert outcomes(ground, [sent]) == ["taken"]
    assert readings(ground)[sent["id"]].stem_id == STEMS[2]
    add_trees(ground, SLUG, LOCAL_MANAGER, [{"tag": "3"}])
    assert outcomes(ground, [sent]) == ["already there"]


def test_a_number_is_that_of_the_tree_that_stands_where_another_one_was_taken_out(ground):
    gone = {"subject_id": TREES[6], "status": "removed", "happened_on": "2026-01-10"}
    enter_statuses(ground, SLUG, LOCAL_MANAGER, [gone])
    sent = reading(tag="7")
    assert outcomes(ground, [sent]) == ["taken"]
    assert readings(ground)[sent["id"]].stem_id == STEMS[7]


def test_what_is_dropped_stays_dropped_and_its_phone_hears_why(ground):
    sent = reading(tag="99")
    take(ground, [sent])
    (one,) = waiting_list.all_waiting(ground, SLUG)
    with pytest.raises(NotPermitted):
        waiting_list.drop(ground, SLUG, Actor("crew", "crew:x"), one.id, one.version, "no such tree")
    with pytest.raises(InvalidRequest, match="Say why"):
        waiting_list.drop(ground, SLUG, LOCAL_MANAGER, one.id, one.version, " ")
    waiting_list.drop(ground, SLUG, LOCAL_MANAGER, one.id, one.version, "no such tree")
    with pytest.raises(InvalidRequest, match="meanwhile"):
        waiting_list.take(ground, SLUG, LOCAL_MANAGER, one.id, one.version, stem_id=STEMS[0])
    answer = take(ground, [sent])[sent["id"]]
    assert answer.outcome == "already there"
    assert answer.why.endswith("no such tree")
    assert readings(ground) == {}
    (settled,) = waiting_list.lately_settled(ground, SLUG)
    assert (settled.settled, settled.settled_why) == ("dropped", "no such tree")


def test_two_people_do_not_settle_one_record_twice(ground):
    take(ground, [reading(tag="99")])
    (one,) = waiting_list.all_waiting(ground, SLUG)
    with pytest.raises(StaleVersion):
        waiting_list.take(ground, SLUG, LOCAL_MANAGER, one.id, one.version + 1, stem_id=STEMS[0])
    assert readings(ground) == {}


def test_a_reading_of_a_tree_that_comes_later_is_taken_in_with_it(ground):
    early, new = reading(NEW_STEM, 61.0), tree(NEW_TREE, NEW_STEM, tag="12", name_as_written="Tilia cordata")
    assert outcomes(ground, [early]) == ["set aside"]
    assert outcomes(ground, [new], crew="team 2") == ["taken"]
    assert readings(ground)[early["id"]].stem_id == NEW_STEM
    (one,) = waiting_list.lately_settled(ground, SLUG)
    assert (one.settled, one.became) == ("taken", early["id"])
    made = view_of(ground, SLUG, LOCAL_MANAGER).records.trees.set_index("tree_id").loc[NEW_TREE]
    assert (made["tag"], made["genus"], made["position_source"]) == ("12", "Tilia", "two tapes")
    assert json.loads(made["kept"]["how the place was found"]) == {"tapes": [3.1, 4.2], "x": 3.0, "y": 4.0}
    assert made["lon_deg"] == pytest.approx(9.0 + 3.0 * phone.LON_M, abs=2e-8)
    assert made["lat_deg"] == pytest.approx(50.0 + 4.0 * phone.LAT_M, abs=2e-8)


def test_a_place_in_metres_means_the_same_whatever_trees_came_in_between(ground):
    first, second = tree(NEW_TREE, NEW_STEM), tree(str(uuid.UUID(int=9_600)), str(uuid.UUID(int=9_601)))
    take(ground, [first])
    add_trees(ground, SLUG, LOCAL_MANAGER, [{"lon_deg": 9.01, "lat_deg": 50.01}])
    take(ground, [second])
    places = [(row.lon_deg, row.lat_deg) for row in rows(ground, schema.tree) if row.position_source]
    assert len(places) == 2
    assert len(set(places)) == 1


def test_a_place_far_from_all_trees_is_kept_as_written_and_makes_no_position(ground):
    far = tree(NEW_TREE, NEW_STEM, x=999_999.0, y=-999_999.0)
    (answer,) = take(ground, [far]).values()
    assert (answer.outcome, "far from all trees" in answer.why) == ("questioned", True)
    (kept,) = [row for row in rows(ground, schema.tree) if row.id == NEW_TREE]
    assert (kept.lon_deg, kept.lat_deg, kept.x_m, kept.position_source) == (None, None, None, None)
    assert "999999" in kept.kept
    near = tree(str(uuid.UUID(int=9_777)), str(uuid.UUID(int=9_778)), x=60.0, y=40.0)
    assert outcomes(ground, [near, far]) == ["taken", "already there"]


def test_what_a_phone_says_of_a_tree_that_is_here_is_a_proposal(ground):
    take(ground, [tree(NEW_TREE, NEW_STEM, tag="12")])
    moved = tree(NEW_TREE, NEW_STEM, tag="13", x=30.0)
    assert outcomes(ground, [moved], crew="team 2") == ["set aside"]
    (one,) = waiting_list.all_waiting(ground, SLUG)
    waiting_list.take(ground, SLUG, LOCAL_MANAGER, one.id, one.version)
    now = next(row for row in rows(ground, schema.tree) if row.id == NEW_TREE)
    assert (now.tag, now.version) == ("13", 2)
    assert now.lon_deg == pytest.approx(9.0 + 30.0 * phone.LON_M, abs=1e-7)


def test_a_reading_of_a_tree_that_was_taken_out_is_kept_and_asked_about(ground):
    gone = {"subject_id": TREES[0], "status": "removed", "happened_on": "2026-01-10"}
    enter_statuses(ground, SLUG, LOCAL_MANAGER, [gone])
    sent = reading(STEMS[0])
    answer = take(ground, [sent])[sent["id"]]
    assert answer.outcome == "questioned"
    assert answer.why.startswith("This tree is recorded as taken out.")
    assert set(readings(ground)) == {sent["id"]}
    asked = view_of(ground, SLUG, LOCAL_MANAGER).questioned
    assert list(asked["what"]) == ["after removal"]


def test_a_reading_of_a_tree_that_was_crossed_out_waits(ground):
    cross_out(ground, SLUG, LOCAL_MANAGER, "tree", TREES[0], 1)
    assert outcomes(ground, [reading(STEMS[0])]) == ["set aside"]


def test_a_team_takes_back_what_it_said_itself_and_nothing_of_others(ground):
    sent = reading(STEMS[0])
    back = item("reading", {"stem_id": STEMS[0], "supersedes": sent["id"], "void": True, "reason": "slip"})
    theirs = {**back, "id": str(uuid.uuid4()), "crew": "team 2"}
    elsewhere = {**back, "id": str(uuid.uuid4())}
    elsewhere["content"] = {**back["content"], "stem_id": STEMS[1]}
    assert outcomes(ground, [back, theirs]) == ["set aside", "set aside"]
    assert outcomes(ground, [sent]) == ["taken"]
    assert outcomes(ground, [back, theirs, elsewhere]) == ["already there", "set aside", "set aside"]
    whys = {one.why.split(".")[0] for one in waiting_list.all_waiting(ground, SLUG)}
    assert whys == {
        "It corrects what another team said",
        "It corrects a record of another trunk or tree",
    }
    state = view_of(ground, SLUG, LOCAL_MANAGER).state.stem_state
    assert state["dbh_cm"].isna().all()


def test_a_clock_that_is_a_day_off_is_asked_about_with_both_times_and_both_are_kept(ground):
    yesterday = (dt.datetime.now(dt.UTC) - dt.timedelta(days=1)).isoformat(timespec="seconds")
    sent = reading(STEMS[0], measured_on=yesterday[:10])
    sent["recorded_at"] = yesterday
    answer = take(ground, [sent], sent_at=yesterday)[sent["id"]]
    assert answer.outcome == "questioned"
    today = dt.datetime.now(dt.UTC).date().isoformat()
    assert yesterday[:10] in answer.why
    assert today in answer.why
    kept = readings(ground)[sent["id"]]
    assert (kept.recorded_at, kept.received_at[:10]) == (yesterday, today)
    (asked,) = rows(ground, schema.question)
    assert (asked.subject_id, asked.detail) == (sent["id"], answer.why)
    assert outcomes(ground, [sent], sent_at=yesterday) == ["already there"]
    assert len(rows(ground, schema.question)) == 1


def test_a_clock_that_is_right_asks_nothing_of_what_waited_on_the_phone(ground):
    assert outcomes(ground, [reading(STEMS[0])]) == ["taken"]


def test_an_older_form_is_brought_up_to_date_and_a_newer_one_waits(ground, monkeypatch):
    old = reading(STEMS[0])
    old["content"]["girth"] = old["content"].pop("value")
    newer = reading(STEMS[1])
    take(ground, [newer], format=2)
    monkeypatch.setattr(field_records, "FORMAT", 2)
    renamed = {1: lambda kind, said: (kind, {"value" if n == "girth" else n: v for n, v in said.items()})}
    monkeypatch.setattr(field_records, "UPGRADES", renamed)
    assert outcomes(ground, [old], format=1) == ["taken"]
    assert readings(ground)[old["id"]].value == 100.0
    assert readings(ground)[newer["id"]].stem_id == STEMS[1], "what waited for this program is taken in"
    assert outcomes(ground, [reading(STEMS[2])], format=3) == ["set aside"]


def test_what_its_team_can_mend_is_refused_and_the_rest_of_the_batch_taken(ground):
    sent = [reading(STEMS[0], 99_999.0), reading(STEMS[1]), reading()]
    found = take(ground, [*sent, {"kind": "reading", "id": "none", "content": {}}, "x"])
    assert [found[one["id"]].outcome for one in sent] == ["refused", "taken", "refused"]
    assert "45 m round" in found[sent[0]["id"]].why
    assert found["none"].outcome == found[""].outcome == "refused"


def test_an_id_with_other_content_is_refused_and_changes_nothing(ground):
    sent, aside = reading(STEMS[0]), reading(tag="99")
    take(ground, [sent, aside])
    others = [reading(STEMS[0], 120.0, id=sent["id"]), reading(id=aside["id"], tag="98")]
    assert outcomes(ground, others) == ["refused", "refused"]
    assert (
        outcomes(ground, [reading(STEMS[1], id=NEW_STEM), reading(STEMS[1], 9.0, id=NEW_STEM)])
        != ["taken"] * 2
    )
    assert readings(ground)[sent["id"]].value == 100.0


def test_a_danger_stands_on_top_wherever_it_was_seen(ground):
    sent = [
        item("danger", {"sight": "fresh crack", "tag": "3", "seen_on": DAY}),
        item("danger", {"sight": "new lean", "x": 10.0, "y": 0.0}),
        item("danger", {"sight": "on a wire", "tag": "99"}),
        item("danger", {"sight": "on a wire"}),
        item("danger", {"sight": "fresh crack", "tree_id": NEW_TREE}),
    ]
    assert outcomes(ground, sent) == ["taken"] * 4 + ["questioned"]
    told = view_of(ground, SLUG, LOCAL_MANAGER).dangers.set_index("danger_id")
    assert len(told) == 5
    assert told.loc[sent[0]["id"], "tree_id"] == TREES[2]
    assert told.loc[sent[1]["id"], "lon_deg"] == pytest.approx(9.0 + 10.0 * phone.LON_M, abs=1e-7)
    assert told.loc[sent[2]["id"], "place"] == "tree number 99"
    assert "team 1" in told.loc[sent[3]["id"], "place"]


def test_helpers_say_what_a_tree_looks_like_and_it_stays_in_doubt(ground):
    sent = [
        item("status", {"tree_id": TREES[0], "says": "only a stump"}),
        item("status", {"tag": "2", "says": "not found"}),
    ]
    assert outcomes(ground, sent) == ["taken", "taken"]
    said = {row.subject_id: row for row in rows(ground, schema.status_event)}
    assert (said[TREES[0]].status, said[TREES[0]].in_doubt) == ("removed", 1)
    assert (said[TREES[1]].as_said, said[TREES[1]].happened_on) == ("not found", DAY)


# --- any order, any split ---------------------------------------------------------------------------------


def world(store, slug):
    """A small ground with two teams whose ids all follow from its name."""
    space = uuid.uuid5(uuid.NAMESPACE_URL, slug)

    def id(name):
        return str(uuid.uuid5(space, name))

    create_site(store, slug, actor=LOCAL_MANAGER, site_id=id("site"))
    trees = [
        {"id": id(f"tree {n}"), "tag": tag, "lon_deg": 9.0, "lat_deg": 50.0} for n, tag in enumerate("1223")
    ]
    add_trees(store, slug, LOCAL_MANAGER, trees)
    add_rounds(store, slug, LOCAL_MANAGER, [{"id": id("round"), "name": "r", "from_on": DAY}])
    crews = [{"id": id(code), "round_id": id("round"), "code": code, "kind": "pupils"} for code in "AB"]
    add_crews(store, slug, LOCAL_MANAGER, crews)
    return id


def everything(id):
    """What two phones enter in a day: with what waits for each other, and what has to wait for a person."""
    stem = str(uuid.uuid5(uuid.UUID(id("tree 0")), "1"))

    def said(kind, name, content, crew="A"):
        return item(kind, content, id=id(name), crew=crew)

    def read(name, crew="A", stem_id=None, **content):
        return reading(stem_id, 50.0, id=id(name), crew=crew, **content)

    return [
        said("tree", "t", {"tree_id": id("new"), "stems": [{"id": id("trunk"), "number": 1}], "tag": "3"}),
        read("r1", stem_id=id("trunk")),
        read("r2", crew="B", stem_id=id("trunk")),
        read("r3", stem_id=stem),
        read("r4", stem_id=stem, supersedes=id("r3"), first_entry=50.0),
        said("reading", "r5", {"stem_id": stem, "supersedes": id("r4"), "void": True, "reason": "x"}),
        said("reading", "r6", {"stem_id": stem, "supersedes": id("r3"), "void": True, "reason": "x"}, "B"),
        read("r7", tag="3"),
        read("r8", crew="B", tag="2"),
        read("r9", tag="1"),
        said("reading", "r10", {"tag": "2", "supersedes": id("r8"), "void": True, "reason": "x"}, "B"),
        read("r11", stem_id=id("nowhere")),
        said("observation", "o", {"tree_id": id("new"), "what": "height", "value": 4.0, "unit": "m"}, "B"),
        said("status", "s", {"tree_id": id("new"), "says": "not found"}),
        said("danger", "d1", {"sight": "fresh crack", "tree_id": id("new")}),
        said("danger", "d2", {"sight": "fresh crack", "tree_id": id("new"), "supersedes": id("d1")}),
        said(
            "photo", "p", {"photo_id": id("pic"), "subject": "tree", "subject_id": id("new"), "kind": "leaf"}
        ),
        said("calibration", "c", {"totals_cm": [70, 71, 69, 70, 70], "calibrated_on": DAY}, "B"),
    ]


def state_of(store, slug, id):
    """What the ground holds and what waits, with names instead of ids, without what tells when it came."""
    names = {id(name): name for name in ("site", "round", "A", "B", "new", "trunk", "nowhere", "pic")}
    names |= {one["id"]: f"item {n}" for n, one in enumerate(everything(id))}
    names |= {id(f"tree {n}"): f"tree {n}" for n in range(4)}
    names |= {str(uuid.uuid5(uuid.UUID(id(f"tree {n}")), "1")): f"stem {n}" for n in range(4)}

    def cells(row):
        left = {"fid", "site_id", "change_id", "received_at"}
        said = json.dumps({n: v for n, v in row._mapping.items() if n not in left}, sort_keys=True)
        for known, name in names.items():
            said = said.replace(known, name)
        return said

    held = {table.name: sorted(cells(row) for row in rows(store, table, slug)) for table in TABLES}
    open_rows = [row for row in rows(store, schema.set_aside, slug) if row.settled is None]
    waits = sorted(
        (names[row.id], row.why, row.crew, row.actor.replace(id("A"), "A").replace(id("B"), "B"))
        for row in open_rows
    )
    return held, waits


def send(store, slug, id, items):
    """Send items from the phone of the team of the first one."""
    code = items[0]["crew"]
    crew = CrewPass(slug, id("round"), id(code), code, "pupils", "2999-01-01T00:00:00Z")
    return take_batch(store, crew_actor(id(code)), crew, batch_of(phone.sent(items)))


@pytest.fixture(params=["sqlite", "postgresql"])
def ordered(request):
    """A store with a ground to which everything came in its order."""
    store = request.getfixturevalue(f"{request.param}_store")
    id = world(store, "in-order")
    for one in everything(id):
        send(store, "in-order", id, [one])
    return store, state_of(store, "in-order", id)


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_order_and_any_split_end_in_the_same_state(ordered, data):
    store, expected = ordered
    slug = f"ground-{uuid.uuid4()}"
    id = world(store, slug)
    order = data.draw(st.permutations(range(len(everything(id)))))
    again = data.draw(st.lists(st.sampled_from(order), max_size=5))
    left = [everything(id)[n] for n in (*order, *again)]
    while left:
        most = data.draw(st.integers(1, 6))
        crew = left[0]["crew"]
        mine = [n for n, one in enumerate(left) if one["crew"] == crew][:most]
        send(store, slug, id, [left[n] for n in mine])
        left = [one for n, one in enumerate(left) if n not in mine]
    assert state_of(store, slug, id) == expected


def test_what_was_measured_on_former_days_stays_with_its_own_team_and_days(ground):
    add_rounds(ground, SLUG, LOCAL_MANAGER, [{"id": EARLIER, "name": "Autumn", "from_on": "2025-10-06"}])
    crew = {"id": str(uuid.UUID(int=9_951)), "round_id": EARLIER, "code": "class 4", "kind": "pupils"}
    add_crews(ground, SLUG, LOCAL_MANAGER, [crew])
    late = reading(STEMS[0], crew="class 4", measured_on="2025-10-06")
    assert outcomes(ground, [late, reading(STEMS[1])]) == ["taken", "taken"]
    kept = readings(ground)[late["id"]]
    assert (kept.crew, kept.round_id, kept.crew_kind) == ("class 4", EARLIER, "pupils")


def test_the_word_of_pupils_lets_nobody_measure_as_trained_staff_but_a_danger_is_taken(ground):
    said = reading(STEMS[0], crew="team 3")
    danger = item("danger", {"sight": "new lean", "tree_id": TREES[0]}, crew="team 3")
    answers = take(ground, [said, danger])
    assert answers[said["id"]].outcome == "set aside"
    assert "no team of these measuring days" in answers[said["id"]].why
    assert answers[danger["id"]].outcome == "taken"
    assert not readings(ground)
    assert [row.crew for row in rows(ground, schema.danger_report)] == [None]


def test_what_waits_in_a_batch_for_what_the_same_batch_sets_free_is_taken_with_it(ground):
    first, second = reading(STEMS[0], 100.0), reading(STEMS[0], 101.0)
    second["content"]["supersedes"] = first["id"]
    void = item("reading", {"stem_id": STEMS[0], "supersedes": second["id"], "void": True, "reason": "x"})
    assert outcomes(ground, [second]) == ["set aside"]
    assert outcomes(ground, [void, first]) == ["taken", "taken"]
    assert len(readings(ground)) == 3
