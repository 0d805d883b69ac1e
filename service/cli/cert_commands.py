"""The command that makes certificates for phones on the local network, and says for whom they are."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from service.certificates import SERVER, Certificate, authority_in, make_certificates, server_in
from service.errors import NotFound

FOR_WHOM = """\
For whom: only phones and tablets that you manage, such as those of the school. Never ask pupils or
volunteers to put it on their own: a device that has it believes whoever holds the key of the authority,
though only for the names above. The key stays in this folder, for your user alone; do not copy it, send it
or put it into a backup that others read. Were it ever lost or copied: take the authority off every device.

Compare the fingerprint on each device before you say yes to it.

Android: copy authority.crt to the device; Settings, Security, Encryption and credentials, Install a
certificate, CA certificate. Off again: the same place, User credentials.
iPhone and iPad: send authority.crt to the device (cable or mail) and open it; Settings, Profile Downloaded,
Install; then Settings, General, About, Certificate Trust Settings: switch on full trust for it. Off again:
Settings, General, VPN and Device Management, the profile, Remove.
Where devices are managed by a program, give it authority.crt and take it back there.
(The steps on devices are written from memory and were not tried; menus differ between versions.)"""


@click.command("certs")
@click.option(
    "--name",
    "names",
    multiple=True,
    help="What phones call this computer: a whole name or a number (IPv4). Give it once for each.",
)
@click.option("--new-authority", is_flag=True, help="Make the authority anew; phones need the new one then.")
@click.option("--show", is_flag=True, help="Only show what is there.")
@click.pass_obj
def certs(desk: Any, names: tuple[str, ...], new_authority: bool, show: bool) -> None:
    """Make the certificates with which phones in the yard reach this computer by https.

    An authority of your own is made once and put on the phones that you manage; it speaks for the names that
    you give and for nothing else, and ends after 400 days at most. The server's certificate ends after 90
    days: give the same command without --name again, nothing changes on the phones. Then start with
    'boleward serve --https --host 192.168.1.20'.
    """
    folder = desk.settings.data_folder / "certs"
    if show:
        authority, server = _there(folder)
    else:
        authority, server = make_certificates(folder, names, datetime.now(UTC), new_authority)
    for line in _lines(authority, server):
        click.echo(line)
    click.echo(f"\n{FOR_WHOM}")


def _there(folder: Path) -> tuple[Certificate, Certificate]:
    authority = authority_in(folder)
    if authority is None:
        raise NotFound("authority in", str(folder))
    return authority, server_in(folder / SERVER)


def _lines(authority: Certificate, server: Certificate) -> list[str]:
    return [
        f"Authority, for phones: {authority.path}",
        f"  speaks for {', '.join(authority.names)} and for nothing else, until {authority.ends_at:%Y-%m-%d}",
        f"  fingerprint (SHA-256) {authority.fingerprint}",
        f"Certificate of the server: {server.path}",
        f"  until {server.ends_at:%Y-%m-%d}; give 'boleward certs' again before that day",
    ]


COMMANDS = (certs,)
