"""Files kept beside the store, named by the hash of their content."""

import contextlib
import hashlib
import os
import tempfile
from pathlib import Path

from service.errors import NotFound, StoreUnavailable


class FileBox:
    """A folder of files by content: what is put in twice is kept once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(self, content: bytes) -> str:
        """Keep a content and return its hash.

        Raises
        ------
        StoreUnavailable
            If the disk is full or the folder may not be written.
        """
        name = hashlib.sha256(content).hexdigest()
        path = self._path(name)
        if path.exists():
            return name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, temporary = tempfile.mkstemp(dir=path.parent)
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.replace(temporary, path)
        except OSError as error:
            raise StoreUnavailable(f"The file cannot be kept in {path.parent}: {error.strerror}.") from error
        return name

    def get(self, name: str) -> bytes:
        """Return a kept content.

        Raises
        ------
        NotFound
            If there is none of this hash.
        """
        try:
            return self._path(name).read_bytes()
        except OSError as error:
            raise NotFound("kept file", name) from error

    def discard(self, name: str) -> None:
        """Remove a kept content, where it is there and may be removed."""
        with contextlib.suppress(OSError):
            self._path(name).unlink()

    def _path(self, name: str) -> Path:
        if len(name) != 64 or not set(name) <= set("0123456789abcdef"):
            raise NotFound("kept file", name)
        return self.folder / name[:2] / name
