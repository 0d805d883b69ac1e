"""The options of the program: one frozen table, read once and passed down.

Order: defaults < file named by ``--config`` < environment (``BOLEWARD_...``) < what is given explicitly.
"""

import os
import secrets
import tomllib
from collections.abc import Mapping
from ipaddress import IPv4Address, ip_address
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

import platformdirs
from pydantic import Field, ValidationError, field_validator
from pydantic_settings import BaseSettings, NoDecode, PydanticBaseSettingsSource, SettingsConfigDict

from service.errors import InvalidRequest, StoreUnavailable

PREFIX = "BOLEWARD_"
LANGUAGES = ("en", "es", "de", "fr")  # that pages speak
OUTSIDE = frozenset({"BOLEWARD_INPUTS"})  # tells the tests where the real lists lie; no option of the program


def _data_folder() -> Path:
    return Path(platformdirs.user_data_dir("boleward", appauthor=False))


class Settings(BaseSettings):
    """Every option: its name, type, default and help are this table."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True, extra="forbid")

    data_folder: Path = Field(
        default_factory=_data_folder,
        description="Folder for the store, uploads in progress and the secret key.",
    )
    store: str = Field(
        default_factory=lambda known: str(known["data_folder"] / "boleward.sqlite"),
        description="Path of the store, or a database URL; boleward.sqlite in the data folder by default.",
    )
    host: str = Field(
        default="127.0.0.1",
        description="Address to listen on. One that others can reach (192.168.1.20, or 0.0.0.0 for every "
        "one) is for phones: only the page for measuring answers there; the others stay on this computer.",
    )
    port: int = Field(default=8477, ge=0, le=65535, description="Port to listen on; 0 takes a free one.")
    https: bool = Field(
        default=False,
        description="Addresses begin with https://, with the certificate that 'boleward certs' made.",
    )
    cert_file: Path | None = Field(default=None, description="Another certificate for https, a PEM file.")
    key_file: Path | None = Field(default=None, description="The key of that certificate, a PEM file.")
    threads: int = Field(default=8, ge=1, le=64, description="Requests answered at the same time.")
    trusted_hosts: Annotated[tuple[str, ...], NoDecode] = Field(
        default=(),
        description="Further names this computer is called by in a browser, separated by commas.",
    )
    public_address: str = Field(
        default="",
        description="Address under which others reach these pages, such as https://trees.example.org; "
        "links in open data begin with it. Pages need a name of their own, with no path after it. Empty: the "
        "address that was asked.",
    )
    cors_origins: Annotated[tuple[str, ...], NoDecode] = Field(
        default=(),
        description="Origins of other sites whose pages may read the open data in a browser, such as "
        "https://maps.example.org, separated by commas. Empty: none.",
    )
    language: Literal["en", "es", "de", "fr"] = Field(
        default="en",
        description="Language of pages for browsers that ask for none of ours and where none was chosen.",
    )
    tile_address: str = Field(
        default="",
        description="Address of street-map pictures, with {z}, {x} and {y}. Empty: no street map.",
    )
    tile_attribution: str = Field(default="", description="Whose street map it is; shown on the map.")
    max_upload_mb: int = Field(default=200, ge=1, le=4096, description="Largest file taken by a page, in MB.")
    upload_hours: int = Field(
        default=24,
        ge=1,
        le=720,
        description="Hours that an upload waits to be taken before it is thrown away.",
    )
    log_level: Literal["debug", "info", "warning", "error"] = Field(
        default="info", description="How much the server writes to its log."
    )

    @field_validator("trusted_hosts", "cors_origins", mode="before")
    @classmethod
    def _split(cls, value: object) -> object:
        return (
            tuple(part.strip() for part in value.split(",") if part.strip())
            if isinstance(value, str)
            else value
        )

    @field_validator("host")
    @classmethod
    def _number(cls, value: str) -> str:
        try:
            known = value == "localhost" or not IPv4Address(value).is_multicast
        except ValueError:
            known = False
        if not known:
            raise ValueError("must be localhost or a number of this computer such as 192.168.1.20 (IPv4)")
        return value

    @field_validator("tile_address")
    @classmethod
    def _tiles(cls, value: str) -> str:
        if value and not (
            value.startswith(("https://", "http://")) and all(p in value for p in ("{z}", "{x}", "{y}"))
        ):
            raise ValueError("must start with https:// and hold {z}, {x} and {y}")
        return value

    @field_validator("public_address")
    @classmethod
    def _public(cls, value: str) -> str:
        if value and not _is_address(value):
            raise ValueError(
                "must be an address such as https://trees.example.org, with nothing after ? or #"
            )
        return value.rstrip("/")

    @field_validator("cors_origins")
    @classmethod
    def _origins(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if not all(_is_address(origin) and not urlsplit(origin).path for origin in value):
            raise ValueError("must be origins such as https://maps.example.org, with nothing after the name")
        return value

    @property
    def public_host(self) -> str | None:
        """The name in the public address."""
        return urlsplit(self.public_address).hostname

    @property
    def store_address(self) -> str:
        """Where the store is: a path or a database URL."""
        return self.store

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Take what is given explicitly and nothing else; ``load_settings`` puts the sources in order."""
        return (init_settings,)


