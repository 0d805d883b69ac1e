"""Codes of teams: children and volunteers are never named (definitions R11)."""

import re

from flask_babel import gettext as _

from service.view import SiteView
from service.web.form import Form

LONGEST = 20
MOST = 200
_CODE = re.compile(r"(?=.*\d)[\w .,/+-]+|[\w]{1,2}")


def known(view: SiteView) -> list[str]:
    """Return the codes that measurements of the ground carry, the latest first."""
    codes = view.records.readings["crew"].dropna()
    return list(dict.fromkeys(codes.iloc[::-1]))[:MOST]


def require_code(view: SiteView, sent: Form, said_before: str | None = None) -> None:
    """Note a fault where a team's code could be a name: a new one has a digit, or one or two letters."""
    code = sent.text("crew")
    if code is None or code == said_before or code in known(view):
        return
    if len(code) > LONGEST or not _CODE.fullmatch(code):
        sent.faults["crew"] = _("Give a short code with a number in it, such as 5b or team 2; never a name.")
