"""Bringing in, from the command line, a file that a phone saved."""

import json
from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from service.errors import InvalidRequest
from service.field_records import Outcome
from service.intake.phone_file import read_phone_file, take_phone_file

_SAID: dict[Outcome, str] = {
    "taken": "taken",
    "already there": "already there",
    "questioned": "taken, please check",
    "set aside": "set aside until somebody says what was meant",
    "refused": "not taken in",
}


def phone_file_in(desk: Any, path: Path, site: str | None, dry_run: bool, as_json: bool) -> None:
    """Take a file in and print what became of its items.

    Raises
    ------
    InvalidRequest
        If it is of another ground than ``site``.
    """
    file = read_phone_file(path)
    if site is not None and site != file.site:
        raise InvalidRequest(f"This file is of the ground {file.site[:80]}. Bring it in there.")
    if dry_run:
        held = ", ".join(f"{count} {kind}" for kind, count in file.kinds().items())
        click.echo(f"Saved by a phone on {file.site}: {held or 'nothing'}. Nothing was taken.")
        return
    answers = take_phone_file(desk.store, file, desk.actor, site)
    if as_json:
        click.echo(json.dumps([asdict(answer) for answer in answers], ensure_ascii=False, indent=1))
        return
    counts = Counter(answer.outcome for answer in answers)
    told = ", ".join(f"{counts[name]} {words}" for name, words in _SAID.items() if counts[name])
    click.echo(f"{len(answers)} entries of a phone: {told or 'nothing'}.")
    for answer in answers:
        if answer.why:
            click.echo(f"  {answer.id}: {answer.outcome}. {answer.why}")
