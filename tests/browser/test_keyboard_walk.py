"""A walk by keyboard alone: make a ground from a list, find a tree, measure it, correct the measurement."""

import re

import pytest

from tests.browser.web_server import served
from tests.web_site import TREES, write_list


@pytest.fixture
def address(tmp_path):
    with served(tmp_path) as (_store, address):
        yield address


class Walker:
    """Somebody without a mouse: moves by Tab until a thing has the focus, then types or presses."""

    def __init__(self, page):
        self.page = page

    def focus(self, name, kinds="a, button, input, select, textarea, summary"):
        """Press Tab until what is called ``name`` has the focus."""
        for _ in range(250):
            self.page.keyboard.press("Tab")
            told = self.page.evaluate(
                """(kinds) => {
                  const e = document.activeElement;
                  if (!e.matches(kinds)) return "";
                  const label = e.labels && e.labels.length ? e.labels[0].innerText : "";
                  const value = e.type === "radio" ? e.value : "";
                  return [label, e.getAttribute("aria-label") || "", value, e.innerText || ""].join(" | ");
                }""",
                kinds,
            )
            if re.search(name, told):
                return
        pytest.fail(f"Tab does not reach {name!r} on {self.page.url}")

    def follow(self, name):
        """Go where a link or button leads."""
        self.focus(name, "a, button")
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def follow_address(self, address):
        """Go where the link to an address leads."""
        for _ in range(250):
            self.page.keyboard.press("Tab")
            if self.page.evaluate("document.activeElement.getAttribute('href')") == address:
                with self.page.expect_navigation():
                    self.page.keyboard.press("Enter")
                return
        pytest.fail(f"Tab does not reach {address}")

    def write(self, name, text):
        """Type into a field, over what stands there."""
        self.focus(name, "input, textarea")
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)

    def choose(self, name, value):
        """Choose in a list by its keys."""
        self.focus(name, "select")
        handle = self.page.evaluate_handle("document.activeElement")
        for _ in range(40):
            if handle.evaluate("e => e.value") == value:
                return
            self.page.keyboard.press("ArrowDown")
        pytest.fail(f"The keys do not choose {value!r}")


def test_from_a_list_to_a_corrected_measurement_by_keyboard(browser_page, address, tmp_path):
    page = browser_page.page
    me = Walker(page)
    page.goto(address)
    me.follow("Bring in a list")
    me.write("called", "Keyboard School")
    me.write("country", "DE")
    me.focus("The list", "input")
    page.set_input_files("input[type=file]", write_list(tmp_path / "trees.csv"))  # the system's own dialogue
    me.follow("See how it is understood")
    assert f"{TREES} rows were read" in page.locator("main").inner_text()
    me.follow("Take it")
    assert "What became of the list" in page.locator("main").inner_text()

    me.follow("Trees$")
    me.write("Tree number", "A3")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    me.follow(r"\bA3\b")
    me.follow("Measure$")
    me.write("^Measured", "99.5")
    me.choose("^With what", "girth tape")
    me.follow("Keep the measurement")
    assert "99.5 cm round" in page.locator("main").inner_text()

    row = page.locator("tr", has_text="99.5 cm round").locator("a", has_text="correct").get_attribute("href")
    me.follow_address(row)
    me.write("^Measured", "89.5")
    me.write("^Why", "misread")
    me.follow("Correct it")
    text = page.locator("main").inner_text()
    assert "89.5 cm round" in text
    assert "99.5 cm round" in text
    assert "corrected since" in text
    assert browser_page.complaints == []
