"""Files that were made whole and may be asked for again, in pieces too: kept beside the store, a few of each.

Nothing here is a record; every file may be thrown away at any time and is then made anew.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Lock
from uuid import uuid4
from weakref import finalize

from service.errors import StoreUnavailable
from service.store.engine import Store

KEPT = 3  # of a file of a site, by day or by what was known
READ_BYTES = 1 << 18

_making: dict[Path, Lock] = {}
_lock = Lock()


class OpenFile:
    """A file that is being sent: read from any place on, closed when it is not needed, whoever forgets it."""

    def __init__(self, path: Path) -> None:
        self._handle = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
        self.close = finalize(self, os.close, self._handle)
        self.state = os.fstat(self._handle)

    def seekable(self) -> bool:
        """Whether any place can be gone to."""
        return True

    def seek(self, place: int) -> int:
        """Go to a place."""
        return os.lseek(self._handle, place, os.SEEK_SET)

    def tell(self) -> int:
        """Return the place that is read next."""
        return os.lseek(self._handle, 0, os.SEEK_CUR)

    def __iter__(self) -> "OpenFile":
        return self

    def __next__(self) -> bytes:
        piece = os.read(self._handle, READ_BYTES)
        if not piece:
            raise StopIteration
        return piece


def finished_file(store: Store, site_id: str, name: str, tag: str, write: Callable[[Path], object]) -> Path:
    """Return the file of a site of this name (with its extension) and tag, made by ``write`` if need be.

    Raises
    ------
    StoreUnavailable
        If it cannot be written.
    """
    folder = store.computed_folder / "files" / site_id
    path = folder / f"{tag}-{name}"
    with made_once(path):
        if not path.exists():
            _make(path, write)
            thin_out(folder, f"*-{name}", KEPT)
    return path


@contextmanager
def made_once(path: Path) -> Iterator[None]:
    """Let others who want the same file wait until it is there."""
    with _lock:
        making = _making.setdefault(path, Lock())
    try:
        with making:
            yield
    finally:
        with _lock:
            _making.pop(path, None)


def thin_out(folder: Path, pattern: str, most: int) -> None:
    """Throw away the oldest files of a pattern; one that somebody still reads goes when it is closed."""
    files = sorted(folder.glob(pattern), key=lambda path: path.stat().st_mtime, reverse=True)
    for path in files[most:]:
        with suppress(OSError):
            path.unlink()


def _make(path: Path, write: Callable[[Path], object]) -> None:
    fresh = path.with_name(f".{uuid4().hex}{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write(fresh)
        os.replace(fresh, path)
    except OSError as error:
        raise StoreUnavailable(
            f"The file cannot be made in {path.parent}: {error}. Free some space or check its owner."
        ) from error
    finally:
        with suppress(OSError):
            fresh.unlink()
