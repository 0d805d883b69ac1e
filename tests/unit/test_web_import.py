"""Bringing a list in by the pages: nothing is taken before it was looked at, and twice changes nothing."""

import html
import io
import re

import pytest

from service.actors import LOCAL_MANAGER
from service.edit import add_trees
from service.site_files import write_site
from service.store.site_removal import remove_sample
from service.store.site_rows import create_site
from tests.web_site import HOSTILE_HEADER, SLUG, TREES, write_list

TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


@pytest.fixture
def ground(store):
    create_site(store, SLUG, actor=LOCAL_MANAGER, name="Yard")
    return f"/sites/{SLUG}"


@pytest.fixture
def a_list(tmp_path):
    return write_list(tmp_path / "Bäume.csv").read_bytes()


def token(client, address):
    return TOKEN.search(client.get(address).text).group(1)


def send(client, ground, content, name="Bäume.csv"):
    form = {"csrf_token": token(client, f"{ground}/data"), "file": (io.BytesIO(content), name)}
    return client.post(f"{ground}/data/uploads", data=form)


def trees(client):
    return len(client.get(f"/api/sites/{SLUG}/trees").json)


def said(answer):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def take(client, address, **options):
    return client.post(address, data={"csrf_token": token(client, address), **options})


def test_a_list_is_shown_before_it_is_taken_and_taken_once(client, ground, a_list):
    sent = send(client, ground, a_list)
    assert sent.status_code == 303
    preview = client.get(sent.headers["Location"])
    assert "girth" in said(preview)
    assert "Bäume.csv" in said(preview)
    assert "almost certain" in said(preview)
    assert HOSTILE_HEADER in said(preview) or HOSTILE_HEADER in html.unescape(preview.text)
    assert "kept as written" in said(preview)
    assert f"{TREES} rows were read" in said(preview)
    assert trees(client) == 0

    taken = take(client, sent.headers["Location"])
    assert taken.status_code == 303
    done = client.get(taken.headers["Location"])
    assert "What became of the list" in said(done)
    assert trees(client) == TREES
    assert client.get(sent.headers["Location"]).status_code == 404

    again = send(client, ground, a_list)
    assert f"already there {TREES} " in said(client.get(again.headers["Location"]))
    nothing = take(client, again.headers["Location"])
    assert nothing.headers["Location"] == f"{ground}/data"
    assert "already there" in said(client.get(f"{ground}/data"))
    assert trees(client) == TREES


def test_a_list_that_can_be_read_in_two_ways_asks_and_goes_on_with_the_answer(client, ground):
    rows = "".join(f"{i},Quercus robur,{8 + i % 20}\n" for i in range(40))
    sent = send(client, ground, f"Tag,Species,DBH\n{rows}".encode(), "sizes.csv").headers["Location"]
    asked = client.get(sent)
    choices = re.findall(r'type="radio" name="size" value="([^"]+)"', asked.text)
    assert "diameter-cm" in choices
    assert "Take it" not in asked.text
    answered = client.get(f"{sent}?size=diameter-cm")
    assert "Take it" in answered.text
    assert 'name="size" value="diameter-cm"' in answered.text
    assert take(client, sent, size="diameter-cm").status_code == 303
    assert trees(client) == 40


def test_a_column_that_may_be_the_size_is_asked_for_and_the_answer_is_followed(client, ground):
    rows = "".join(f"{i},Quercus robur,{20 + i}.5\n" for i in range(40))
    sent = send(client, ground, f"Tag,Species,mark\n{rows}".encode(), "sizes.csv").headers["Location"]
    asked = client.get(sent)
    assert re.findall(r'type="radio" name="columns" value="([^"]+)"', asked.text)[0] == "diameter=mark"
    assert "mark is: width of the trunk" in said(asked)
    answered = client.get(f"{sent}?columns=diameter%3Dmark&size=diameter-cm")
    assert "Take it" in answered.text
    assert 'name="column.diameter" value="mark"' in answered.text
    as_written = client.get(f"{sent}?columns=kept%3Dmark")
    assert "No size of a trunk was understood" in said(as_written)


def test_what_was_guessed_can_be_said_differently(client, ground, a_list):
    sent = send(client, ground, a_list).headers["Location"]
    changed = client.get(f"{sent}?size=girth-in&place=All&column.tag=Tag&height_m=1,2")
    assert "Take it" in changed.text
    assert 'name="height_m" value="1,2"' in changed.text
    assert 'name="column.tag" value="Tag"' in changed.text


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("height_m=high", "for example 1.3"),
        ("size=cubits", "no size"),
        ("column.tag=Nowhere", "Nowhere"),
        ("crs=EPSG:1", "EPSG:1"),
    ],
)
def test_an_option_that_cannot_be_is_said_and_nothing_is_lost(client, ground, a_list, query, sentence):
    sent = send(client, ground, a_list).headers["Location"]
    answer = client.get(f"{sent}?{query}")
    assert answer.status_code == 200
    assert sentence in said(answer)
    assert "Nothing was taken" in said(answer)
    assert client.get(sent).status_code == 200


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.csv", b""),
        ("nul.csv", b"a,b\n1,\x00\n"),
        ("head.csv", b"Tag,Species\n"),
        ("list.xlsx", b"PK\x03\x04"),
        ("half.geojson", b'{"type": "FeatureCollection", "features": ['),
        ("deep.geojson", b"[" * 100_000),
        ("not.gpkg", b"SQLite format 3\x00 but not"),
    ],
)
def test_a_file_that_is_no_list_gets_one_clear_sentence(client, ground, name, content):
    answer = client.get(send(client, ground, content, name).headers["Location"])
    assert answer.status_code == 200
    assert "Nothing was taken" in said(answer)
    assert name in said(answer)
    assert trees(client) == 0


