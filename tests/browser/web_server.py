"""The pages on a real server in a thread, with the small site of hostile names."""

import threading
from contextlib import contextmanager

from waitress.server import create_server

from service.app import create_app
from service.settings import Settings
from service.store.migrating import open_store


@contextmanager
def served(folder):
    """The store and the address of a server that is stopped at the end."""
    store = open_store(str(folder / "store.sqlite"))
    app = create_app(store, Settings(data_folder=folder, log_level="error"))
    server = create_server(app, host="127.0.0.1", port=0, threads=8, ident=None)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield store, f"http://127.0.0.1:{server.effective_port}"
    finally:
        server.close()
        thread.join(10)
        server.task_dispatcher.shutdown()
        store.close()
