"""Labels of trees and slips of teams: read back from what is printed, in the places of the table."""

import re

import numpy as np
import pypdfium2
import pytest
import zxingcpp

from layers.tree_codes import is_of_site, named_by, read_code, tree_codes
from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.crew_words import crew_of
from service.errors import InvalidRequest
from service.outlets.label_sheets import (
    LABEL_SHEETS,
    LABEL_WORDS,
    LEAST_MODULE_MM,
    MOST_LABELS,
    QUIET,
    Label,
    check_page,
    labels_of,
    labels_pdf,
    module_mm,
)
from service.rounds import plan_round
from service.sample import SAMPLES, load_samples
from service.settings import Settings
from service.store.migrating import open_store
from service.view import view_of
from service.web import addresses, label_pages
from tests.web_site import HOSTILE_TAG, SLUG, make_web_site

PX_PER_MM = 8
ADDRESS = "https://trees.example.org"
WITHIN_MM = 0.2
IN = 25.4
# From the sizes of the trade, written down apart: corner of the first and of the last label [mm], paper [mm].
BY_HAND = {
    "a4-3x8": ((0, 4.5), (140, 256.5), (70, 36), (210, 297)),
    "letter-3x10": (
        (3 / 16 * IN, IN / 2),
        ((3 / 16 + 2 * 2.75) * IN, 9.5 * IN),
        (2.625 * IN, IN),
        (8.5 * IN, 11 * IN),
    ),
}


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    store = open_store(Settings(data_folder=tmp_path_factory.mktemp("samples")).store_address)
    load_samples(store, LOCAL_MANAGER)
    yield {slug: view_of(store, slug, LOCAL_MANAGER) for slug in SAMPLES}
    store.close()


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("yard")
    store = open_store(Settings(data_folder=folder).store_address)
    yield make_web_site(store, folder, trees=40)
    store.close()


