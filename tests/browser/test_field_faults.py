"""Whatever happens to a phone and its server, what was entered arrives, once.

Random scripts of faults, by seed, with the program itself behind a way that can be cut: the network goes, the
server is killed and comes again, answers are lost, the phone is full, pages are closed and opened, two tabs
enter at once, the clock is a day off, another version comes in the middle.
"""

import random
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import Error

from tests import field_items
from tests.browser.field_proxy import Proxy
from tests.browser.field_server import FieldServer

SHORT, LONG, RUNS_A_PHONE = 12, 204, 17
FEW_STEPS, STEPS = 3, 6
DEATHS = 0.1  # of a server, a run
DAY_MS = 86_400_000
PHONE = {"width": 360, "height": 740}
ENTER = """async ([content]) => {
  const { go } = await import("/static/field/app.js");
  const item = await go.entered("reading", content);
  return [item.id, item.at];
}"""
SEND = """async () => (await import("/static/field/send.js")).again()"""
LEFT = """async () => {
  const keep = await import("/static/field/keep.js");
  return (await keep.items()).filter(keep.isUnsent).length;
}"""
OTHER_CLOCK = """off => { const Real = Date; globalThis.Date = class extends Real {
  constructor(...given) { given.length ? super(...given) : super(Real.now() + off); }
  static now() { return Real.now() + off; }
} }"""
LOOK_FOR_NEW = """async () => {
  const known = await navigator.serviceWorker.getRegistration("/field/");
  await known.update().catch(() => {});
  for (let n = 0; n < 20 && known.installing; n += 1) await new Promise(done => setTimeout(done, 50));
  return Boolean(known.waiting);
}"""


# The database of a full phone, at once: a browser looks only now and then how much room there is.
FULL = """const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (...given) {
  if (localStorage.getItem("full")) throw new DOMException("full", "QuotaExceededError");
  return put.apply(this, given);
};"""


@dataclass
class Said:
    """What the phone said it kept: ids by note; notes of entries cut off; how many beside a full database."""

    kept: dict[str, str] = field(default_factory=dict)
    unsure: set[str] = field(default_factory=set)
    beside: int = 0
    faults: dict[str, int] = field(default_factory=dict)


class Phone:
    """A phone with one or two tabs, and all that can happen to it."""

    def __init__(self, context, proxy, server, said):
        self.context, self.proxy, self.server, self.said = context, proxy, server, said
        self.tabs = [self.opened(f"#{server.word.replace(' ', '-')}")]
        self.tabs[0].evaluate("navigator.serviceWorker.ready.then(() => true)")
        self.count = 0

    def opened(self, word=""):
        """A tab with the page, from the worker where there is no network."""
        page = self.context.new_page()
        page.goto(f"{self.proxy.address}/field/{word}")
        page.wait_for_selector("html[data-ready] canvas")
        return page

    def enter(self, dice, run):
        """Enter a reading; its note says which it was."""
        self.count += 1
        note = f"{run}.{self.count}"
        content = field_items.reading(dice.choice(field_items.STEMS), 20 + self.count / 100)["content"]
        try:
            id, at = dice.choice(self.tabs).evaluate(ENTER, [{**content, "note": note}])
        except Error:
            self.said.unsure.add(note)
            raise
        assert at in ("disk", "beside"), at
        self.said.kept[note] = id
        self.said.beside += at == "beside"

    def cut(self, dice, _run):
        """The network goes: for the whole phone, or beyond the next pole."""
        if dice.random() < 0.5:
            self.context.set_offline(True)
        else:
            self.proxy.cut = True

    def mend(self, _dice, _run):
        """The network comes back."""
        self.proxy.cut = False
        self.context.set_offline(False)

    def lose_answers(self, dice, _run):
        """What is sent arrives, the answer does not."""
        self.proxy.lose = dice.randint(1, 2)

    def kill_server(self, _dice, _run):
        """The server loses its power."""
        self.server.kill()

    def start_server(self, _dice, _run):
        """It comes again, on another port."""
        if not self.server.is_up():
            self.proxy.port = self.server.start()

    def fill(self, _dice, _run):
        """The phone is full."""
        self.tabs[0].evaluate("localStorage.setItem('full', 'yes')")

    def make_room(self, _dice, _run):
        """Somebody deletes pictures."""
        self.tabs[0].evaluate("localStorage.removeItem('full')")

    def close(self, dice, run):
        """The page is closed, perhaps while it sends, and opened again."""
        if dice.random() < 0.5:
            self.tabs[0].evaluate(f"void ({SEND})()")
        for page in self.tabs:
            page.close()
        self.tabs = [self.opened()]

    def reload(self, dice, _run):
        """The page is loaded again."""
        page = dice.choice(self.tabs)
        page.reload()
        page.wait_for_selector("html[data-ready] canvas")

    def second_tab(self, _dice, _run):
        """The page is opened beside itself."""
        if len(self.tabs) < 2:
            self.tabs.append(self.opened())

    def other_clock(self, dice, _run):
        """The clock is a day off, one way or the other."""
        dice.choice(self.tabs).evaluate(OTHER_CLOCK, dice.choice([-DAY_MS, DAY_MS]))

    def other_version(self, dice, _run):
        """Another version of the page comes; perhaps it is loaded at once."""
        self.proxy.worker += 1
        page = dice.choice(self.tabs)
        if page.evaluate(LOOK_FOR_NEW) and dice.random() < 0.5:
            with page.expect_navigation():
                page.click("text=Load it")
            page.wait_for_selector("html[data-ready] canvas")

    def settle(self):
        """Everything works again, and somebody taps on "Send now"."""
        self.mend(None, None)
        self.start_server(None, None)
        self.make_room(None, None)
        self.proxy.lose = 0
        self.close(random.Random(0), None)
        for _try in range(60):
            self.tabs[0].evaluate(SEND)
            if self.tabs[0].evaluate(LEFT) == 0:
                return
            self.tabs[0].wait_for_timeout(200)
        raise AssertionError(self.tabs[0].inner_text("body"))


