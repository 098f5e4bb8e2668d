"""Migration 4: who may reach the grove over the network, and the codes with which a device is let in once."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Connection, Integer, MetaData, Table, Text

from api.store import geopackage
from api.store.times import UTCTime

NUMBER = 4
WHAT = "devices that may reach the grove"

_ROLES = "role IN ('owner', 'helper', 'viewer')"


def define(metadata: MetaData) -> list[Table]:
    """Add the tables of this migration to the definitions.

    Neither is part of the history: an undo must never let a device in again that was shut out.
    """
    device = Table(
        "device",
        metadata,
        Column("id", Integer, primary_key=True),
        Column("uuid", Text, nullable=False, unique=True),
        Column("name", Text, nullable=False),
        Column("role", Text, CheckConstraint(_ROLES), nullable=False),
        Column("token_sha256", Text, nullable=False, unique=True),
        Column("paired", UTCTime, nullable=False),
        Column("revoked", UTCTime),
        comment="Devices that may reach the grove over the network; of their tokens only the SHA-256 is kept",
    )
    invitation = Table(
        "invitation",
        metadata,
        Column("id", Integer, primary_key=True),
        Column("code_sha256", Text, nullable=False, unique=True),
        Column("role", Text, CheckConstraint(_ROLES), nullable=False),
        Column("expires", UTCTime, nullable=False),
        comment="Pairing codes that were not used yet, hashed",
    )
    return [device, invitation]


def upgrade(connection: Connection, srs_id: int) -> None:
    """Make the tables in a file of migration 3."""
    for table in define(MetaData()):
        table.create(connection, checkfirst=False)
        geopackage.register(connection, table, srs_id)
