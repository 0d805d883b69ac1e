"""Certificates for phones on the local network: an authority of one's own that speaks for a few names only.

The authority is name-constrained, critically, to the names and numbers that were given, may make no further
authority, and ends after 400 days at most; the server's certificate ends after 90 and is made anew from it.
Where only names are given all numbers are excluded, and the other way round, since a kind of name that is not
mentioned would be free (RFC 5280, 4.2.1.10).
Reference: RFC 5280, Internet X.509 Public Key Infrastructure Certificate and CRL Profile, 2008.
"""

import datetime as dt
import os
import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from service.errors import InvalidRequest, StoreUnavailable

AUTHORITY_DAYS, SERVER_DAYS = 400, 90
SLACK = dt.timedelta(days=1)  # for phones whose clock is behind
AUTHORITY, AUTHORITY_KEY, SERVER = "authority.crt", "authority.key", "server.pem"
_LABEL = "[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?"
_DNS = re.compile(rf"({_LABEL}\.)+(?!\d+$){_LABEL}")


@dataclass(frozen=True)
class Certificate:
    """What a certificate is for: where it lies, its names and numbers, when it ends, its fingerprint."""

    path: Path
    names: tuple[str, ...]
    ends_at: dt.datetime
    fingerprint: str  # SHA-256 of the whole, as phones show it


def make_certificates(
    folder: Path, names: Sequence[str], now: dt.datetime, anew: bool = False
) -> tuple[Certificate, Certificate]:
    """Make the server's certificate, and the authority where there is none or ``anew``; return both.

    Without names those of the authority hold, which then stays as it is.

    Raises
    ------
    InvalidRequest
        If there are no names, one cannot be used or is none of the authority's, or the authority has ended.
    StoreUnavailable
        If the folder cannot be written.
    """
    wanted = tuple(dict.fromkeys(_name(said) for said in names))
    known = authority_in(folder)
    if known is None or anew:
        wanted = wanted or (known.names if known else ())
        if not wanted:
            raise InvalidRequest(
                "Say what phones call this computer, such as --name yard.lan --name 192.168.1.20."
            )
        _make_authority(folder, wanted, now)
    else:
        _require_usable(known, wanted, now)
    authority = _read(folder / AUTHORITY)
    _make_server(folder, authority, now)
    return _told(folder / AUTHORITY, authority), _told(folder / SERVER, _read(folder / SERVER))


def authority_in(folder: Path) -> Certificate | None:
    """Return the authority that was made, or None.

    Raises
    ------
    InvalidRequest
        If its file is no certificate.
    """
    path = folder / AUTHORITY
    return _told(path, _read(path)) if path.exists() else None


def server_in(path: Path) -> Certificate:
    """Return what the certificate of a server is for.

    Raises
    ------
    InvalidRequest
        If the file cannot be read, or holds no certificate.
    """
    return _told(path, _read(path))


def _name(said: str) -> str:
    """A name or a number as certificates hold it."""
    text = said.strip().lower().rstrip(".")
    try:
        number = ip_address(text)
    except ValueError:
        if text == "localhost" or (len(text) <= 253 and _DNS.fullmatch(text)):
            return text
        raise InvalidRequest(
            f"{said!r} cannot be in a certificate. Write a whole name such as yard.lan or a number such as "
            "192.168.1.20; a single word would let the authority speak for every name that ends in it."
        ) from None
    if number.is_unspecified or number.is_multicast:
        raise InvalidRequest(f"{said} is no address of one computer. Give the one that phones will type.")
    return str(number)


def _require_usable(authority: Certificate, wanted: Sequence[str], now: dt.datetime) -> None:
    further = [name for name in wanted if name not in authority.names]
    if further:
        raise InvalidRequest(
            f"The authority that is here speaks for {', '.join(authority.names)} only, not for "
            f"{', '.join(further)}. Leave --name away to go on with it, or make a new one with "
            "--new-authority, which every phone then has to be given in place of the old one."
        )
    if authority.ends_at <= now + SLACK:
        raise InvalidRequest(
            "The authority that is here has ended. Make a new one with --new-authority, take the old one off "
            "the phones, and give them the new one."
        )