def settings_table(settings: Settings) -> list[tuple[str, Any, str]]:
    """Return every option as (name, value, help), in order."""
    fields = Settings.model_fields.items()
    return [(name, getattr(settings, name), field.description or "") for name, field in fields]


def load_settings(
    config: Path | None = None, environment: Mapping[str, str] | None = None, **explicit: Any
) -> Settings:
    """Return the settings: defaults < ``config`` < environment < ``explicit`` (``None`` is not given).

    Raises
    ------
    InvalidRequest
        If a name is unknown or a value cannot be used; every fault with where it was said.
    """
    said: dict[str, Any] = {}
    where: dict[str, str] = {}
    for origin, values in (
        (str(config), _from_file(config) if config else {}),
        ("environment", _from_environment(os.environ if environment is None else environment)),
        ("argument", {name: value for name, value in explicit.items() if value is not None}),
    ):
        said.update(values)
        where.update(dict.fromkeys(values, origin))
    try:
        return Settings(**said)
    except ValidationError as error:
        raise InvalidRequest([_fault(fault, where) for fault in error.errors()]) from error


def changed(settings: Settings, **explicit: Any) -> Settings:
    """Return the settings with what is given explicitly (``None`` is not given).

    Raises
    ------
    InvalidRequest
        If a value cannot be used; every fault with its name.
    """
    said = {name: value for name, value in explicit.items() if value is not None}
    try:
        return Settings(**{**settings.model_dump(), **said})
    except ValidationError as error:
        where = dict.fromkeys(said, "argument")
        raise InvalidRequest([_fault(fault, where) for fault in error.errors()]) from error


def _fault(fault: Any, where: dict[str, str]) -> tuple[str, str]:
    name = str(fault["loc"][0])
    known = ", ".join(Settings.model_fields)
    message = f"is no option; there are {known}" if fault["type"] == "extra_forbidden" else fault["msg"]
    return f"{name} ({where.get(name, 'default')})", f"{message.removeprefix('Value error, ')}."


def _from_file(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InvalidRequest([(str(path), f"cannot be read: {error.strerror}.")]) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InvalidRequest([(str(path), f"is not a TOML file: {error}.")]) from error


def _from_environment(environment: Mapping[str, str]) -> dict[str, str]:
    return {
        name.removeprefix(PREFIX).lower(): value
        for name, value in environment.items()
        if name.startswith(PREFIX) and name not in OUTSIDE
    }


def _is_address(said: str) -> bool:
    """Whether it is an address of the web without a question, a fragment or a name and password."""
    try:
        parts = urlsplit(said)
        _ = parts.port
    except ValueError:
        return False
    plain = not (parts.query or parts.fragment or "@" in parts.netloc or "?" in said or "#" in said)
    return parts.scheme in ("http", "https") and bool(parts.hostname) and plain and said.isprintable()


def is_loopback(host: str) -> bool:
    """Return whether a host name or address means this computer only."""
    if host == "localhost":
        return True
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def secret_key(folder: Path) -> str:
    """Return the key that signs cookies, made on first use and kept in ``folder`` for this user only.

    Raises
    ------
    StoreUnavailable
        If it can be neither read nor written.
    """
    path = folder / "boleward.key"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            return _kept_key(path)
        key = secrets.token_hex(32)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(key)
    except OSError as error:
        raise StoreUnavailable(f"The key file {path} cannot be used: {error.strerror}.") from error
    return key


def _kept_key(path: Path) -> str:
    key = path.read_text(encoding="ascii", errors="replace").strip()
    if len(key) < 32:
        raise StoreUnavailable(f"The key file {path} is damaged. Delete it and start again; nothing is lost.")
    return key
