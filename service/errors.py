"""What can go wrong, as facts; only web/problems and cli/main turn them into answers.

ServiceError
    InvalidRequest      something sent or given is not usable; carries every fault
        Unreadable      a file cannot be read as what it claims to be
        Ask             two readings of a file are about equally likely; carries the option and its choices
    NotFound            kind, id
    Conflict            a record is known with other content
        StaleVersion    a change was made on an older version
        ImportRunning   another import into the site is under way
        OtherHistory    what is said to be known of a site is not of this site, or not of this store
        HereAlready     a snapshot of a ground that is here
    NotPermitted        the actor has no right to this
    NotAWord            no team comes in with this word
    WordEnded           a phone's word has ended, or the phone never came in
    TooOften            something was tried too often; carries how long to wait
    NotAcceptable       no format that was asked for can be given
    StoreUnavailable    the store cannot be opened or written
        StoreTooNew     the store was written by a newer version
"""

from collections.abc import Sequence
from typing import Any


class ServiceError(Exception):
    """Base of what the service answers with a sentence."""


class InvalidRequest(ServiceError):
    """Something sent or given is not usable; ``faults`` is a list of (where, message)."""

    def __init__(self, faults: str | Sequence[tuple[str, str]]) -> None:
        self.faults: list[tuple[str, str]] = [("", faults)] if isinstance(faults, str) else list(faults)
        super().__init__(
            " ".join(f"{where}: {message}" if where else message for where, message in self.faults)
        )


class Unreadable(InvalidRequest):
    """A file cannot be read as what it claims to be."""


class Ask(InvalidRequest):
    """Two readings of a file are about equally likely: ``option`` settles it, by one of ``choices``."""

    def __init__(self, option: str, choices: Sequence[str], because: str) -> None:
        self.option = option
        self.choices = list(choices)
        self.because = because
        super().__init__(f"{because} Say which with {option}, one of: {', '.join(choices)}.")


class NotFound(ServiceError):
    """There is no such record; ``kind`` and ``id``."""

    def __init__(self, kind: str, id: str) -> None:
        self.kind = kind
        self.id = id
        super().__init__(f"There is no {kind} {id!r}.")


class Conflict(ServiceError):
    """A record is known with other content; both are shown."""

    def __init__(self, kind: str, id: str, sent: Any, known: Any) -> None:
        self.kind = kind
        self.id = id
        self.sent = sent
        self.known = known
        super().__init__(f"The {kind} {id} is known with other content; nothing was changed.")


class StaleVersion(Conflict):
    """A change was made on an older version; ``sent`` and ``known`` are both contents."""


class ImportRunning(Conflict):
    """Another import into the site is under way."""

    def __init__(self, file_name: str) -> None:
        super().__init__("import", file_name, None, None)
        self.args = (
            f"An import of {file_name} into this site is under way. Wait until it has ended, then try again.",
        )


class OtherHistory(Conflict):
    """What a copy says that it knows of a site is not what happened here; the copy has to be made anew."""

    def __init__(self, slug: str, since: int, last: int) -> None:
        super().__init__("site", slug, {"since": since}, {"last": last})
        self.args = (
            f"The copy knows change {since} of {slug} otherwise than it happened here, where the last one is "
            f"{last}. Throw the copy away and read anew with since=0.",
        )


class HereAlready(Conflict):
    """A snapshot of a ground that is in the store, or whose short name is taken."""

    def __init__(self, slug: str, why: str) -> None:
        super().__init__("site", slug, None, None)
        self.args = (why,)


class NotPermitted(ServiceError):
    """The actor has no right to this; ``right`` names it."""

    def __init__(self, right: str) -> None:
        self.right = right
        super().__init__(f"This needs the right to {right}.")


class NotAWord(ServiceError):
    """No team comes in with this word: there is no such one, or it has ended."""


class WordEnded(ServiceError):
    """The word with which a phone came in has ended, or the phone never came in."""


class TooOften(ServiceError):
    """Something was tried too often; ``seconds`` is how long to wait [s]."""

    def __init__(
        self, seconds: float, message: str = "This was tried too often. Wait, then try again."
    ) -> None:
        self.seconds = seconds
        super().__init__(message)


class NotAcceptable(ServiceError):
    """No format that was asked for can be given; ``offered`` lists those that can."""

    def __init__(self, offered: Sequence[str]) -> None:
        self.offered = list(offered)
        super().__init__(f"Only these can be given: {', '.join(offered)}.")


class StoreUnavailable(ServiceError):
    """The store cannot be opened or written; the message says what to do."""


class StoreTooNew(StoreUnavailable):
    """The store was written by a newer version of this program."""
