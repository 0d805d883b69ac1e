"""The tables of measuring with phones: who may come in, pictures, and what waits for a person."""

import sqlalchemy as sa
from sqlalchemy import Column, Index, Table

from service.store.table_kinds import (
    Text,
    Whole,
    appended,
    fid_column,
    metadata,
    record,
    site_column,
    versioned,
)

crew_word = Table(  # who may come in with a word; no record: it leaves in no copy of a site
    "crew_word",
    metadata,
    fid_column(),
    site_column(),
    Column("crew_id", Text, nullable=False, unique=True),
    Column("salt", Text, nullable=False),
    Column("word_hash", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("ends_at", Text, nullable=False),
    Index("ix_crew_word_site_id", "site_id"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)

crew_token = Table(  # a phone that came in with a word; no record either
    "crew_token",
    metadata,
    fid_column(),
    site_column(),
    Column("crew_id", Text, nullable=False),
    Column("token_hash", Text, nullable=False, unique=True),
    Column("phone", Text, nullable=False),  # a UUID that the phone made for itself
    Column("made_at", Text, nullable=False),
    Column("ends_at", Text, nullable=False),
    Column("last_seen_at", Text),
    Index("ix_crew_token_site_id", "site_id"),
    Index("ix_crew_token_crew_id", "crew_id"),
    sqlite_strict=True,
    sqlite_autoincrement=True,
)

photo = appended(  # that a picture belongs somewhere; it may be said before or after the picture comes
    "photo",
    Column("photo_id", Text, nullable=False),
    Column("subject", Text, nullable=False),  # reading | tree | danger | observation
    Column("subject_id", Text, nullable=False),
    Column("kind", Text, nullable=False),  # tape | leaf | tree | danger | other
    Column("taken_at", Text),
    Column("crew", Text),
    Column("crew_kind", Text),
    Column("round_id", Text),
    Index("ix_photo_site_id", "site_id"),
    Index("ix_photo_photo_id", "photo_id"),
    Index("ix_photo_subject_id", "subject_id"),
)

picture = record(  # the picture itself, by the id that the phone gave it
    "picture",
    Column("sent_hash", Text, nullable=False),  # SHA-256 of what was sent: the same comes in once
    Column("file_hash", Text, nullable=False),  # of what is kept in the box of files
    Column("media_type", Text, nullable=False),
    Column("bytes", Whole, nullable=False),
    Column("width_px", sa.Integer, nullable=False),
    Column("height_px", sa.Integer, nullable=False),
    Column("received_at", Text, nullable=False),
    Column("actor", Text, nullable=False),
    Index("ix_picture_site_id", "site_id"),
)

set_aside = versioned(  # what came from a phone and waits for a person; its id is that of what was sent
    "set_aside",
    Column("kind", Text, nullable=False),  # reading | observation | status | danger | tree ...
    Column("content", Text, nullable=False),  # JSON: as it was sent
    Column("why", Text, nullable=False),  # why it waits, a sentence
    Column("sent_format", sa.Integer, nullable=False),
    Column("crew", Text),
    Column("crew_kind", Text),
    Column("round_id", Text),
    Column("recorded_at", Text),  # as the phone said
    Column("received_at", Text, nullable=False),
    Column("actor", Text, nullable=False),
    Column("settled", Text),  # null | taken | dropped
    Column("settled_why", Text),
    Column("settled_on", Text),
    Column("became", Text),  # id of the record that it became
    Index("ix_set_aside_site_id", "site_id"),
)
