import json
import uuid

import sqlalchemy as sa

from service.actors import LOCAL_MANAGER
from service.intake.prepared import Question
from service.store import changes, rows, schema
from tests.store.import_files import girth, prepared, rows_of, seen, take_in, tree_row

ENGLISH_OAK = {"name_as_written": "Quercus robur", "scientific_name": "Quercus robur", "genus": "Quercus"}


def edit(store, table, id, **values):
    """What a person here does: a new version of a record."""
    with store.write() as conn:
        row = rows.by_ids(conn, table, 1, [id])[id]
        change = changes.begin(conn, row.site_id, LOCAL_MANAGER, "edit")
        rows.revise(conn, table, row.site_id, id, row.version, values, change.fid)


def only(store, table):
    (row,) = rows_of(store, table)
    return row


def test_a_changed_attribute_is_a_new_version_and_the_former_one_is_kept(store):
    take_in(store, prepared(tree_row(1), tree_row(2)))
    report = take_in(store, prepared(tree_row(1, tag="1a"), tree_row(2)))
    assert report.counts == {"taken": 1, "already_there": 1, "questioned": 0, "refused": 0}
    assert report.records["trees"] == {"new": 0, "changed": 1}
    tree = rows_of(store, schema.tree)[0]
    assert (tree.tag, tree.version) == ("1a", 2)
    with store.read() as conn:
        former = conn.execute(sa.select(schema.former_version)).one()
    assert json.loads(former.content)["tag"] == "1" and former.version == 1
    assert take_in(store, prepared(tree_row(1, tag="1a"), tree_row(2))).already_there == 2


def test_what_a_person_changed_here_stays_while_the_file_does_not_change_it(store):
    file = prepared(tree_row(1))
    take_in(store, file)
    edit(store, schema.tree, only(store, schema.tree).id, tag="blue 7")
    assert take_in(store, file).already_there == 1
    assert only(store, schema.tree).tag == "blue 7"


def test_what_changed_there_and_here_is_put_to_a_person_as_a_proposal(store):
    take_in(store, prepared(tree_row(1)))
    edit(store, schema.tree, only(store, schema.tree).id, tag="blue 7")
    file = prepared(tree_row(1, tag="1a"))
    report = take_in(store, file)
    assert report.questioned == 1
    assert only(store, schema.tree).tag == "blue 7"
    question = only(store, schema.question)
    assert (question.subject, question.subject_id) == ("tree", only(store, schema.tree).id)
    assert json.loads(question.proposal) == {"tag": "1a"}
    assert take_in(store, file).already_there == 1


def test_what_changed_only_there_is_taken_beside_what_was_changed_only_here(store):
    take_in(store, prepared(tree_row(1)))
    edit(store, schema.tree, only(store, schema.tree).id, keeper="shared")
    assert take_in(store, prepared(tree_row(1, tag="1a"))).taken == 1
    tree = only(store, schema.tree)
    assert (tree.tag, tree.keeper, tree.version) == ("1a", "shared", 3)


def test_a_change_that_a_person_has_already_made_here_is_nothing_new(store):
    take_in(store, prepared(tree_row(1)))
    edit(store, schema.tree, only(store, schema.tree).id, tag="1a")
    assert take_in(store, prepared(tree_row(1, tag="1a"))).already_there == 1


def test_a_void_tree_is_not_brought_back(store):
    take_in(store, prepared(tree_row(1)))
    edit(store, schema.tree, only(store, schema.tree).id, void=1)
    assert take_in(store, prepared(tree_row(1))).already_there == 1
    assert take_in(store, prepared(tree_row(1, tag="1a"))).questioned == 1
    assert only(store, schema.tree).void == 1


def test_another_value_is_a_reading_that_supersedes_and_its_id_hashes_both(store):
    take_in(store, prepared(tree_row(1, readings=[girth(100.0)])))
    first = only(store, schema.reading)
    report = take_in(store, prepared(tree_row(1, readings=[girth(104.0)])))
    assert report.taken == 1
    assert report.records["readings"] == {"new": 0, "changed": 1}
    second = rows_of(store, schema.reading)[1]
    assert (second.value, second.supersedes, second.stem_id) == (104.0, first.id, first.stem_id)
    assert uuid.UUID(second.id).version == 5
    assert only(store, schema.tree).version == 1
    take_in(store, prepared(tree_row(1, readings=[girth(100.0)])))
    third = rows_of(store, schema.reading)[2]
    assert (third.value, third.supersedes) == (100.0, second.id)
    assert third.id not in (first.id, second.id)


def test_another_unit_of_the_same_number_is_another_value(store):
    take_in(store, prepared(tree_row(1, readings=[girth(40.0)])))
    inches = girth(40.0)
    inches.unit = "in"
    take_in(store, prepared(tree_row(1, readings=[inches])))
    assert [(r.unit, r.supersedes is not None) for r in rows_of(store, schema.reading)] == [
        ("cm", False),
        ("in", True),
    ]


