"""A zip archive, opened within limits: what it says is checked before, what it really holds while inflating.

References
----------
PKWARE APPNOTE 6.3, sections 4.4.4 (flags), 4.4.5 (methods) and 4.5; OWASP ASVS 5.0, 5.2.3 and 5.3.2.
"""

import io
import re
import stat
import zipfile
import zlib

from service.errors import Unreadable

MAX_MEMBERS = 20
MAX_BYTES = 200 << 20  # of all members together, unpacked
MAX_RATIO = 100  # unpacked to packed, of the whole archive, once it is more than ...
FREE_BYTES = 16 << 20
_BLOCK = 1 << 20
_ENCRYPTED = 0x1
_BAD_NAME = re.compile(r"^[/\\]|^[A-Za-z]:|(?:^|[/\\])\.\.(?:[/\\]|$)|[\x00-\x1f\\]")
_PACKED = (".zip", ".kmz", ".gz", ".bz2", ".xz", ".7z", ".rar", ".tar", ".tgz")


class Archive:
    """The files of a zip archive by their names in small letters; folders in names are dropped."""

    def __init__(self, data: bytes) -> None:
        """Check what the archive says of itself.

        Raises
        ------
        Unreadable
            If it is none, or holds more, other or stranger things than a map file needs.
        """
        self._size = len(data)
        self._inflated = 0
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
            members = [member for member in self._zip.infolist() if not member.is_dir()]
        except (zipfile.BadZipFile, ValueError, OSError, UnicodeError) as wrong:
            raise Unreadable("{file} is no whole zip archive; pack it or export it again.") from wrong
        if {"layers/trees.csv", "records/tree.csv"} <= {member.filename for member in members}:
            raise Unreadable(
                "{file} holds everything of a ground as tables, for other programs. To bring the ground "
                "back, take its GeoPackage of everything (site.gpkg)."
            )
        if len(members) > MAX_MEMBERS:
            raise Unreadable(
                f"{{file}} holds {len(members):,} files, more than {MAX_MEMBERS}; pack only the files of the "
                "layer that is meant."
            )
        for member in members:
            _require_plain(member)
        if sum(member.file_size for member in members) > MAX_BYTES:
            raise Unreadable(_too_large())
        own = [member for member in members if not member.filename.startswith("__MACOSX/")]
        self._members = {member.filename.rpartition("/")[2].casefold(): member for member in own}
        if len(self._members) < len(own):
            raise Unreadable("{file} holds two files of the same name; pack each layer by itself.")

    @property
    def names(self) -> list[str]:
        """The names of its files, in small letters, as they come."""
        return list(self._members)

    def said(self, name: str) -> str:
        """Return the name of a file as the archive writes it, without its folder."""
        return self._members[name].filename.rpartition("/")[2]

    def read(self, name: str) -> bytes:
        """Return the content of a file, counted while it is inflated.

        Raises
        ------
        Unreadable
            If it is damaged, or more comes out than the limits allow.
        """
        blocks = []
        try:
            with self._zip.open(self._members[name]) as file:
                while block := file.read(_BLOCK):
                    self._inflated += len(block)
                    self._require_bounded()
                    blocks.append(block)
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError) as wrong:
            raise Unreadable(f"{{file}} is damaged in {name[:60]!r}; pack it again.") from wrong
        return b"".join(blocks)

    def _require_bounded(self) -> None:
        if self._inflated > MAX_BYTES:
            raise Unreadable(_too_large())
        if self._inflated > max(FREE_BYTES, MAX_RATIO * self._size):
            raise Unreadable(
                f"{{file}} unpacks to more than {MAX_RATIO} times its size, which no map file "
                "needs; export the layer as GeoPackage or GeoJSON."
            )


def _too_large() -> str:
    return f"{{file}} unpacks to more than {MAX_BYTES >> 20} MB; split the layer, or export it as GeoPackage."


def _require_plain(member: zipfile.ZipInfo) -> None:
    name = member.filename
    shown = repr(name[:60])
    if _BAD_NAME.search(name) or name != member.orig_filename:
        raise Unreadable(f"{{file}} holds {shown}, a name that leads out of the archive; pack it again.")
    if stat.S_ISLNK(member.external_attr >> 16):
        raise Unreadable(f"{{file}} holds {shown}, a link to another file; pack the files themselves.")
    if name.casefold().endswith(_PACKED):
        raise Unreadable(f"{{file}} holds another archive, {shown}; unpack that and import what is in it.")
    if member.flag_bits & _ENCRYPTED:
        raise Unreadable("{file} is locked with a password; pack it without one.")
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise Unreadable("{file} is packed in a way that is not read here; pack it as an ordinary zip.")
