"""The Chromium that the browser ring drives: the installed one; ``python -m tests.chromium`` sees to one."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
OUTSIDE_PATH = (Path("/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"),)
BY_HAND = "apt-get install -y chromium"


def find() -> str | None:
    """The path of an installed Chromium or Chrome, or None."""
    named = next((path for path in map(shutil.which, NAMES) if path), None)
    return named or next((str(path) for path in OUTSIDE_PATH if path.exists()), None)


def require() -> str:
    """The path of an installed Chromium; the error says how to get one."""
    found = find()
    if found is None:
        raise RuntimeError(f"The browser tests need Chromium. Install it, on Debian with: sudo {BY_HAND}")
    return found


def _install() -> None:
    apt = shutil.which("apt-get")
    if apt is None or os.geteuid() != 0:
        return
    quietly = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run([apt, "-qq", "update"], env=quietly, check=False)
    subprocess.run([*BY_HAND.replace("apt-get", f"{apt} -qq").split()], env=quietly, check=False)


def main() -> None:
    """Say which Chromium there is; install Debian's where that may be done."""
    if find() is None:
        _install()
    try:
        print(f"Browser tests use {require()}.")
    except RuntimeError as missing:
        sys.exit(str(missing))


if __name__ == "__main__":
    main()