def test_a_new_day_is_a_new_reading(store):
    take_in(store, prepared(tree_row(1, readings=[girth(100.0, measured_on="2020-05-01")])))
    both = [girth(100.0, measured_on="2020-05-01"), girth(104.0, measured_on="2024-05-01")]
    assert take_in(store, prepared(tree_row(1, readings=both))).taken == 1
    assert [r.supersedes for r in rows_of(store, schema.reading)] == [None, None]


def test_an_emptied_cell_takes_nothing_away(store):
    take_in(store, prepared(tree_row(1)))
    report = take_in(store, prepared(tree_row(1, readings=[])))
    assert report.already_there == 1
    assert only(store, schema.reading).void == 0


def test_a_value_changed_there_and_corrected_here_is_questioned_and_both_are_kept(store):
    take_in(store, prepared(tree_row(1, readings=[girth(100.0)])))
    first = only(store, schema.reading)
    with store.write() as conn:
        change = changes.begin(conn, first.site_id, LOCAL_MANAGER, "entry")
        correction = {**first._mapping, "id": str(uuid.uuid4()), "supersedes": first.id, "value": 102.0}
        del correction["fid"]
        rows.insert_records(conn, schema.reading, [{**correction, "change_id": change.fid}])
    report = take_in(store, prepared(tree_row(1, readings=[girth(104.0)])))
    assert report.questioned == 1
    assert [r.supersedes for r in rows_of(store, schema.reading)] == [None, first.id, first.id]
    assert only(store, schema.question).what == "corrected here and there"


def test_another_observation_supersedes_too(store):
    take_in(store, prepared(tree_row(1, observations=[seen(12.0)])))
    take_in(store, prepared(tree_row(1, observations=[seen(13.0)])))
    first, second = rows_of(store, schema.observation)
    assert (second.value, second.supersedes) == (13.0, first.id)


def test_a_further_trunk_is_a_new_stem_of_the_known_tree(store):
    take_in(store, prepared(tree_row(1)))
    report = take_in(store, prepared(tree_row(1, stems=2)))
    assert report.records["stems"] == {"new": 1, "changed": 0}
    assert [stem.number for stem in rows_of(store, schema.stem)] == [1, 2]
    assert take_in(store, prepared(tree_row(1, stems=2))).already_there == 1


def test_another_species_far_away_under_a_known_key_is_questioned_and_changes_nothing(store):
    take_in(store, prepared(tree_row(1)))
    file = prepared(tree_row(1, lon_deg=9.01, readings=[girth(30.0)], **ENGLISH_OAK))
    report = take_in(store, file)
    assert report.questioned == 1
    tree = only(store, schema.tree)
    assert (tree.scientific_name, tree.version, only(store, schema.reading).value) == (
        "Tilia cordata",
        1,
        101.0,
    )
    assert only(store, schema.question).what == "another tree"
    assert take_in(store, file).already_there == 1
    assert take_in(store, prepared(tree_row(1, tag="1a"))).taken == 1


def test_another_species_on_the_spot_is_a_new_version(store):
    take_in(store, prepared(tree_row(1)))
    assert take_in(store, prepared(tree_row(1, **ENGLISH_OAK))).taken == 1
    assert only(store, schema.tree).scientific_name == "Quercus robur"


def test_without_a_position_another_species_and_tag_is_another_tree(store):
    nowhere = {"lon_deg": None, "lat_deg": None}
    take_in(store, prepared(tree_row(1, **nowhere)))
    report = take_in(store, prepared(tree_row(1, tag="99", **nowhere, **ENGLISH_OAK)))
    assert report.questioned == 1
    assert only(store, schema.tree).version == 1


def test_a_name_that_is_only_matched_better_now_changes_nothing(store):
    take_in(store, prepared(tree_row(1, scientific_name=None, name_sure="unknown", genus=None)))
    assert take_in(store, prepared(tree_row(1))).already_there == 1


def test_a_column_that_the_file_no_longer_has_changes_nothing(store):
    take_in(store, prepared(tree_row(1, planted_on="1990-01-01")))
    report = take_in(store, prepared(tree_row(1, tag=None), said=("position",)))
    assert report.already_there == 1
    tree = only(store, schema.tree)
    assert (tree.tag, tree.planted_on) == ("1", "1990-01-01")


def test_keys_that_are_not_in_the_new_file_are_listed_and_stay(store):
    take_in(store, prepared(tree_row(1), tree_row(2), tree_row(3)))
    report = take_in(store, prepared(tree_row(2)))
    assert report.not_in_file == ["1", "3"]
    assert len(rows_of(store, schema.tree)) == 3


def test_the_same_numbers_in_two_places_are_different_trees(store):
    take_in(store, prepared(tree_row(1)), place="North")
    report = take_in(store, prepared(tree_row(1, lat_deg=47.1)), place="South")
    assert report.taken == 1 and report.not_in_file == []
    assert len(rows_of(store, schema.tree)) == 2


