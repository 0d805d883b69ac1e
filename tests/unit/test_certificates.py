"""Certificates: what they hold, what the authority may speak for, and that others refuse everything else."""

import datetime as dt
import ssl
import stat
import sys
from ipaddress import ip_address, ip_network

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from service.certificates import authority_in, make_certificates, server_in
from service.errors import InvalidRequest
from service.tls_serving import tls_context

NOW = dt.datetime(2026, 11, 27, 10, tzinfo=dt.UTC)
NAMES = ("yard.lan", "192.168.1.20")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("data") / "certs"
    make_certificates(folder, NAMES, NOW)
    return folder


def read(folder, name):
    return x509.load_pem_x509_certificate((folder / name).read_bytes())


def extension(certificate, kind):
    found = certificate.extensions.get_extension_for_class(kind)
    return found.value, found.critical


def test_the_authority_speaks_for_its_names_only_makes_no_further_one_and_ends_within_400_days(folder):
    """RFC 5280, 4.2.1.3, 4.2.1.9 and 4.2.1.10: constraints of names are critical."""
    made = read(folder, "authority.crt")
    assert extension(made, x509.BasicConstraints) == (x509.BasicConstraints(ca=True, path_length=0), True)
    constraints, critical = extension(made, x509.NameConstraints)
    assert critical
    assert constraints.permitted_subtrees == [
        x509.DNSName("yard.lan"),
        x509.IPAddress(ip_network("192.168.1.20/32")),
    ]
    usage, critical = extension(made, x509.KeyUsage)
    assert critical and usage.key_cert_sign and not usage.digital_signature
    assert made.not_valid_after_utc - made.not_valid_before_utc <= dt.timedelta(days=400)
    assert isinstance(made.public_key().curve, ec.SECP256R1)


def test_the_certificate_of_the_server_holds_the_names_and_ends_within_90_days(folder):
    made = read(folder, "server.pem")
    names, _ = extension(made, x509.SubjectAlternativeName)
    assert names.get_values_for_type(x509.DNSName) == ["yard.lan"]
    assert names.get_values_for_type(x509.IPAddress) == [ip_address("192.168.1.20")]
    assert extension(made, x509.BasicConstraints)[0].ca is False
    assert extension(made, x509.KeyUsage)[0].digital_signature
    assert list(extension(made, x509.ExtendedKeyUsage)[0]) == [ExtendedKeyUsageOID.SERVER_AUTH]
    authority = read(folder, "authority.crt")
    key_id = extension(authority, x509.SubjectKeyIdentifier)[0].digest
    assert extension(made, x509.AuthorityKeyIdentifier)[0].key_identifier == key_id
    assert made.not_valid_after_utc - made.not_valid_before_utc <= dt.timedelta(days=90)


def test_nobody_else_reads_the_files(folder):
    if sys.platform != "win32":
        assert {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()} == {0o600}
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert sorted(path.name for path in folder.iterdir()) == ["authority.crt", "authority.key", "server.pem"]


def signed(folder, names, **more):
    """A certificate for other names that whoever has the authority's key could make."""
    key = ec.generate_private_key(ec.SECP256R1())
    authority = read(folder, "authority.crt")
    issuer = serialization.load_pem_private_key((folder / "authority.key").read_bytes(), None)
    building = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Another")]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - dt.timedelta(days=1))
        .not_valid_after(NOW + dt.timedelta(days=80))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.public_key()), critical=False
        )
    )
    made = building.sign(issuer, hashes.SHA256())
    return made, key


def subject(name):
    return x509.IPAddress(ip_address(name)) if name[0].isdigit() else x509.DNSName(name)


def verified(folder, certificate, name):
    store = Store([read(folder, "authority.crt")])
    PolicyBuilder().store(store).time(NOW).build_server_verifier(subject(name)).verify(certificate, [])


@pytest.mark.parametrize("name", NAMES)
def test_the_chain_is_verified_by_the_rules_of_the_web(folder, name):
    verified(folder, read(folder, "server.pem"), name)


