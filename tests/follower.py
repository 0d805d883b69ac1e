"""A copy of a site kept up to date from its address alone: the standard library and nothing of the program.

python -m tests.follower http://127.0.0.1:8000 SLUG COPY.sqlite

What a page says and where to go on are kept in one transaction, so that the copy may be ended at any time.
"""

import json
import sqlite3
import sys
import urllib.error
import urllib.request
from urllib.parse import urljoin

SCHEMA = """
CREATE TABLE IF NOT EXISTS record (kind TEXT, key INTEGER, body TEXT NOT NULL, PRIMARY KEY (kind, key));
CREATE TABLE IF NOT EXISTS site (one INTEGER PRIMARY KEY CHECK (one = 1), id TEXT, body TEXT, next TEXT,
  complete_to INTEGER NOT NULL, more INTEGER NOT NULL);
"""


class MadeAnew(Exception):
    """The site has another history than the copy."""


class Follower:
    """A copy of one site: ``take_page`` takes in one page, ``catch_up`` all there are now."""

    def __init__(self, address, slug, path=":memory:", limit=None):
        self.first = urljoin(address, f"/api/sites/{slug}/changes") + (f"?limit={limit}" if limit else "")
        self.copy = sqlite3.connect(path, isolation_level=None)
        self.copy.executescript(SCHEMA)
        self.pages = 0

    def take_page(self):
        """Take in the page that comes next; return whether another follows now."""
        address = self._next()
        page = self._read(address)
        site = page["site"]
        rows = [("change", row["change_no"], row) for row in page["changes"]]
        rows += [(kind, row["fid"], row) for kind, found in page["records"].items() for row in found]
        self.copy.execute("BEGIN IMMEDIATE")
        self._take([(kind, key, json.dumps(row, sort_keys=True)) for kind, key, row in rows])
        self.copy.execute(
            "INSERT OR REPLACE INTO site VALUES (1, ?, ?, ?, ?, ?)",
            (site["id"], json.dumps(site, sort_keys=True), urljoin(address, page["next"]),
             page["complete_to"], page["more"]),
        )  # fmt: skip
        self.copy.execute("COMMIT")
        self.pages += 1
        return page["more"]

    def catch_up(self):
        """Take in all pages that there are now."""
        while self.take_page():
            pass

    @property
    def complete_to(self):
        """The number of the last change that the copy holds whole."""
        found = self.copy.execute("SELECT complete_to FROM site").fetchone()
        return found[0] if found else 0

    def records(self):
        """The copy: {(kind, number): record}, the site's own row among them."""
        said = {
            (kind, key): json.loads(body) for kind, key, body in self.copy.execute("SELECT * FROM record")
        }
        (site,) = self.copy.execute("SELECT body FROM site").fetchone()
        return {("site", 0): json.loads(site), **said}

    def close(self):
        """Let go of the copy."""
        self.copy.close()

    def _take(self, rows):
        self.copy.executemany("INSERT OR REPLACE INTO record VALUES (?, ?, ?)", rows)

    def _next(self):
        found = self.copy.execute("SELECT next FROM site").fetchone()
        return found[0] if found else self.first

    def _read(self, address):
        try:
            with urllib.request.urlopen(address, timeout=60) as answer:
                return json.loads(answer.read())
        except urllib.error.HTTPError as error:
            with error:
                problem = json.loads(error.read())
            if error.code == 409:
                raise MadeAnew(problem["detail"]) from error
            raise


def main(address, slug, path):
    """Bring a copy up to date once."""
    follower = Follower(address, slug, path)
    follower.catch_up()
    kept = follower.copy.execute("SELECT kind, count(*) FROM record GROUP BY kind ORDER BY kind")
    print(json.dumps({"complete_to": follower.complete_to, "records": dict(kept.fetchall())}))
    follower.close()


if __name__ == "__main__":
    main(*sys.argv[1:4])
