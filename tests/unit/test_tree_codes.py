"""Short codes of trees: the check letter by ISO/IEC 7064, no letter mistaken, the same whoever makes them."""

import string
import uuid

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers import tree_codes
from layers.tree_codes import (
    LETTERS,
    TagCode,
    check_letter,
    is_of_site,
    named_by,
    read_code,
    site_code,
    tag_code,
)
from layers.tree_codes import (
    tree_codes as codes_of,
)

IDS = st.lists(st.uuids().map(str), min_size=1, max_size=60, unique=True)
CODES = st.text(LETTERS, min_size=4, max_size=8)


@pytest.mark.parametrize(
    ("data", "letters", "printed"),
    [
        # ISO/IEC 7064:2003, section 10.1.2, example of MOD 11,10 (as quoted by implementations of it).
        ("0794", string.digits, "5"),
        # Global Release Identifier A1-2425G-ABC1234002-M (IFPI): ISO/IEC 7064 MOD 37,36.
        ("A12425GABC1234002", string.digits + string.ascii_uppercase, "M"),
    ],
)
def test_the_check_letter_is_that_of_the_published_examples(data, letters, printed):
    assert check_letter(data, letters) == printed


def test_no_letter_looks_like_another_or_makes_words():
    assert len(set(LETTERS)) == len(LETTERS) == 24
    assert not set(LETTERS) & set("01AEIOU")
    for alike in ("0ODQ", "1IL", "2Z", "5S", "8B", "6G", "UV"):
        assert sum(letter in LETTERS for letter in alike) == 1


@given(CODES, st.data())
def test_every_single_wrong_letter_is_found(data, draw):
    code = data + check_letter(data)
    place = draw.draw(st.integers(0, len(code) - 1))
    other = draw.draw(st.sampled_from([letter for letter in LETTERS if letter != code[place]]))
    assert read_code(code) == TagCode(None, data)
    assert read_code(code[:place] + other + code[place + 1 :]) is None


def test_two_neighbours_that_changed_places_are_found_in_99_of_100_cases():
    missed = swaps = 0
    for first in LETTERS:
        for second in LETTERS.replace(first, ""):
            for third in LETTERS:
                data = f"{first}{second}{third}7"
                swaps += 1
                missed += check_letter(data) == check_letter(f"{second}{first}{third}7")
    assert missed / swaps < 0.01


@given(IDS)
def test_every_tree_is_found_by_its_code_and_by_no_other(ids):
    codes = codes_of(ids)
    assert set(codes) == set(ids)
    assert len(set(codes.values())) == len(ids)
    site = str(uuid.uuid4())
    for tree, code in codes.items():
        read = read_code(tag_code(site, code))
        assert read is not None
        assert is_of_site(read, site)
        assert named_by(read, ids) == [tree]


@given(IDS, st.randoms())
def test_codes_do_not_depend_on_the_order_of_the_trees(ids, random):
    mixed = list(ids)
    random.shuffle(mixed)
    assert codes_of(mixed) == codes_of(ids)


@given(IDS, IDS)
def test_a_code_still_leads_to_its_tree_after_others_came_in(before, later):
    for tree, code in codes_of(before).items():
        read = read_code(code)
        assert read is not None
        assert tree in named_by(read, {*before, *later})


def test_trees_with_the_same_first_letters_get_longer_codes(monkeypatch):
    hashed = {"a": "2222223", "b": "2222224", "c": "3333333"}
    monkeypatch.setattr(tree_codes, "_letters", lambda id, count: hashed[id].ljust(count, "7")[:count])
    codes = codes_of(["a", "b", "c"])
    assert {tree: code[:-1] for tree, code in codes.items()} == {"a": "2222223", "b": "2222224", "c": "3333"}
    assert named_by(TagCode(None, "2222"), "abc") == ["a", "b"]


def test_a_school_has_five_letters_and_a_town_of_80000_trees_seven():
    ids = [str(uuid.uuid5(uuid.NAMESPACE_OID, str(number))) for number in range(80_000)]
    assert {len(code) for code in codes_of(ids[:150]).values()} == {5}
    town = codes_of(ids)
    assert min(map(len, town.values())) == 7
    assert len(set(town.values())) == 80_000


@pytest.mark.parametrize(
    "written",
    [
        "{code}",
        " {lower} ",
        "HTTPS://TREES.EXAMPLE.ORG/T/{code}",
        "https://trees.example.org/t/{lower}/",
        "{spaced}",
        "{bare}",
    ],
)
def test_a_code_is_read_however_it_is_written(written):
    site, tree = str(uuid.UUID(int=7)), str(uuid.UUID(int=8))
    code = tag_code(site, codes_of([tree])[tree])
    forms = {
        "code": code,
        "lower": code.lower(),
        "spaced": code.replace("-", " "),
        "bare": code.replace("-", ""),
    }
    read = read_code(written.format(**forms))
    assert read is not None
    assert is_of_site(read, site)
    assert not is_of_site(read, tree)
    assert named_by(read, [site, tree]) == [tree]


def test_look_alikes_are_read_as_the_letter_that_is_meant():
    data = "DL2568V"
    assert read_code("oiZSgbu" + check_letter(data)) == TagCode(None, data)


@pytest.mark.parametrize("text", ["", "-", "A", "HELLO", "../../etc/passwd", "2222-2222", "é" * 9, "2" * 999])
def test_what_is_no_code_is_not_read(text):
    assert read_code(text) is None


def test_the_code_of_a_ground_is_four_letters():
    assert len(site_code(str(uuid.uuid4()))) == 4
