"""A download of a layer in a process of its own: what memory it takes above that of the program.

``python -m tests.benchmarks.export_run STORE SLUG DAY EXTENSION`` prints bytes and megabytes as JSON.
"""

import json
import sys
from pathlib import Path

from service.actors import LOCAL_MANAGER
from service.app import create_app
from service.editions import tag_of
from service.settings import Settings
from service.store.migrating import open_store
from service.view import key_of

READ_BYTES = 1 << 16


def memory_kb(word):
    """What the system says of this process: VmRSS is what it holds, VmHWM the most that it held."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(f"{word}:"))


def main(store_path, slug, day, extension):
    store = open_store(store_path)
    key = key_of(store, slug, LOCAL_MANAGER, day)
    folder = store.computed_folder / "layers" / key.site_id
    ready = folder / f"trees-{tag_of(key, 'trees')}.sqlite"
    if not ready.exists():  # a line of the program changed since the file was written
        ready.hardlink_to(next(folder.glob("trees-*.sqlite")))
    client = create_app(store, Settings(data_folder=Path(store_path).parent)).test_client()
    address = f"/sites/{slug}/layers/{{}}.{{}}?as_of={day}"
    client.get(address.format("places", extension)).close()  # so that what is loaded once is there
    before = memory_kb("VmRSS")
    answer = client.get(address.format("trees", extension))
    assert answer.status_code == 200
    size = sum(len(piece) for piece in answer.iter_encoded())
    answer.close()
    extra_mb = (memory_kb("VmHWM") - before) / 1024
    store.close()
    print(json.dumps({"bytes": size, "extra_mb": round(extra_mb, 1)}))


if __name__ == "__main__":
    main(*sys.argv[1:])
