"""Questions are settled once, by a record; what was typed first stays, and taking it back asks it again."""

import pytest

from layers.questioned import FORK, UNLIKE
from service.actors import LOCAL_MANAGER, Actor
from service.edit import add_crews, add_rounds
from service.entry import enter_readings
from service.errors import InvalidRequest, NotFound, NotPermitted
from service.intake.prepared import ImportOptions
from service.intake.run import import_file
from service.records import parsed
from service.settling import SettlingIn, settle
from service.undo import undo_last
from service.view import view_of
from service.web.open_questions import number_to_check, of_lists
from tests.web_site import SLUG, make_web_site


@pytest.fixture
def view(store, tmp_path):
    return make_web_site(store, tmp_path)


def now(store):
    return view_of(store, SLUG, LOCAL_MANAGER)


def asked(store):
    rows = now(store).questioned
    return list(zip(rows["reading_id"], rows["what"], strict=True))


def odd_reading(store, view, value=20.0, **more):
    """A girth of 20 where 51 was read before: 51 cm are 20 inches."""
    stem = view.records.stems.iloc[1]["stem_id"]
    said = {"stem_id": stem, "value": value, "measured_on": "2024-09-01", "height_m": 1.3, **more}
    (answer,) = enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    return answer.id


def say(store, **said):
    return settle(
        store, SLUG, LOCAL_MANAGER, parsed(SettlingIn, {"subject": "reading", "what": UNLIKE, **said})
    )


def last(store):
    return now(store).records.readings.iloc[-1]


def test_an_odd_reading_is_kept_counts_and_is_asked_about(store, view):
    before = asked(store)
    id = odd_reading(store, view)
    assert set(asked(store)) - set(before) == {(id, UNLIKE)}
    stem = view.records.stems.iloc[1]["stem_id"]
    state = now(store).state.stem_state.set_index("stem_id")
    assert state.loc[stem, "reading"] == id


def test_what_stays_is_a_record_and_not_asked_again(store, view):
    id = odd_reading(store, view)
    assert say(store, subject_id=id, answer="accept") == 0
    assert (id, UNLIKE) not in asked(store)
    kept = now(store).records.settlings.iloc[-1]
    assert kept[["subject", "subject_id", "what", "answer"]].to_list() == ["reading", id, UNLIKE, "accept"]
    assert kept["actor"] == LOCAL_MANAGER.handle


def test_a_correction_keeps_what_was_typed_first_and_the_reason(store, view):
    id = odd_reading(store, view)
    assert say(store, subject_id=id, answer="supersede", unit="in", reason="inches") == 1
    kept = last(store)
    assert (kept.supersedes, kept.value, kept.unit, kept.first_entry) == (id, 20.0, "in", 20.0)
    assert kept.reason == "inches"
    assert kept.recorded_at
    assert {what for _, what in asked(store)} <= {UNLIKE}
    assert not [one for one in asked(store) if one[0] in (id, kept.reading_id)]


def test_a_typed_value_that_is_as_odd_is_settled_all_the_same(store, view):
    id = odd_reading(store, view)
    say(store, subject_id=id, answer="supersede", value=21.0)
    assert (last(store).value, last(store).first_entry) == (21.0, 20.0)
    assert (last(store).reading_id, UNLIKE) not in asked(store)


def test_of_two_corrections_the_first_entry_stays_the_first(store, view):
    id = odd_reading(store, view)
    say(store, subject_id=id, answer="supersede", value=21.0)
    say(store, subject_id=last(store).reading_id, answer="supersede", value=52.0)
    assert (last(store).value, last(store).first_entry) == (52.0, 20.0)


def test_what_is_crossed_out_counts_no_more(store, view):
    id = odd_reading(store, view)
    assert say(store, subject_id=id, answer="void") == 1
    stem = view.records.stems.iloc[1]["stem_id"]
    state = now(store).state.stem_state.set_index("stem_id")
    assert state.loc[stem, "reading"] != id
    assert (id, UNLIKE) not in asked(store)


@pytest.mark.parametrize(
    "answer", [{"answer": "accept"}, {"answer": "void"}, {"answer": "supersede", "value": 50.0}]
)
def test_taking_a_settling_back_asks_again(store, view, answer):
    id = odd_reading(store, view)
    say(store, subject_id=id, **answer)
    assert undo_last(store, SLUG, LOCAL_MANAGER) >= 1
    again = [reading for reading, what in asked(store) if what == UNLIKE]
    live = (
        now(store).state.stem_state.set_index("stem_id").loc[view.records.stems.iloc[1]["stem_id"], "reading"]
    )
    assert live in again
    values = now(store).records.readings.set_index("reading_id")["value"]
    assert values[live] == 20.0


def test_two_corrections_are_asked_about_until_one_is_kept(store, view):
    first = view.records.readings.iloc[0]
    for value, time in ((40.5, "2024-06-01T10:00:00Z"), (41.0, "2024-06-01T11:00:00Z")):
        said = {"stem_id": first["stem_id"], "value": value, "measured_on": first["measured_on"]}
        said |= {"supersedes": first["reading_id"], "recorded_at": time}
        enter_readings(store, SLUG, LOCAL_MANAGER, [said])
    forks = [id for id, what in asked(store) if what == FORK]
    assert len(forks) == 1
    say(store, subject_id=forks[0], what=FORK, answer="accept")
    assert FORK not in {what for _, what in asked(store)}


