"""The program itself with planned days, in a process that can be killed and started again."""

import signal
import subprocess
import sys
from contextlib import closing, suppress

from sqlalchemy import text

from service.actors import LOCAL_MANAGER
from service.crew_words import make_words
from service.store.migrating import open_store
from tests import field_items

PORT_SAID_IN = "http://"


class FieldServer:
    """A server on a store of its own; ``word`` lets the first team in."""

    def __init__(self, folder):
        self.path = str(folder / "store.sqlite")
        self.process = self.port = None
        with closing(open_store(self.path)) as store:
            field_items.ground(store)
            words = make_words(store, field_items.SLUG, LOCAL_MANAGER, field_items.ROUND)
            crews = {code: each.crew_id for code, each in field_items.passes(store).items()}
        self.word = words[crews["team 1"]]

    def start(self):
        """Start the server on a free port and wait until it says where it is."""
        program = [sys.executable, "-m", "service.cli.main", "--store", self.path, "serve", "--port", "0"]
        self.process = subprocess.Popen(program, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        line = self.process.stdout.readline()
        self.port = int(line.split(PORT_SAID_IN)[1].split("/")[0].rpartition(":")[2])
        return self.port

    def kill(self):
        """End it without a word, as a power cut does."""
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(30)
            self.process.stdout.close()
            self.process = None

    def is_up(self):
        """Whether it runs."""
        return self.process is not None

    def kept(self):
        """All readings that are in the store: their ids and notes."""
        with closing(open_store(self.path)) as store, store.read() as connection:
            return connection.execute(text("SELECT id, note FROM reading")).all()

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_error):
        with suppress(ProcessLookupError):
            self.kill()