def pictures(pdf, px_per_mm=PX_PER_MM):
    """The pages of a paper in grey, so many pixels a millimetre."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [
            page.render(scale=px_per_mm * IN / 72, grayscale=True).to_numpy().squeeze() for page in document
        ]
    finally:
        document.close()


def cut_out(pages, sheet, place):
    """One label of a paper; ``place`` counts from the first label of the first sheet."""
    x, y = (round(edge * PX_PER_MM) for edge in sheet.corner(place % sheet.count))
    page = pages[place // sheet.count]
    return page[y : y + round(sheet.height * PX_PER_MM), x : x + round(sheet.width * PX_PER_MM)]


def read(picture):
    return [found.text for found in zxingcpp.read_barcodes(np.ascontiguousarray(picture))]


def every_label_is_read_back(view, sheet, address, tree_ids):
    printed = labels_of(view, tree_ids, address)
    for start in range(0, len(printed), MOST_LABELS):
        part = printed[start : start + MOST_LABELS]
        pages = pictures(labels_pdf(view.terms, sheet, part, first=2))
        for place, label in enumerate(part, start=1):
            assert read(cut_out(pages, sheet, place)) == [label.said]
            code = read_code(label.said)
            assert is_of_site(code, view.terms.site_id)
            assert named_by(code, view.trees["tree_id"]) == [label.tree_id]


@pytest.mark.parametrize("address", [None, ADDRESS])
@pytest.mark.parametrize("key", LABEL_SHEETS)
def test_labels_are_read_back_one_by_one(yard, key, address):
    every_label_is_read_back(yard, LABEL_SHEETS[key], address, list(yard.trees["tree_id"]))


@pytest.mark.slow
@pytest.mark.parametrize("address", [None, ADDRESS])
@pytest.mark.parametrize("key", LABEL_SHEETS)
@pytest.mark.parametrize("slug", SAMPLES)
def test_every_label_of_both_samples_is_read_back(samples, slug, key, address):
    every_label_is_read_back(samples[slug], LABEL_SHEETS[key], address, list(samples[slug].trees["tree_id"]))


def dark_box(picture):
    """Left, top, right and lower end of what is dark [mm]."""
    rows, columns = np.nonzero((picture < 100).any(axis=1))[0], np.nonzero((picture < 100).any(axis=0))[0]
    return [edge / 10 for edge in (columns[0], rows[0], columns[-1] + 1, rows[-1] + 1)]


@pytest.mark.parametrize("key", LABEL_SHEETS)
def test_labels_are_where_the_sheets_of_the_trade_have_them(yard, key):
    sheet = LABEL_SHEETS[key]
    first, last, size, paper = BY_HAND[key]
    pdf = labels_pdf(yard.terms, sheet, [blank_label()] * sheet.count, outlines=True)
    page = pictures(pdf, 10)[0]
    assert (page.shape[1] / 10, page.shape[0] / 10) == pytest.approx(paper, abs=0.11)
    # at the height of the first row's middle the only thing left of the QR code is the label's own line
    for (x, y), corner in ((first, 0), (last, sheet.count - 1)):
        assert sheet.corner(corner) == pytest.approx((x, y), abs=0.01)
        seen = page[round(10 * (y + 1)) : round(10 * (y + size[1] - 1)), :]
        lines = np.nonzero((seen < 220).all(axis=0))[0] / 10
        for edge in (x, x + size[0]):
            is_at_the_end = min(edge, paper[0] - edge) < 0.1  # half a line is off the paper
            assert is_at_the_end or np.abs(lines + 0.05 - edge).min() < WITHIN_MM
        seen = page[:, round(10 * (x + 1)) : round(10 * (x + size[0] - 1))]
        lines = np.nonzero((seen < 220).all(axis=1))[0] / 10
        for edge in (y, y + size[1]):
            assert np.abs(lines + 0.05 - edge).min() < WITHIN_MM


@pytest.mark.parametrize("key", LABEL_SHEETS)
def test_the_qr_code_of_every_label_is_at_its_place_with_its_quiet_zone(yard, key):
    sheet, label = LABEL_SHEETS[key], blank_label()
    module = module_mm(sheet, label.said)
    assert module >= LEAST_MODULE_MM
    page = pictures(labels_pdf(yard.terms, sheet, [label] * sheet.count), 10)[0]
    side = 21 * module  # version 1 of ISO/IEC 18004
    for place in range(sheet.count):
        x, y = sheet.corner(place)
        left, top = x + 2 + QUIET * module, y + (sheet.height - side) / 2
        reach = [round(10 * edge) for edge in (x, y, left + side + QUIET * module - 0.3, y + sheet.height)]
        box = dark_box(page[reach[1] : reach[3], reach[0] : reach[2]])
        here = [
            box[0] + reach[0] / 10,
            box[1] + reach[1] / 10,
            box[2] + reach[0] / 10,
            box[3] + reach[1] / 10,
        ]
        assert here == pytest.approx([left, top, left + side, top + side], abs=WITHIN_MM)


def blank_label(**changes):
    said = {"tree_id": "a", "number": "7", "name": "", "site": "", "code": "2222-33333", "said": "2222-33333"}
    return Label(**{**said, **changes})


@pytest.mark.parametrize("key", LABEL_SHEETS)
def test_the_rule_of_the_check_page_is_100_mm_long(yard, key):
    page = pictures(check_page(yard.terms, LABEL_SHEETS[key]), 10)[0]
    longest = 0
    for row in page < 100:
        edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
        runs = edges[1::2] - edges[::2]
        longest = max(longest, *(run for run in runs if run < 1100), 0)
    line_mm = 0.2  # half of a stroke stands out at either end
    assert longest / 10 - line_mm == pytest.approx(100, abs=WITHIN_MM)


def text_of(pdf):
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [page.get_textpage().get_text_bounded() for page in document]
    finally:
        document.close()


def test_a_half_used_sheet_begins_at_the_label_that_is_said(yard):
    view, sheet = yard, LABEL_SHEETS["a4-3x8"]
    printed = labels_of(view, list(view.trees["tree_id"][:4]), None)
    pages = pictures(labels_pdf(view.terms, sheet, printed, first=23))
    assert len(pages) == 2
    assert (cut_out(pages, sheet, 21) > 200).all()
    assert [read(cut_out(pages, sheet, place)) for place in range(22, 26)] == [[one.said] for one in printed]


@pytest.mark.parametrize("key", LABEL_SHEETS)
def test_long_and_hostile_texts_stay_on_their_label(yard, key):
    sheet = LABEL_SHEETS[key]
    wide = {"number": "W" * 60, "name": "wild service tree " * 9, "site": "Ground " * 30}
    page = pictures(labels_pdf(yard.terms, sheet, [blank_label(**wide)], first=5), 10)[0]
    x, y = sheet.corner(4)
    left, top, right, low = dark_box(page)
    assert left >= x
    assert top >= y
    assert right <= x + sheet.width - 3
    assert low <= y + sheet.height - 1


@pytest.mark.parametrize(
    ("labels", "first", "says"),
    [
        ([], 1, "no tree to print a label for"),
        ([blank_label()], 0, "labels 1 to 24"),
        ([blank_label()], 25, "labels 1 to 24"),
        ([blank_label()] * (MOST_LABELS + 1), 1, "at most 480"),
        ([blank_label(said="https://example.org/" + "long/" * 60)], 1, "too long"),
    ],
)
def test_what_cannot_be_printed_is_refused_with_what_to_do(yard, labels, first, says):
    with pytest.raises(InvalidRequest, match=says):
        labels_pdf(yard.terms, LABEL_SHEETS["a4-3x8"], labels, first=first)


@pytest.fixture
def site(store, tmp_path, app):
    return make_web_site(store, tmp_path)


def printed(client, query="", status=200):
    answer = client.get(f"/sites/{SLUG}/labels.pdf?sheet=a4-3x8&{query}")
    assert answer.status_code == status
    return answer


def numbers(client, query):
    return re.findall(
        r"^A\d+$", "\n".join(text_of(printed(client, query).data)).replace("\r", ""), re.MULTILINE
    )


def test_labels_are_printed_for_the_trees_that_were_chosen_in_the_order_of_their_numbers(client, site):
    assert numbers(client, "numbers=a12%2C%20A2%3B%20A1") == ["A1", "A2", "A12"]
    assert len(numbers(client, "")) == 23  # one has a hostile number
    assert HOSTILE_TAG[:5] in text_of(printed(client).data)[0]
    place = site.records.places.loc[site.records.places["name"] == "Front yard", "id"].iloc[0]
    assert len(numbers(client, f"zone={place}")) == 12


@pytest.mark.parametrize(
    ("query", "status", "says"),
    [
        ("numbers=A1, A99", 400, "No standing tree here has this number: A99."),
        ("which=without", 400, "There is no tree to print a label for."),
        ("which=some", 400, "Choose which trees get a label"),
        ("first=1.5", 400, "first label"),
        ("first=x", 400, "first label"),
        ("first=99", 400, "labels 1 to 24"),
        ("zone=nowhere", 404, "nowhere"),
    ],
)
def test_a_choice_that_cannot_be_printed_is_explained(client, site, query, status, says):
    assert says in printed(client, query, status).text


def test_a_sheet_that_is_not_there_is_refused(client, site):
    assert client.get(f"/sites/{SLUG}/labels.pdf?sheet=a3").status_code == 400


def test_the_check_page_comes_from_the_same_form(client, site):
    text = " ".join(text_of(printed(client, "check=yes").data)[0].split())
    assert LABEL_WORDS["check_title"] in text
    assert "100 mm long" in text


def test_the_page_says_what_a_tag_holds_and_why_there_is_no_address(client, site):
    text = client.get(f"/sites/{SLUG}/labels").text
    assert "this server has no lasting address" in text
    assert f'href="/sites/{SLUG}/labels"' in client.get(f"/sites/{SLUG}/sheets").text


def test_a_lasting_address_stands_on_every_tag_and_leads_to_the_tree(lasting_client, site):
    sheet = LABEL_SHEETS["a4-3x8"]
    picture = cut_out(pictures(printed(lasting_client, "numbers=A3").data), sheet, 0)
    (said,) = read(picture)
    assert re.fullmatch(r"HTTPS://TREES\.EXAMPLE\.ORG/T/[2-9A-Z]{4}-[2-9A-Z]{5}", said)
    path = said.removeprefix("HTTPS://TREES.EXAMPLE.ORG")
    answer = lasting_client.get(lasting_client.get(path).location)
    tree = site.trees.loc[site.trees["tag"] == "A3", "tree_id"].iloc[0]
    assert (answer.status_code, answer.location) == (302, f"/sites/{SLUG}/trees/{tree}")
    assert "HTTPS://TREES.EXAMPLE.ORG/T/" in lasting_client.get(f"/sites/{SLUG}/labels").text


@pytest.fixture
def lasting_client(store, tmp_path):
    return create_app(store, Settings(data_folder=tmp_path, public_address=ADDRESS)).test_client()


@pytest.mark.parametrize("path", ["/tags/{code}", "/tags/{lower}", "/tags/{tree}", "/tags?code={code}"])
def test_a_code_leads_to_its_tree_however_it_is_written(client, site, path):
    label = labels_of(site, [site.trees["tree_id"].iloc[4]], None)[0]
    code = label.code
    answer = client.get(path.format(code=code, lower=code.lower(), tree=code.rpartition("-")[2]))
    assert (answer.status_code, answer.location) == (302, f"/sites/{SLUG}/trees/{label.tree_id}")


def test_the_code_of_a_tag_opens_the_tree_for_whoever_sits_here_and_the_page_for_measuring_on_phones(client):
    assert client.get("/t/ABC-DEF2").location == "/tags/ABC-DEF2"
    for elsewhere in ({"REMOTE_ADDR": "192.0.2.7"}, {"HTTP_X_FORWARDED_FOR": "192.0.2.7"}):
        assert client.get("/T/ABC-DEF2", environ_overrides=elsewhere).location == "/field/#t/ABC-DEF2"
    hostile = client.get("/t/x%23%3Cb%3E", environ_overrides={"REMOTE_ADDR": "192.0.2.7"})
    assert hostile.location == "/field/#t/x%23%3Cb%3E"


def test_a_code_that_was_misread_or_is_of_no_tree_is_explained(client, site):
    label = labels_of(site, [site.trees["tree_id"].iloc[4]], None)[0]
    wrong = label.code[:-1] + ("2" if label.code[-1] != "2" else "3")
    refused = client.get(f"/tags/{wrong}")
    assert refused.status_code == 400
    assert "a letter is missing or was misread" in refused.text
    assert client.get("/tags").status_code == 400
    assert client.get("/tags/" + tree_codes(["of another ground"])["of another ground"]).status_code == 404


def test_a_code_that_is_older_than_one_of_its_trees_asks_which(client, site, monkeypatch):
    code = labels_of(site, [site.trees["tree_id"].iloc[4]], None)[0].code
    monkeypatch.setattr(label_pages, "named_by", lambda _code, ids: list(ids)[:2])
    text = client.get(f"/tags/{code}").text
    for tree in site.trees["tree_id"][:2]:
        assert f'href="/sites/{SLUG}/trees/{tree}"' in text


def test_an_address_with_a_path_carries_no_pages_and_so_no_tags(store, tmp_path, app):
    make_web_site(store, tmp_path)
    settings = Settings(data_folder=tmp_path, public_address=f"{ADDRESS}/data")
    text = create_app(store, settings).test_client().get(f"/sites/{SLUG}/labels").text
    assert "this server has no lasting address" in text


def drawn(svg):
    """The picture of a QR code in SVG: runs of dark modules, row after row."""
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', svg)[1])
    picture = np.full((side, side), 255, np.uint8)
    x = y = 0.0
    for step, said in re.findall(r"([Mmh])([-\d. ]+)", re.search(r' d="([^"]+)"', svg)[1]):
        by = [float(number) for number in said.split()]
        if step == "h":
            picture[int(y), int(x) : int(x + by[0])] = 0
            x += by[0]
        else:
            x, y = (by[0], by[1]) if step == "M" else (x + by[0], y + by[1])
    return picture.repeat(6, axis=0).repeat(6, axis=1)


def slips(client, store):
    asked = {"name": "Days", "from_on": "2999-05-04", "height_m": 1.3, "pupils": 2, "volunteers": 1}
    id = plan_round(store, SLUG, LOCAL_MANAGER, asked)
    shown = client.get(f"/sites/{SLUG}/rounds/{id}/plan").text
    token = re.search(r'name="csrf_token" value="([^"]+)"', shown)[1]
    answer = client.post(f"/sites/{SLUG}/rounds/{id}/words", data={"csrf_token": token, "crew_id": ""})
    assert answer.status_code == 200
    said = re.findall(r'<p class="word"><b>([a-z]+ [a-z]+)</b></p>', answer.text)
    assert len(said) == 3
    return said, answer.text


def test_the_qr_code_of_every_slip_opens_the_page_for_measuring_with_its_word(lasting_client, site, store):
    said, text = slips(lasting_client, store)
    found = [read(drawn(svg)) for svg in re.findall(r"<svg.*?</svg>", text)]
    assert found == [[f"{ADDRESS}/field/#{word.replace(' ', '-')}"] for word in said]
    assert [crew_of(store, word.replace(" ", "-")).code for word in said] == ["team 1", "team 2", "team 3"]


@pytest.mark.parametrize(
    ("said", "address"),
    [
        ({}, None),
        ({"host": "192.168.1.20"}, "http://192.168.1.20:8477/field/"),
        ({"host": "192.168.1.20", "https": True, "port": 443}, "https://192.168.1.20/field/"),
        ({"host": "0.0.0.0"}, None),
        ({"host": "0.0.0.0", "trusted_hosts": "trees.lan"}, "http://trees.lan:8477/field/"),
        ({"trusted_hosts": "trees.lan"}, None),
        ({"host": "192.168.1.20", "port": 0}, None),
        ({"host": "192.168.1.20", "public_address": ADDRESS}, f"{ADDRESS}/field/"),
    ],
)
def test_slips_name_the_address_at_which_the_server_listens_for_phones(store, tmp_path, said, address):
    with create_app(store, Settings(data_folder=tmp_path, **said)).test_request_context():
        assert addresses.for_phones() == address


def test_slips_without_an_address_have_no_qr_code_and_a_line_for_it(client, site, store):
    said, text = slips(client, store)
    assert "<svg" not in text
    assert text.count('<p class="line">') == len(said)
    assert "knows no address that phones reach" in text
