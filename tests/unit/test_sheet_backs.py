"""The back of helpers' sheets: how to measure, after every front, by instrument, all of it on the paper."""

import pypdfium2
import pytest

from layers.awkward_stems import FACTS
from layers.stop_card import STOP
from service.actors import LOCAL_MANAGER
from service.outlets.back_words import AWKWARD, BACK_WORDS
from service.outlets.sheet_back import SheetBack
from service.outlets.sheet_rows import SheetJob
from service.outlets.sheet_words import SHEET_WORDS
from service.outlets.sheets import new_paper
from service.rounds import plan_round
from tests.builders import make_site
from tests.web_site import SLUG, make_web_site

TERMS = make_site(phone="0 555 777", breast_height_m=1.3)
WRAPPED = ("girth tape", "diameter tape", "string and ruler", "hand breadths", "hand spans", "unknown")
ACROSS = ("caliper", "sighting", "eye")


def pages(pdf):
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    finally:
        document.close()


def back(words=SHEET_WORDS, **job):
    paper = new_paper(TERMS, SheetJob("Old lawn", "Spring", **job))
    SheetBack(paper, TERMS, SheetJob("Old lawn", "Spring", **job), words).draw()
    return bytes(paper.output())


@pytest.mark.parametrize("instrument", [*WRAPPED, *ACROSS])
def test_the_back_says_how_this_instrument_is_used_and_whom_to_call(instrument):
    (text,) = pages(back(instrument=instrument, height_m=0.61))
    assert "Guess, and write the guess before anybody measures." in text
    assert "0.61 m above the ground" in text
    assert STOP in text
    assert "Call 0 555 777." in text
    assert ("keep the two smallest" in text) == (instrument in WRAPPED)
    assert (BACK_WORDS["back.slack"] in text) == (instrument in WRAPPED)
    assert (BACK_WORDS["back.across"] in text) == (instrument in ACROSS)
    assert ("lay it along the ruler" in text) == (instrument == "string and ruler")


def test_awkward_trunks_are_measured_by_the_same_rules_as_everywhere_else():
    (text,) = pages(back())
    for key in AWKWARD:
        assert FACTS[key].plain in text
        assert FACTS[key].rule in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_words_that_are_half_as_long_again_in_another_language_still_stay_on_the_paper(paper):
    longer = {key: f"{text} {text[: len(text) // 2]}" for key, text in BACK_WORDS.items()}
    document = pypdfium2.PdfDocument(
        back({**SHEET_WORDS, **longer}, paper=paper, instrument="string and ruler")
    )
    try:
        boxes = [thing.get_bounds() for thing in document[0].get_objects()]
        width, _height = document[0].get_size()
    finally:
        document.close()
    margin = 5 / 25.4 * 72  # what printers leave empty at most; common practice, no source
    assert min(low for _left, low, _right, _top in boxes) > margin
    assert max(right for _left, _low, right, _top in boxes) < width - margin


def test_every_front_is_followed_by_its_back_and_a_leaders_copy_has_none(client, store, tmp_path):
    view = make_web_site(store, tmp_path)
    place = view.records.places.loc[view.records.places["name"] == "Front yard", "id"].iloc[0]
    days = plan_round(
        store,
        SLUG,
        LOCAL_MANAGER,
        {"name": "Days", "from_on": "2999-05-04", "height_m": 1.3, "volunteers": 2},
    )
    for path in (f"/sheets.pdf?zone={place}", f"/rounds/{days}/sheets.pdf?day="):
        plain = pages(client.get(f"/sites/{SLUG}{path}").data)
        both = pages(client.get(f"/sites/{SLUG}{path}&backs=yes").data)
        assert both[::2] == plain
        assert all(text.startswith(BACK_WORDS["back.title"]) for text in both[1::2])
        leader = pages(client.get(f"/sites/{SLUG}{path}&backs=yes&leader=yes").data)
        assert not any(text.startswith(BACK_WORDS["back.title"]) for text in leader)