def test_a_question_that_was_asked_is_not_asked_again(store):
    doubt = [Question("doubtful name", "Which lime?", "species")]
    take_in(store, prepared(tree_row(1, questions=doubt)))
    report = take_in(store, prepared(tree_row(1, tag="1a", questions=doubt)))
    assert report.taken == 1
    assert len(rows_of(store, schema.question)) == 1


def test_a_tree_that_the_list_calls_a_stump_now_is_put_to_a_person(store):
    take_in(store, prepared(tree_row(1)))
    file = prepared(tree_row(1, place_kind="stump", readings=[]))
    assert take_in(store, file).questioned == 1
    assert only(store, schema.tree).version == 1 and rows_of(store, schema.place) == []
    assert take_in(store, file).already_there == 1


def test_rows_with_our_ids_are_matched_by_them_and_an_unchanged_export_changes_nothing(store):
    take_in(store, prepared(tree_row(1, place="North", kept={"street": "Mill"}), tree_row(2)))
    ids = [tree.id for tree in rows_of(store, schema.tree)]
    exported = [
        tree_row(
            1,
            source_key=None,
            own_ids={"tree_id": ids[0]},
            place="North",
            kept={"street": "Mill"},
            readings=[],
        ),
        tree_row(2, source_key=None, own_ids={"tree_id": ids[1]}, readings=[]),
    ]
    assert take_in(store, prepared(*exported)).already_there == 2
    exported[1].tag = "2b"
    assert take_in(store, prepared(*exported)).taken == 1
    assert [tree.tag for tree in rows_of(store, schema.tree)] == ["1", "2b"]
    assert take_in(store, prepared(*exported)).already_there == 2


def test_an_old_export_takes_nothing_back_that_was_changed_since(store):
    take_in(store, prepared(tree_row(1)))
    id = only(store, schema.tree).id
    old = prepared(tree_row(1, source_key=None, own_ids={"tree_id": id}, readings=[]))
    edit(store, schema.tree, id, tag="blue 7")
    assert take_in(store, old).already_there == 1
    assert only(store, schema.tree).tag == "blue 7"


def test_a_reading_that_comes_back_by_its_id_is_the_same_or_a_correction(store):
    take_in(store, prepared(tree_row(1)))
    reading, tree = only(store, schema.reading), only(store, schema.tree)
    ids = {"tree_id": tree.id, "stem_id": reading.stem_id, "reading_id": reading.id}

    def back(value):
        return prepared(tree_row(1, source_key=None, own_ids=ids, readings=[girth(value, column="value")]))

    assert take_in(store, back(101.0)).already_there == 1
    assert take_in(store, back(111.0)).taken == 1
    first, second = rows_of(store, schema.reading)
    assert (second.value, second.supersedes, second.stem_id) == (111.0, first.id, first.stem_id)
    assert take_in(store, back(111.0)).already_there == 1


def test_a_named_part_that_somebody_voided_is_made_anew_when_a_list_still_has_it(store):
    take_in(store, prepared(tree_row(1, place="North")))
    edit(store, schema.place, only(store, schema.place).id, void=1)
    take_in(store, prepared(tree_row(2, place="North")))
    take_in(store, prepared(tree_row(3, place="North")))
    void, anew = rows_of(store, schema.place)
    assert (void.void, anew.void) == (1, 0)
    assert [tree.place_id for tree in rows_of(store, schema.tree)] == [void.id, anew.id, anew.id]


def test_a_proposal_names_the_columns_it_would_change(store):
    take_in(store, prepared(tree_row(1)))
    edit(store, schema.tree, only(store, schema.tree).id, scientific_name="Tilia platyphyllos")
    take_in(store, prepared(tree_row(1, **ENGLISH_OAK)))
    proposal = json.loads(only(store, schema.question).proposal)
    assert (proposal["scientific_name"], proposal["genus"]) == ("Quercus robur", "Quercus")
    assert set(proposal) <= set(schema.tree.c.keys())


def test_what_a_person_changes_in_the_last_moment_of_an_import_is_not_lost(store, monkeypatch):
    from service.intake import revising

    take_in(store, prepared(tree_row(1), tree_row(2)))
    first, draft = rows_of(store, schema.tree)[0], revising.draft

    def draft_then_edit(*arguments):
        drafted = draft(*arguments)
        monkeypatch.setattr(revising, "draft", draft)
        edit(store, schema.tree, first.id, tag="blue 7")
        return drafted

    monkeypatch.setattr(revising, "draft", draft_then_edit)
    report = take_in(store, prepared(tree_row(1, tag="1a"), tree_row(2, tag="2a")))
    assert (report.taken, report.questioned) == (1, 1)
    assert report.records["trees"] == {"new": 0, "changed": 1}
    assert [(tree.tag, tree.version) for tree in rows_of(store, schema.tree)] == [("blue 7", 2), ("2a", 2)]
    assert json.loads(only(store, schema.question).proposal) == {"tag": "1a"}