FAULTS = (
    *("cut", "cut", "mend", "mend", "lose_answers", "lose_answers", "fill", "make_room", "close", "close"),
    *("reload", "second_tab", "second_tab", "other_clock", "other_version"),
)


def script(phone, seed, said, steps):
    """One run: entries with a fault between each two."""
    dice = random.Random(seed)
    for step in range(steps):
        phone.enter(dice, seed)
        fault = dice.choice(FAULTS)
        if step == 2 and dice.random() < DEATHS:
            fault = "kill_server"
        said.faults[fault] = said.faults.get(fault, 0) + 1
        getattr(phone, fault)(dice, seed)
        phone.enter(dice, seed)
    phone.settle()


def all_once(server, said):
    """Every entry that the phone said it kept is in the store, once; no other is there twice."""
    rows = server.kept()
    ids = {note: [id for id, other in rows if other == note] for note in {note for _id, note in rows}}
    lost = [note for note, id in said.kept.items() if ids.get(note) != [id]]
    doubled = [note for note, found in ids.items() if len(found) > 1]
    strange = set(ids) - set(said.kept) - said.unsure
    assert (lost, doubled, strange) == ([], [], set())


def runs(browser, folder, seeds, steps):
    """Run the scripts of seeds on phones of some runs each; return what they said."""
    said = Said()
    with FieldServer(folder) as server, Proxy() as proxy:
        proxy.port = server.port
        for first in range(seeds.start, seeds.stop, RUNS_A_PHONE):
            context = browser.new_context(viewport=PHONE)
            context.add_init_script(FULL)
            phone = Phone(context, proxy, server, said)
            for seed in range(first, min(first + RUNS_A_PHONE, seeds.stop)):
                script(phone, seed, said, steps)
            context.close()
        all_once(server, said)
    print(
        {
            "runs": len(seeds),
            "entries": len(said.kept),
            "answers lost": proxy.lost,
            "full": said.beside,
            **said.faults,
        }
    )
    return said


def test_nothing_is_lost_or_doubled_in_random_scripts_of_faults(browser, tmp_path):
    said = runs(browser, tmp_path, range(SHORT), FEW_STEPS)
    assert len(said.kept) == SHORT * FEW_STEPS * 2
    assert len(said.faults) >= 8


@pytest.mark.slow
@pytest.mark.timeout(2400)
def test_nothing_is_lost_or_doubled_in_many_random_scripts_of_faults(browser, tmp_path):
    said = runs(browser, tmp_path, range(1000, 1000 + LONG), STEPS)
    assert len(said.kept) == LONG * STEPS * 2
    assert set(said.faults) == {*FAULTS, "kill_server"}
    assert said.beside > 0
