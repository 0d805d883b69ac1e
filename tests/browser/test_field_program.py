"""What a team enters on the phone page is taken by the program itself, kind by kind."""

import pytest

from service.actors import LOCAL_MANAGER
from service.store.migrating import open_store
from service.view import view_of
from tests import field_items
from tests.browser.field_proxy import Proxy
from tests.browser.field_server import FieldServer

PHONE = {"width": 360, "height": 740}
STATES = """async () => (await (await import("/static/field/keep.js")).items())
  .map(one => [one.kind, one.state, one.why])"""


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with FieldServer(tmp_path_factory.mktemp("program")) as started:
        yield started


def read(page, value):
    page.fill("input.number", "90")
    page.click("form button.main")
    page.wait_for_selector("text=Keep it")
    page.fill("form input.number", value)
    page.click("form button.main")
    page.wait_for_selector("[data-screen=measure] .acts >> text=/Next|Measure again/")


def test_what_a_team_enters_is_taken_kind_by_kind(open_page, server):
    page = open_page(**PHONE).page
    page.goto(f"http://localhost:{server.port}/field/#{server.word.replace(' ', '-')}")
    page.click("text=Measure this tree")
    read(page, "94,5")
    page.click("text=Next tree")
    page.click("text=What was entered here")
    page.click("text=Undo the last")
    page.wait_for_selector("text=crossed out")
    page.click("#back")
    page.click("text=Measure this tree")
    read(page, "95")
    page.click("text=Next tree")
    page.click("text=Measure this tree")
    page.click("text=Only a stump")
    page.click("text=Say so")
    page.wait_for_selector("canvas")
    page.click("#danger")
    page.click("text=a fresh crack in the wood")
    page.click("text=everybody moved away")
    page.locator(".stop input[type=text]").last.fill("behind the gym")
    page.click("text=This was done")
    page.click("text=List of trees")
    page.fill("input[type=search]", "99")
    page.click("text=Measure it by this number")
    read(page, "50")
    page.wait_for_selector("#unsent:has-text('all sent')")
    said = page.evaluate(STATES)
    kinds = ["reading", "reading", "reading", "status", "danger", "danger", "reading"]
    assert [kind for kind, _state, _why in said] == kinds
    outcomes = [state for _kind, state, _why in said]
    assert outcomes[:-1].count("taken") + outcomes[:-1].count("questioned") == len(outcomes) - 1, said
    assert outcomes[-1] == "set aside" and "99" in said[-1][2]
    page.click("#unsent")
    page.wait_for_selector("text=kept aside until somebody has looked")

    store = open_store(server.path)
    view = view_of(store, field_items.SLUG, LOCAL_MANAGER)
    readings = view.records.readings
    assert sorted(readings.loc[readings["void"] == 0, "value"].dropna()) == [94.5, 95.0]
    assert len(view.dangers) == 1 and view.dangers.iloc[0]["place"] == "behind the gym"
    store.close()


def test_two_phones_of_one_team_may_measure_one_tree(open_page, server):
    before = len(server.kept())
    for value in ("60", "61"):
        page = open_page(**PHONE).page
        page.goto(f"http://localhost:{server.port}/field/#{server.word.replace(' ', '-')}")
        page.wait_for_selector("canvas")
        page.click("text=List of trees")
        page.wait_for_selector("[data-screen=trees] .rows")
        page.locator(".rows button").nth(2).click()
        read(page, value)
        page.wait_for_selector("#unsent:has-text('all sent')")
    assert len(server.kept()) == before + 2


def test_a_phone_that_is_full_from_the_start_says_so_and_loses_nothing(open_page, server):
    before = len(server.kept())
    with Proxy() as proxy:
        proxy.port = server.port
        page = open_page(**PHONE).page
        session = page.context.new_cdp_session(page)
        session.send("Storage.overrideQuotaForOrigin", {"origin": proxy.address, "quotaSize": 1})
        page.goto(f"{proxy.address}/field/#{server.word.replace(' ', '-')}")
        page.wait_for_selector("canvas")
        page.wait_for_selector("#notes >> text=This phone is full.")
        proxy.cut = True
        page.click("text=Measure this tree")
        read(page, "94")
        page.wait_for_selector("#unsent:has-text('not sent: 1')")
        proxy.cut = False
        page.reload()
        page.wait_for_selector("#unsent:has-text('all sent')")
    assert len(server.kept()) == before + 1
