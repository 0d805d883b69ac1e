"""Files that were sent and wait to be looked at and taken: each in a folder of its own, for some hours."""

import re
import shutil
import time
import unicodedata
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from service.errors import InvalidRequest, NotFound, StoreUnavailable

MAX_NAME = 120
_ID = re.compile(r"[0-9a-f]{32}")
_NOT_IN_NAMES = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*]')


@dataclass(frozen=True)
class Upload:
    """One file that waits."""

    id: str
    path: Path

    @property
    def name(self) -> str:
        """The name that the sender gave it."""
        return self.path.name


def usable_name(said: str) -> str:
    """Return the last part of a file name as a name that every system takes."""
    last = said.replace("\\", "/").rpartition("/")[2]
    plain = _NOT_IN_NAMES.sub("_", unicodedata.normalize("NFC", last).encode("utf-8", "replace").decode())
    stem, dot, ending = plain.strip(" .").rpartition(".")
    short = f"{stem[:MAX_NAME]}{dot}{ending[:12]}" if dot else ending[:MAX_NAME]
    return short or "list"


class Uploads:
    """The folder of waiting files."""

    def __init__(self, folder: Path, hours: int) -> None:
        self.folder = folder
        self.seconds = hours * 3600

    def keep(self, said_name: str, save: Callable[[Path], None]) -> Upload:
        """Keep a file under a new id; ``save`` writes it to the path it is given.

        Raises
        ------
        InvalidRequest
            If no file was chosen.
        StoreUnavailable
            If it cannot be written.
        """
        if not said_name:
            raise InvalidRequest([("file", "Choose the file that holds the list.")])
        self.sweep()
        id = uuid.uuid4().hex
        upload = Upload(id, self.folder / id / usable_name(said_name))
        try:
            upload.path.parent.mkdir(parents=True)
            save(upload.path)
        except OSError as error:
            shutil.rmtree(upload.path.parent, ignore_errors=True)
            raise StoreUnavailable(
                f"The file cannot be kept in {self.folder}: {error.strerror}. Free some space, "
                "then send it again."
            ) from error
        return upload

    def find(self, id: str) -> Upload:
        """Return a waiting file.

        Raises
        ------
        NotFound
            If it was taken, thrown away, or its time is over.
        """
        held = sorted((self.folder / id).glob("*")) if _ID.fullmatch(id) else []
        if not held:
            raise NotFound("waiting file", id)
        return Upload(id, held[0])

    def discard(self, id: str) -> None:
        """Throw a waiting file away; one that is gone already is no fault."""
        if _ID.fullmatch(id):
            shutil.rmtree(self.folder / id, ignore_errors=True)

    def sweep(self) -> None:
        """Throw away what nobody took in time."""
        if not self.folder.is_dir():
            return
        for folder in self.folder.iterdir():
            if _ID.fullmatch(folder.name) and time.time() - folder.stat().st_mtime > self.seconds:
                shutil.rmtree(folder, ignore_errors=True)
