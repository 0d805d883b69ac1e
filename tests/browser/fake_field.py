"""The server's half of the phone page in memory, in front of the real pages: scripts are tried on it.

It keeps each item once, as the server does, and can be told to fail: ``before`` and ``after`` are called with
the path around every request to the API and may raise :class:`Fails`.
"""

import datetime as dt
import json
import threading
import uuid
from contextlib import contextmanager

from waitress.server import create_server

from service.app import create_app
from service.settings import Settings
from service.store.migrating import open_store

WORD, TOKEN = "green heron", "token-1"


def pack_of(trees=6, kind="pupils", instrument="girth tape"):
    """A pack of trees 12 m apart: the third has two trunks, the last two share a number, one has no place."""
    rows = [_tree(n, trees) for n in range(trees)]
    now = dt.datetime.now(dt.UTC)
    return {
        "format": 1,
        "made_at": now.isoformat(),
        "today": now.date().isoformat(),
        "ends_at": (now + dt.timedelta(days=1)).isoformat(),
        "site": {
            "slug": "yard",
            "name": "Yard <b>",
            "units": "metric",
            "language": "en",
            "time_zone": "Europe/Berlin",
            "phone": "+49 30 123",
            "breast_height_m": 1.3,
            "who_is_qualified": None,
        },
        "round": {
            "id": str(uuid.uuid5(uuid.NAMESPACE_URL, "round")),
            "name": "Autumn",
            "from_on": "2026-11-20",
            "to_on": "2026-11-30",
            "instrument": instrument,
            "unit": "cm",
            "height_m": 1.3,
            "status": "running",
        },
        "crew": {"id": str(uuid.uuid5(uuid.NAMESPACE_URL, "crew")), "code": "T1", "kind": kind},
        "frame": {
            "kind": "earth",
            "lon0": 9.17,
            "lat0": 47.66,
            "m_per_lon": 75_000.0,
            "m_per_lat": 111_200.0,
        },
        "map": _map(trees),
        "trees": rows,
        "sights": [],
        "helper_says": ["not found", "looks dead: no leaves", "only a stump"],
        "hand": {"counts": 10, "fewest_times": 3},
    }


def _map(trees):
    wide = 12.0 * trees
    return {
        "box": [-10, -10, wide, 30],
        "outline": [[[-10, -10], [wide, -10], [wide, 30], [-10, 30]]],
        "areas": [],
        "closed": [{"name": "pit", "rings": [[[30, 20], [40, 20], [40, 28], [30, 28]]]}],
        "hazards": [{"kind": "road", "lines": [[[-10, -5], [wide, -5]]]}],
        "sector": [[[-8, -3], [wide - 4, -3], [wide - 4, 18], [-8, 18]]],
        "way": [[0, 0], [12, 6]],
        "meeting": {"x": -5, "y": 5, "words": "by the gate"},
        "known": [{"name": "corner", "x": 0, "y": 15}],
        "picture": None,
    }


def _tree(n, trees):
    mean = 94.2 + n
    good = [{"mean": mean, "deviation": 2.0, "weight": 0.96}]
    inches = {"kind": "unit", "about": "inches as centimetres", "factor": 1 / 2.54}
    slip = {"kind": "slip", "about": "", "factor": 1.0, "shift": 0.0, "deviation": 30.0, "weight": 0.003}
    explanations = [{**inches, "shift": 0.0, "deviation": 0.0, "weight": 0.005}, slip]
    expect = {"quantity": "girth", "unit": "cm", "scale": "plain", "good": good, "explanations": explanations}
    stems = [
        {
            "id": str(uuid.uuid5(uuid.NAMESPACE_URL, f"stem{n}.{number}")),
            "number": number,
            "height_m": 1.3,
            "side": None,
            "awkward": [],
            "expect": expect,
            "last": {"value": mean, "unit": "cm", "height_m": 1.3, "on": "2025-11-20"},
        }
        for number in range(1, 3 if n == 2 else 2)
    ]
    return {
        "id": str(uuid.uuid5(uuid.NAMESPACE_URL, f"tree{n}")),
        "tag": "14" if n >= trees - 2 else str(n + 1),
        "code": f"HJ{n + 2}WX",
        "name": "Quercus robur",
        "where": f"{n + 1}th from the gate",
        "x": None if n == 4 else 12.0 * n,
        "y": None if n == 4 else 6.0,
        "accuracy_m": 3.0,
        "role": "practice" if n == 0 else "first",
        "order": n if n < trees - 1 else None,
        "closed": False,
        "stems": stems,
    }