def shake(folder, certificate_file, name):
    """A handshake in memory by OpenSSL, in which the client trusts the authority and nothing else."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate_file)
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.load_verify_locations(folder / "authority.crt")
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = [
        client.wrap_bio(to_client, to_server, server_hostname=name),
        server.wrap_bio(to_server, to_client, server_side=True),
    ]
    for _ in range(4):
        for end in ends:
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
    return ends[0].getpeercert()


@pytest.fixture(scope="module")
def today(tmp_path_factory):
    """Certificates made today, since OpenSSL looks at the clock."""
    folder = tmp_path_factory.mktemp("today") / "certs"
    make_certificates(folder, NAMES, dt.datetime.now(dt.UTC))
    return folder


@pytest.mark.parametrize("name", NAMES)
def test_openssl_connects_where_it_trusts_the_authority(today, name):
    assert shake(today, today / "server.pem", name)


def test_openssl_connects_not_by_another_name(today):
    with pytest.raises(ssl.SSLCertVerificationError, match=r"[Hh]ostname"):
        shake(today, today / "server.pem", "other.lan")


ONLY_NAMES, ONLY_NUMBERS = ("yard.lan",), ("192.168.1.20",)


@pytest.mark.parametrize(
    ("given", "other"),
    [
        (NAMES, "bank.example"),
        (NAMES, "lan"),
        (NAMES, "notyard.lan"),
        (NAMES, "192.168.1.21"),
        (NAMES, "2001:db8::1"),
        (ONLY_NAMES, "192.168.1.20"),
        (ONLY_NAMES, "2001:db8::1"),
        (ONLY_NUMBERS, "bank.example"),
        (ONLY_NUMBERS, "localhost"),
    ],
)
def test_a_certificate_for_another_name_made_with_this_authority_is_refused_by_both(tmp_path, given, other):
    folder = tmp_path / "certs"
    make_certificates(folder, given, dt.datetime.now(dt.UTC))
    shake(folder, folder / "server.pem", given[0])
    made, key = signed(folder, [subject(other)])
    with pytest.raises(VerificationError):
        verified(folder, made, other)
    file = tmp_path / "other.pem"
    pem = serialization.Encoding.PEM
    form = serialization.PrivateFormat.PKCS8
    file.write_bytes(key.private_bytes(pem, form, serialization.NoEncryption()) + made.public_bytes(pem))
    with pytest.raises(ssl.SSLCertVerificationError, match="subtree"):
        shake(folder, file, other)


def test_the_same_command_renews_the_server_and_leaves_the_authority_as_phones_have_it(tmp_path):
    first = make_certificates(tmp_path, NAMES, NOW)
    key = (tmp_path / "authority.key").read_bytes()
    later = NOW + dt.timedelta(days=80)
    second = make_certificates(tmp_path, (), later)
    assert second[0] == first[0]
    assert (tmp_path / "authority.key").read_bytes() == key
    assert second[1].ends_at == later + dt.timedelta(days=89)
    assert second[1].fingerprint != first[1].fingerprint
    assert (authority_in(tmp_path), server_in(tmp_path / "server.pem")) == second


def test_the_server_never_outlives_the_authority_and_an_authority_that_ended_makes_nothing(tmp_path):
    authority, _ = make_certificates(tmp_path, NAMES, NOW)
    _, server = make_certificates(tmp_path, (), NOW + dt.timedelta(days=390))
    assert server.ends_at == authority.ends_at
    with pytest.raises(InvalidRequest, match="--new-authority"):
        make_certificates(tmp_path, (), NOW + dt.timedelta(days=399))
    anew, _ = make_certificates(tmp_path, (), NOW + dt.timedelta(days=399), anew=True)
    assert anew.names == authority.names
    assert anew.fingerprint != authority.fingerprint


def test_further_names_need_a_new_authority(tmp_path):
    make_certificates(tmp_path, ("yard.lan",), NOW)
    with pytest.raises(InvalidRequest, match=r"other\.lan.*--new-authority"):
        make_certificates(tmp_path, ("yard.lan", "other.lan"), NOW)
    assert make_certificates(tmp_path, ("other.lan",), NOW, anew=True)[1].names == ("other.lan",)


@pytest.mark.parametrize(
    "name",
    [
        "com",
        "lan",
        "",
        "*.lan",
        "yard.lan/x",
        "a..lan",
        "-a.lan",
        "0.0.0.0",
        "224.0.0.1",
        "1.2.3.400",
        "schöne.lan",
        "x" * 64 + ".lan",
    ],
)
def test_what_can_be_no_name_of_one_computer_is_refused_with_what_to_write(tmp_path, name):
    with pytest.raises(InvalidRequest, match=r"Write a whole name|Give the one"):
        make_certificates(tmp_path / "new", (name,), NOW)
    assert not (tmp_path / "new").exists()


def test_without_a_name_and_without_an_authority_the_names_are_asked_for(tmp_path):
    with pytest.raises(InvalidRequest, match="--name"):
        make_certificates(tmp_path, (), NOW)


def test_files_that_are_damaged_or_do_not_belong_together_are_told(tmp_path):
    make_certificates(tmp_path / "a", NAMES, NOW)
    make_certificates(tmp_path / "b", NAMES, NOW)
    with pytest.raises(InvalidRequest, match="belong together"):
        tls_context(server_in(tmp_path / "a" / "server.pem"), str(tmp_path / "b" / "authority.key"))
    (tmp_path / "a" / "authority.key").write_bytes((tmp_path / "b" / "authority.key").read_bytes())
    with pytest.raises(InvalidRequest, match="key of the authority"):
        make_certificates(tmp_path / "a", (), NOW)
    (tmp_path / "b" / "authority.crt").write_text("nothing")
    with pytest.raises(InvalidRequest, match="no certificate"):
        make_certificates(tmp_path / "b", (), NOW)
    with pytest.raises(InvalidRequest, match="cannot be read"):
        server_in(tmp_path / "none.pem")


def test_a_key_that_is_locked_by_a_password_is_told_and_not_asked_for(tmp_path):
    make_certificates(tmp_path, NAMES, NOW)
    key = ec.generate_private_key(ec.SECP256R1())
    lock = serialization.BestAvailableEncryption(b"x")
    locked = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, lock)
    (tmp_path / "locked.pem").write_bytes(locked)
    with pytest.raises(InvalidRequest, match="password"):
        tls_context(server_in(tmp_path / "server.pem"), str(tmp_path / "locked.pem"))
