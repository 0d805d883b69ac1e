"""The running program beside phones: what answers at which address, over TLS and without, and how it ends."""

import datetime as dt
import hashlib
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from contextlib import ExitStack

import pytest

from service.certificates import make_certificates
from service.errors import InvalidRequest
from service.serving import certificate_of, own_names
from service.settings import Settings
from tests.command_line import boleward

SLOW = """
import sys, time
from service.serving import serve_until_stopped
from service.settings import Settings

def app(environ, start_response):
    time.sleep(0 if environ["PATH_INFO"].endswith("quick") else 1.5)
    start_response("200 OK", [("Content-Type", "text/plain"), ("Content-Length", "300000")])
    return [b"x" * 300000]

settings = Settings(data_folder=sys.argv[1], host=sys.argv[2], port=int(sys.argv[3]), https=True)
serve_until_stopped(app, settings, lambda addresses: print(addresses.pages, addresses.phones, flush=True))
"""


def free_port(host="127.0.0.1"):
    with socket.socket() as probe:
        probe.bind((host, 0))
        return probe.getsockname()[1]


def own_number():
    """A number of this computer that others could reach; where it has none, all of them."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return "0.0.0.0"
        return probe.getsockname()[0]


@pytest.fixture(scope="module")
def trusted(tmp_path_factory):
    """A data folder with certificates for names and numbers of this computer."""
    folder = tmp_path_factory.mktemp("data")
    names = dict.fromkeys(["localhost", "127.0.0.1", own_number(), "yard.lan"])
    usable = [name for name in names if name != "0.0.0.0"]
    make_certificates(folder / "certs", usable, dt.datetime.now(dt.UTC))
    return folder


def trusting(folder):
    return ssl.create_default_context(cafile=folder / "certs" / "authority.crt")


def get(address, context=None, **headers):
    """Status and body of an answer, asked for without any proxy."""
    handlers = [urllib.request.ProxyHandler({})]
    handlers += [urllib.request.HTTPSHandler(context=context)] if context else []
    request = urllib.request.Request(address, headers=headers)
    try:
        with urllib.request.build_opener(*handlers).open(request, timeout=20) as answer:
            return answer.status, answer.read()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read()


@pytest.fixture
def start():
    """Start a command and read its first lines; it is ended by SIGTERM and has to end well."""
    started = []

    def run(*words, lines=1, env=None):
        process = subprocess.Popen(
            [sys.executable, *map(str, words)],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, **(env or {})},
        )
        started.append(process)
        return process, [process.stdout.readline() for _ in range(lines)]

    yield run
    for process in started:
        process.terminate()
    ended = [process.wait(30) for process in started]
    for process in started:
        process.stdout.close()
    assert ended == [0] * len(started)


def serve(start, folder, *words, lines):
    store = ["-m", "service.cli.main", "--store", folder / f"{time.monotonic_ns()}.sqlite", "serve"]
    return start(*store, *words, lines=lines, env={"BOLEWARD_DATA_FOLDER": str(folder)})


def test_on_an_address_that_others_reach_only_what_is_for_phones_answers_and_the_pages_stay_at_home(
    start, tmp_path
):
    host = own_number()
    port = free_port(host)
    _, said = serve(start, tmp_path, "--host", host, "--port", port, lines=3)
    pages = re.fullmatch(r"Open (http://127\.0\.0\.1:\d+/) in a browser\. .*\n", said[0]).group(1)
    phones = re.match(r"Phones: (http://[\d.]+:(\d+)/field/) ", said[1])
    assert int(phones.group(2)) == port
    assert "plain http" in said[2]
    assert get(phones.group(1))[0] == 200
    outside = phones.group(1).removesuffix("field/")
    for path in ("sites/x", "api/sites", "ogc", "static/site.css", "start", "problems/"):
        status, body = get(outside + path)
        assert status == 404
        assert b"/field/" in body
    assert get(f"{outside}field/", Host="evil.example")[0] == 400
    assert get(f"{pages}api/sites") == (200, b"[]")
    assert get(f"{pages}field/")[0] == 200


def test_phones_come_by_tls_with_the_authority_and_cookies_go_back_over_it_only(start, trusted):
    host = own_number()
    _, said = serve(start, trusted, "--host", host, "--port", free_port(host), "--https", lines=2)
    pages = said[0].split()[1]
    phones = said[1].split()[1]
    assert pages.startswith("http://127.0.0.1:")
    assert phones.startswith("https://")
    context = trusting(trusted)
    assert get(phones, context)[0] == 200
    assert get(phones.replace("/field/", "/api/sites"), context)[0] == 404
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        get(phones, ssl.create_default_context())
    plain = phones.replace("https://", "http://")
    assert get(plain) == (400, b"This address begins with https:// - type it that way, please.\n")
    request = urllib.request.Request(
        phones + "api/hello", b"{}", {"Content-Type": "application/json", "Host": "yard.lan"}
    )
    with urllib.request.urlopen(request, context=context, timeout=20) as answer:
        assert set(json.load(answer)) == {"now", "program", "unsent_ok"}


def test_pages_at_home_come_by_tls_where_nobody_else_is_served(start, trusted):
    _, said = serve(start, trusted, "--https", "--port", free_port(), lines=1)
    pages = said[0].split()[1]
    assert pages.startswith("https://127.0.0.1:")
    context = trusting(trusted)
    request = urllib.request.Request(f"{pages}start")
    with urllib.request.urlopen(request, context=context, timeout=20) as answer:
        assert "Secure" in answer.headers["Set-Cookie"]
    old = trusting(trusted)
    old.maximum_version = ssl.TLSVersion.TLSv1_2
    assert get(f"{pages}api/sites", old) == (200, b"[]")


def test_phones_that_stop_while_the_line_opens_hold_nobody_up(start, trusted):
    host = own_number()
    port = free_port(host)
    _, said = start("-c", SLOW, trusted, host, port)
    phones = said[0].split()[1]
    with ExitStack() as lines:
        for number in range(200):
            line = lines.enter_context(socket.create_connection((host, port)))
            if number < 16:
                line.sendall(b"\x16\x03\x01\x02\x00\x01")  # the beginning of a handshake (RFC 8446, 5.1)
        began = time.monotonic()
        assert get(f"{phones}quick", trusting(trusted))[0] == 200
        assert time.monotonic() - began < 5


def test_requests_in_flight_at_both_addresses_are_answered_whole_before_a_sigterm_ends_them(start, trusted):
    host = own_number()
    process, said = start("-c", SLOW, trusted, host, free_port(host))
    pages, phones = said[0].split()
    answers, context = [], trusting(trusted)
    asking = [
        threading.Thread(target=lambda: answers.append(get(pages))),
        threading.Thread(target=lambda: answers.append(get(phones, context))),
    ]
    for thread in asking:
        thread.start()
    time.sleep(0.7)
    process.send_signal(signal.SIGTERM)
    for thread in asking:
        thread.join(20)
    assert answers == [(200, b"x" * 300_000)] * 2
    assert process.wait(10) == 0


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"host": "192.168.1.20", "port": 0}, "is not a number of this computer"),
        ({"https": True}, "boleward certs --name"),
        ({"cert_file": "none.pem"}, "no certificate in none.pem"),
    ],
)
def test_what_cannot_be_served_is_told_with_what_to_do(tmp_path, said, told):
    words = [word for name, value in said.items() for word in (f"--{name.removesuffix('_file')}", value)]
    words = [word for word in words if word is not True]
    ran = boleward("serve", *words, store=tmp_path / "s.sqlite") if "https" not in said else None
    if ran is None:
        with pytest.raises(InvalidRequest, match=told):
            certificate_of(Settings(data_folder=tmp_path, **said))
        return
    assert ran.code == 2
    assert told in ran.err


def test_a_port_that_is_taken_is_told_as_phones_hold_what_is_unsent_under_their_address(tmp_path):
    host = own_number()
    with socket.socket() as taken:
        taken.bind((host, 0))
        taken.listen()
        ran = boleward("serve", "--host", host, "--port", taken.getsockname()[1], store=tmp_path / "s.sqlite")
    assert ran.code == 2
    assert "keep to it" in ran.err


@pytest.mark.parametrize(
    ("names", "host", "holds"),
    [
        (["192.168.1.20"], "192.168.1.20", True),
        (["192.168.1.20"], "0.0.0.0", True),
        (["192.168.1.20"], "192.168.1.21", False),
        (["yard.lan"], "192.168.1.21", True),
        (["yard.lan", "192.168.1.20"], "127.0.0.1", False),
        (["localhost"], "localhost", True),
    ],
)
def test_a_certificate_that_is_not_for_the_address_is_told(tmp_path, names, host, holds):
    make_certificates(tmp_path / "certs", names, dt.datetime.now(dt.UTC))
    settings = Settings(data_folder=tmp_path, host=host, https=True)
    if holds:
        assert own_names(settings, certificate_of(settings)).trusted_hosts == tuple(names)
    else:
        with pytest.raises(InvalidRequest, match=f"not for {re.escape(host)}"):
            certificate_of(settings)


def test_a_certificate_that_ended_is_told_with_the_day(tmp_path):
    long_ago = dt.datetime.now(dt.UTC) - dt.timedelta(days=100)
    make_certificates(tmp_path / "certs", ["localhost"], long_ago)
    with pytest.raises(
        InvalidRequest, match=r"ended on \d{4}-\d\d-\d\d\. Make a new one with 'boleward certs'"
    ):
        certificate_of(Settings(data_folder=tmp_path, host="localhost", https=True))


def test_the_command_says_for_whom_the_authority_is_and_how_it_is_taken_off(tmp_path, monkeypatch):
    monkeypatch.setenv("BOLEWARD_DATA_FOLDER", str(tmp_path))
    assert "--name" in boleward("certs").err
    assert boleward("certs", "--show").code == 3
    made = boleward("certs", "--name", "yard.lan", "--name", "192.168.1.20")
    assert made.code == 0
    for said in (
        "only phones and tablets that you manage",
        "Off again",
        "full trust",
        "not tried",
        "nothing else",
    ):
        assert said in made.out
    fingerprint = re.search(r"fingerprint \(SHA-256\) ((?:[0-9A-F]{2}:){31}[0-9A-F]{2})\n", made.out).group(1)
    der = ssl.PEM_cert_to_DER_cert((tmp_path / "certs" / "authority.crt").read_text())
    assert hashlib.sha256(der).hexdigest().upper() == fingerprint.replace(":", "")
    assert boleward("certs", "--show").out == made.out
    again = boleward("certs").out
    assert fingerprint in again