def _make_authority(folder: Path, names: Sequence[str], now: dt.datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    ends_at = now - SLACK + dt.timedelta(days=AUTHORITY_DAYS)
    subject = _subject(f"Boleward phones {names[0]} {now:%Y-%m-%d}"[:64])
    building = (
        _begun(subject, subject, key.public_key(), now, ends_at)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(_constraints(names), critical=True)
    )
    _write(folder / AUTHORITY_KEY, _key_pem(key))
    _write(folder / AUTHORITY, building.sign(key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))


def _constraints(names: Sequence[str]) -> x509.NameConstraints:
    general = [_general(name) for name in names]
    permitted: list[x509.GeneralName] = [
        x509.IPAddress(ip_network(one.value)) if isinstance(one, x509.IPAddress) else one for one in general
    ]
    excluded: list[x509.GeneralName] = []
    if not any(isinstance(one, x509.IPAddress) for one in general):
        excluded += [x509.IPAddress(ip_network(every)) for every in ("0.0.0.0/0", "::/0")]
    if not any(isinstance(one, x509.DNSName) for one in general):
        excluded.append(x509.DNSName(""))
    return x509.NameConstraints(permitted, excluded or None)


def _make_server(folder: Path, authority: x509.Certificate, now: dt.datetime) -> None:
    issuer_key = _kept_key(folder, authority)
    key = ec.generate_private_key(ec.SECP256R1())
    ends_at = min(now - SLACK + dt.timedelta(days=SERVER_DAYS), authority.not_valid_after_utc)
    names = [_general(name) for name in _told(folder, authority).names]
    identifier = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    certificate = (
        _begun(_subject("Boleward server"), authority.subject, key.public_key(), now, ends_at)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False
        )
        .sign(issuer_key, hashes.SHA256())
    )
    _write(folder / SERVER, _key_pem(key) + certificate.public_bytes(serialization.Encoding.PEM))


def _begun(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePublicKey,
    now: dt.datetime,
    ends_at: dt.datetime,
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - SLACK)
        .not_valid_after(ends_at)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _subject(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _usage(signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _told(path: Path, certificate: x509.Certificate) -> Certificate:
    extensions = certificate.extensions
    try:
        general = list(
            extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
        )
    except x509.ExtensionNotFound:
        try:
            general = list(extensions.get_extension_for_class(x509.SubjectAlternativeName).value)
        except x509.ExtensionNotFound:
            general = []
    names = tuple(text for text in (_plain(one) for one in general) if text)
    fingerprint = certificate.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificate(path, names, certificate.not_valid_after_utc, fingerprint)


def _plain(name: x509.GeneralName) -> str | None:
    if isinstance(name, x509.DNSName):
        return name.value
    if isinstance(name, x509.IPAddress):
        value = name.value
        return str(value if isinstance(value, IPv4Address | IPv6Address) else value.network_address)
    return None


def _key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _kept_key(folder: Path, authority: x509.Certificate) -> ec.EllipticCurvePrivateKey:
    path = folder / AUTHORITY_KEY
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), None)
    except (OSError, ValueError, TypeError):
        key = None
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != authority.public_key():
        raise InvalidRequest(
            f"The key of the authority is not in {path}. Put it back, or make a new authority with "
            "--new-authority, which every phone then has to be given."
        )
    return key


def _read(path: Path) -> x509.Certificate:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except OSError as error:
        raise InvalidRequest(f"{path} cannot be read: {error.strerror}.") from error
    except ValueError as error:
        raise InvalidRequest(f"{path} holds no certificate. Make it anew, or name another file.") from error


def _write(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, for this user only."""
    beside = path.with_name(f"{path.name}.{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        raise StoreUnavailable(f"{path} cannot be written: {error.strerror}.") from error
