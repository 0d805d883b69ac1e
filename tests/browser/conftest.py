"""A real browser that keeps to itself, and pages that remember what they asked for and complained of."""

import shutil
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import Page, sync_playwright

CHROMIUM = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@dataclass
class Watched:
    """A page with every address it asked for, every complaint of its console, and every window it opened."""

    page: Page
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def outside(self, *inside):
        """The addresses that begin with none of ``inside``."""
        return [address for address in self.asked if not address.startswith((*inside, "data:", "blob:"))]


@pytest.fixture(scope="session")
def browser():
    path = next((found for name in CHROMIUM if (found := shutil.which(name))), None)
    if path is None:
        pytest.fail("No Chromium found. On Debian: apt-get install -y --no-install-recommends chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(QUIET))
        yield browser
        browser.close()


@pytest.fixture
def open_page(browser):
    """A function that opens a page of a size, in a context of its own; extra arguments go to the context."""
    contexts = []

    def opened(width=1440, height=900, **context):
        contexts.append(browser.new_context(viewport={"width": width, "height": height}, **context))
        watched = Watched(contexts[-1].new_page())
        watched.page.on("request", lambda request: watched.asked.append(request.url))
        watched.page.on("pageerror", lambda error: watched.complaints.append(str(error)))
        watched.page.on(
            "console",
            lambda said: watched.complaints.append(said.text) if said.type in ("error", "warning") else None,
        )
        return watched

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture
def browser_page(open_page):
    """One page of a desk's size."""
    return open_page()
