"""Writing a file so that it is either as it was before or whole."""

import errno
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pyogrio.errors import DataLayerError, DataSourceError

from service.errors import InvalidRequest

_FULL_BELOW = 1_000_000  # bytes left on a disk that could not take what was written


@contextmanager
def fresh_file(out_path: Path) -> Iterator[Path]:
    """A path to write to, which takes the place of ``out_path`` at the end; an old file stays until then.

    Raises
    ------
    InvalidRequest
        If nothing can be written there.
    """
    try:
        with tempfile.TemporaryDirectory(dir=out_path.parent, prefix=".boleward-") as folder:
            fresh = Path(folder) / f"fresh{out_path.suffix}"
            yield fresh
            os.replace(fresh, out_path)
    except OSError as error:
        raise InvalidRequest(
            f"{out_path} cannot be written: {error.strerror}. Name another place or free some space."
        ) from error


@contextmanager
def full_disk_said(path: Path) -> Iterator[None]:
    """Say as the system does that the disk is full, where GDAL or SQLite fail over it in their own words.

    Raises
    ------
    OSError
        If there is no space left where ``path`` is written.
    """
    try:
        yield
    except (DataLayerError, DataSourceError, sqlite3.OperationalError) as error:
        if shutil.disk_usage(path.parent).free > _FULL_BELOW:
            raise
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path)) from error