def test_no_file_is_asked_for(client, ground):
    form = {"csrf_token": token(client, f"{ground}/data")}
    answer = client.post(f"{ground}/data/uploads", data=form)
    assert answer.status_code == 422
    assert "Choose the file" in said(answer)


def test_a_file_is_thrown_away_on_request(client, ground, a_list):
    sent = send(client, ground, a_list).headers["Location"]
    form = {"csrf_token": token(client, sent)}
    assert client.post(f"{sent}/discard", data=form).headers["Location"] == f"{ground}/data"
    assert client.get(sent).status_code == 404


def test_the_door_for_those_with_a_list_makes_the_ground_and_shows_the_list(client, a_list):
    form = {"csrf_token": token(client, "/start?list=1"), "list": "1", "name": "Park", "units": "metric"}
    form["file"] = (io.BytesIO(a_list), "trees.csv")
    made = client.post("/start", data=form)
    assert made.headers["Location"].startswith("/sites/park/data/uploads/")
    assert f"{TREES} rows were read" in said(client.get(made.headers["Location"]))


def test_a_list_with_an_odd_size_leads_to_what_is_to_check(client, ground, tmp_path):
    content = b"Tag,Species,Girth cm\n1,Tilia cordata,90\n2,Tilia cordata,940\n3,Tilia cordata,120\n"
    sent = send(client, ground, content, "odd.csv").headers["Location"]
    done = client.get(take(client, sent).headers["Location"])
    assert "1 measurement is unlike what was to be expected. Please check." in said(done)
    asked = said(client.get(f"{ground}/check"))
    assert "940 cm round" in asked
    assert "Is there a digit too many, or is the decimal point missing?" in asked


def test_rows_to_check_can_be_taken_out_with_their_reasons(client, ground, tmp_path):
    content = b"Tag,Species,Girth cm\n1,Quercus robur,90\n1,Quercus robur,1200\n3,Quercus robur,-5\n"
    sent = send(client, ground, content, "odd.csv").headers["Location"]
    done = take(client, sent).headers["Location"]
    rows = client.get(f"{done}/rows.csv")
    assert rows.status_code == 200
    assert "1200" in rows.get_data(as_text=True) or "12" in rows.get_data(as_text=True)
    rows.close()
    assert "Please check" in said(client.get(f"{ground}/data/check"))
    table = client.get(f"{ground}/data/check.csv?q=1200").get_data(as_text=True).split("\r\n")
    assert table[0] == "tree_id,tag,subject,subject_id,what,detail,row"
    assert len(table) == 3
    assert len(table[1].split(",")[0]) == 36
    assert "to check" in said(client.get(ground))


@pytest.fixture
def a_snapshot(store, tmp_path):
    """A snapshot of a ground that is no longer here."""
    create_site(store, "elsewhere", actor=LOCAL_MANAGER, name="Elsewhere", invented=True)
    add_trees(store, "elsewhere", LOCAL_MANAGER, [{"tag": "1"}, {"tag": "2"}])
    path = tmp_path / "elsewhere.gpkg"
    write_site(store, "elsewhere", LOCAL_MANAGER, "gpkg", path)
    remove_sample(store, "elsewhere", LOCAL_MANAGER)
    return path.read_bytes()


def test_a_snapshot_is_said_to_be_one_and_becomes_a_ground_of_its_own(client, ground, a_snapshot):
    where = send(client, ground, a_snapshot, "elsewhere.gpkg").headers["Location"]
    page = client.get(where).text
    assert "A snapshot of a whole ground" in page
    assert client.get("/sites/elsewhere").status_code == 404
    answer = client.post(where, data={"csrf_token": token(client, where)})
    assert answer.headers["Location"] == "/sites/elsewhere"
    assert len(client.get("/api/sites/elsewhere/trees").json) == 2
    assert trees(client) == 0
    assert client.get(where).status_code == 404


def test_a_snapshot_of_a_ground_that_is_here_is_409_and_a_layer_of_it_can_be_named(
    client, store, ground, a_snapshot
):
    create_site(store, "elsewhere", actor=LOCAL_MANAGER)
    where = send(client, ground, a_snapshot, "elsewhere.gpkg").headers["Location"]
    answer = client.get(where)
    assert answer.status_code == 409
    assert "another ground called elsewhere" in html.unescape(answer.text)
    assert f"{where}?layer=trees" in answer.text
    assert "How the list is understood" in client.get(f"{where}?layer=trees").text


def test_a_damaged_snapshot_says_so_and_is_thrown_away(client, ground, a_snapshot):
    broken = a_snapshot.replace(b"boleward site snapshot", b"boleward site snapshoT")
    page = client.get(send(client, ground, broken, "broken.gpkg").headers["Location"]).text
    assert "no snapshot" in page
    assert "Bring this ground in" not in page


def test_a_snapshot_given_at_the_start_is_the_ground(client, store, a_snapshot):
    form = {"csrf_token": token(client, "/start?list=1"), "list": "1", "name": "Park", "units": "metric"}
    made = client.post("/start", data={**form, "file": (io.BytesIO(a_snapshot), "elsewhere.gpkg")})
    assert made.headers["Location"] == "/sites/elsewhere"
    assert [site["slug"] for site in client.get("/api/sites").json] == ["elsewhere"]