def test_what_was_corrected_meanwhile_is_refused_and_changes_nothing(store, view):
    id = odd_reading(store, view)
    say(store, subject_id=id, answer="supersede", value=50.0)
    before = now(store).known_at
    with pytest.raises(InvalidRequest, match="meanwhile"):
        say(store, subject_id=id, answer="void")
    assert now(store).known_at == before


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ({"answer": "supersede"}, "say what it should be"),
        ({"answer": "supersede", "value": -3.0}, "below zero"),
        ({"answer": "supersede", "unit": "furlong"}, "unit"),
        ({"answer": "decline"}, "answer"),
        ({"answer": "accept", "subject": "weather"}, "subject"),
    ],
)
def test_what_is_no_answer_is_refused(store, view, said, fault):
    id = odd_reading(store, view)
    with pytest.raises(InvalidRequest) as refused:
        say(store, subject_id=id, **said)
    assert fault in str(refused.value).lower() or any(fault in where for where, _ in refused.value.faults)
    assert not len(now(store).records.settlings)


def test_what_is_not_there_cannot_be_settled(store, view):
    with pytest.raises(NotFound):
        say(store, subject_id="00000000-0000-4000-8000-000000000000", answer="accept")
    with pytest.raises(NotFound):
        say(store, subject="question", subject_id="9999", answer="accept")
    with pytest.raises(NotFound):
        say(store, subject="crew", subject_id="r:A:girth:cm", answer="accept")


def test_only_who_manages_a_ground_settles(store, view):
    id = odd_reading(store, view)
    said = parsed(SettlingIn, {"subject": "reading", "subject_id": id, "what": UNLIKE, "answer": "accept"})
    with pytest.raises(NotPermitted):
        settle(store, SLUG, Actor("crew", "team 3"), said)


def crew_in_inches(store, view):
    (round_id,) = add_rounds(store, SLUG, LOCAL_MANAGER, [{"name": "Autumn", "from_on": "2024-09-01"}])
    add_crews(store, SLUG, LOCAL_MANAGER, [{"code": "B", "kind": "pupils", "round_id": round_id}])
    stems = view.records.readings.iloc[1:9]
    shared = {"measured_on": "2024-09-01", "crew": "B", "crew_kind": "pupils", "round_id": round_id}
    items = [
        {"stem_id": one.stem_id, "value": round(one.value / 2.54, 1), "height_m": 1.3, **shared}
        for one in stems.itertuples()
    ]
    enter_readings(store, SLUG, LOCAL_MANAGER, items)


def test_a_whole_crew_is_corrected_at_once_and_taken_back_at_once(store, view):
    crew_in_inches(store, view)
    (crew,) = now(store).questioned_crews.itertuples()
    assert (crew.crew, crew.readings, crew.about) == ("B", 8, "inches as centimetres")
    assert (
        say(store, subject="crew", subject_id=crew.crew_id, what="whole crew", answer="supersede", unit="in")
        == 8
    )
    assert not len(now(store).questioned_crews)
    assert (now(store).records.readings.iloc[-8:]["unit"] == "in").all()
    undo_last(store, SLUG, LOCAL_MANAGER)
    assert len(now(store).questioned_crews) == 1


def test_a_crew_that_stays_is_not_asked_about_again(store, view):
    crew_in_inches(store, view)
    (crew,) = now(store).questioned_crews.itertuples()
    say(store, subject="crew", subject_id=crew.crew_id, what="whole crew", answer="accept")
    assert not len(now(store).questioned_crews)


def test_a_question_of_a_list_stays_settled(store, view, tmp_path):
    path = tmp_path / "more.csv"
    path.write_text("Tag,Species,Girth cm,Lon,Lat\nA1,Tilia cordata,90,9.1709,47.6609\n", encoding="utf-8")
    import_file(store, path, SLUG, ImportOptions(), LOCAL_MANAGER)
    open_ones = of_lists(now(store))
    assert len(open_ones)
    first = open_ones.iloc[0]
    say(store, subject="question", subject_id=str(first["fid"]), what=first["what"], answer="accept")
    assert len(of_lists(now(store))) == len(open_ones) - 1
    undo_last(store, SLUG, LOCAL_MANAGER)
    assert len(of_lists(now(store))) == len(open_ones)


def test_a_size_that_a_list_and_the_check_ask_about_is_one_question(store, view, tmp_path):
    path = tmp_path / "more.csv"
    path.write_text("Tag,Species,Girth cm,Lon,Lat\nZ1,Tilia cordata,1200,9.1704,47.6604\n", encoding="utf-8")
    import_file(store, path, SLUG, ImportOptions(), LOCAL_MANAGER)
    assert len(now(store).records.questions) == 1
    (id,) = now(store).questioned["reading_id"]
    assert number_to_check(now(store)) == 1
    say(store, subject_id=id, answer="accept")
    assert number_to_check(now(store)) == 0