class Fails(Exception):
    """The answer to a request: a status and a problem document, or a broken connection."""

    def __init__(self, status, detail="It failed."):
        super().__init__(detail)
        self.status = status


class FakeField:
    """What phones sent, each item once, and how often each came."""

    def __init__(self, pack=None):
        self.address = None
        self.reset(pack)

    def reset(self, pack=None):
        """Forget everything that came and every failure."""
        self.pack = pack or pack_of()
        self.items, self.came, self.photos, self.batches = {}, {}, {}, []
        self.outcome = lambda item: "taken"
        self.before = self.after = lambda path: None
        self.token, self.word, self.offset = TOKEN, WORD, dt.timedelta(0)
        self.lock = threading.Lock()
        self.__dict__.pop("send", None)

    def now(self):
        """The time of the server."""
        return (dt.datetime.now(dt.UTC) + self.offset).isoformat()

    def join(self, said, _environ):
        """Answer to a word."""
        if said["word"] != self.word:
            raise Fails(401, "This word has ended, or nobody knows it. Ask your leader.")
        crew, site = self.pack["crew"], self.pack["site"]
        around = {"id": self.pack["round"]["id"], "name": self.pack["round"]["name"]}
        where = {"slug": site["slug"], "name": site["name"]}
        ends = self.pack["ends_at"]
        return {"token": self.token, "ends_at": ends, "crew": crew, "round": around, "site": where}

    def send(self, said, environ):
        """Keep what is not here yet."""
        self.require(environ)
        answers = []
        with self.lock:
            self.batches.append(said)
            for item in said["items"]:
                self.came[item["id"]] = self.came.get(item["id"], 0) + 1
                known = item["id"] in self.items
                self.items.setdefault(item["id"], item)
                outcome = "already there" if known else self.outcome(item)
                answers.append(
                    {"id": item["id"], "outcome": outcome, "why": "Because." if outcome != "taken" else None}
                )
        return {"received_at": self.now(), "answers": answers}

    def require(self, environ):
        """Only those with the token."""
        if environ.get("HTTP_AUTHORIZATION") != f"Bearer {self.token}":
            raise Fails(401, "The word of this team has ended.")

    def answer(self, path, environ):
        """The answer to a request to the API."""
        size = int(environ.get("CONTENT_LENGTH") or 0)
        body = environ["wsgi.input"].read(size) if size else b""
        if path == "pack":
            self.require(environ)
            return self.pack
        if path.startswith("photos/"):
            self.require(environ)
            self.photos[path.removeprefix("photos/")] = body
            return {}
        said = json.loads(body or b"{}")
        if path == "hello":
            return {"now": self.now(), "program": "0.1.0", "unsent_ok": True}
        return {"join": self.join, "send": self.send}[path](said, environ)


def _wrapped(app, fake):
    def call(environ, start):
        path = environ["PATH_INFO"]
        if not path.startswith("/field/api/"):
            return app(environ, start)
        status, kind = "200 OK", "application/json"
        try:
            fake.before(path)
            said = fake.answer(path.removeprefix("/field/api/"), environ)
            fake.after(path)
        except Fails as fails:
            status, kind = f"{fails.status} No", "application/problem+json"
            said = {"title": "No", "detail": str(fails), "status": fails.status}
        body = json.dumps(said).encode()
        start(status, [("Content-Type", kind), ("Content-Length", str(len(body)))])
        return [body]

    return call


@contextmanager
def fake_field(folder, fake=None, port=0):
    """The fake and the address of its server."""
    fake = fake or FakeField()
    store = open_store(str(folder / "store.sqlite"))
    app = create_app(store, Settings(data_folder=folder, log_level="error"))
    server = create_server(_wrapped(app, fake), host="127.0.0.1", port=port, threads=8, ident=None)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    fake.address = f"http://localhost:{server.effective_port}"
    try:
        yield fake, fake.address
    finally:
        server.close()
        thread.join(10)
        server.task_dispatcher.shutdown()
        store.close()
