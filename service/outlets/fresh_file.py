"""Writing a file so that it is either as it was before or whole."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.errors import InvalidRequest


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
