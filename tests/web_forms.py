"""Filling in forms as a browser would: the form is fetched, changed where a test says so, and sent."""

import html
import re
from dataclasses import dataclass

from tests.web_site import SLUG

_TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')
_FAULT = re.compile(r'<span class="fault" id="([^"]+)-fault">(.*?)</span>', re.DOTALL)
_INPUT = re.compile(r"<input\b([^>]*)>")
_SELECT = re.compile(r'<select\b[^>]*\bname="([^"]+)"[^>]*>(.*?)</select>', re.DOTALL)
_AREA = re.compile(r'<textarea\b[^>]*\bname="([^"]+)"[^>]*>(.*?)</textarea>', re.DOTALL)


@dataclass
class Sent:
    """What came back: the status, where it led, the faults by field, what the whole form said, the page."""

    status: int
    location: str | None
    faults: dict[str, str]
    whole: str
    page: str


def form_values(page):
    """The fields that a browser would send back from a page as they stand, without its buttons."""
    page = page[page.rindex('method="post"', 0, page.index('name="csrf_token"')) :]
    page = page[: page.index("</form>")]
    values = {}
    for tag in _INPUT.findall(page):
        told = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if told.get("type") in ("checkbox", "radio") and " checked" not in tag:
            continue
        if "name" in told:
            values[told["name"]] = html.unescape(told.get("value", "on"))
    for name, options in _SELECT.findall(page):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        first = re.search(r'<option value="([^"]*)"', options)
        values[name] = html.unescape((chosen or first).group(1))
    for name, text in _AREA.findall(page):
        values[name] = html.unescape(text)
    return values


def send(client, path, at=None, **typed):
    """Fetch the form at ``path``, type over it, send it (to ``at`` where that is another address)."""
    address = f"/sites/{SLUG}{path}"
    shown = client.get(address)
    assert shown.status_code == 200, shown.text
    values = {**form_values(shown.text), **typed}
    where = address if at is None else f"/sites/{SLUG}{at}"
    answer = client.post(where, data={name: value for name, value in values.items() if value is not None})
    return _read(answer)


def _read(answer):
    text = answer.text if answer.status_code != 303 else ""
    whole = re.search(r'role="alert">\s*<p>(.*?)</p>', text, re.DOTALL)
    faults = {name: html.unescape(said).strip() for name, said in _FAULT.findall(text)}
    said = html.unescape(re.sub(r"<[^>]+>", "", whole.group(1))) if whole else ""
    return Sent(answer.status_code, answer.headers.get("Location"), faults, said, answer.text)


def words(text):
    """A page's words without its tags."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def told(client, path=""):
    """The news on the page that is opened next."""
    page = client.get(f"/sites/{SLUG}{path}").text
    return [words(said).strip() for said in re.findall(r'<p class="news"[^>]*>(.*?)</p>', page, re.DOTALL)]
