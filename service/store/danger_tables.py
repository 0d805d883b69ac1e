"""The tables of what endangers people: dangers reported and answered, what is closed, hazards."""

from sqlalchemy import Column, Index

from service.store.table_kinds import Blob, Flag, Real, Text, appended, versioned

danger_report = appended(
    "danger_report",
    Column("sight", Text, nullable=False),  # one of the six of layers/sights.py
    Column("tree_id", Text),  # null where no tree is known: then a place in words or a position
    Column("place", Text),
    Column("lon_deg", Real),
    Column("lat_deg", Real),
    Column("x_m", Real),
    Column("y_m", Real),
    Column("text", Text),
    Column("seen_on", Text),
    Column("crew", Text),
    Column("crew_kind", Text),
    Column("round_id", Text),
    Column("leader_did", Text),  # JSON list: moved away | area closed | called
    Column("leader_called", Text),  # whom
    Column("leader_at", Text),  # when that was done
    Index("ix_danger_report_site_id", "site_id"),
)

danger_answer = appended(
    "danger_answer",
    Column("report_id", Text, nullable=False),  # of a danger report, or of an observation of such a sight
    Column("did", Text, nullable=False),
    Column("organisation", Text, nullable=False),
    Column("qualification", Text),
    Column("answered_on", Text, nullable=False),
    Column("closure_id", Text),
    Index("ix_danger_answer_site_id", "site_id"),
)

closure = versioned(
    "closure",
    Column("name", Text, nullable=False),  # what is closed, in words
    Column("tree_id", Text),  # a circle round this tree
    Column("radius_m", Real),
    Column("wkb", Blob),  # an outline, or the middle of a circle
    Column("from_on", Text, nullable=False),
    Column("to_on", Text),  # null: until somebody reopens it
    Column("why", Text, nullable=False),
    Column("how_marked", Text),
    Column("who_may_reopen", Text, nullable=False),
    Column("reopened_on", Text),
    Column("reopened_because", Text),
    Column("reopened_by", Text),
    Index("ix_closure_site_id", "site_id"),
)

hazard = versioned(
    "hazard",
    Column("kind", Text, nullable=False),  # overhead line | road | water | steep ground | fence | insects ...
    Column("wkb", Blob, nullable=False),
    Column("note", Text),
    Column("voltage_kv", Real),  # of an overhead line, null where not known
    Column("barrier", Flag, nullable=False, default=0),  # nobody who measures crosses it
    Column("valid_from", Text),
    Column("valid_to", Text),
    Index("ix_hazard_site_id", "site_id"),
)
