"""What another program edits in a grove is marked by triggers of plain SQL, to be shown as a change."""

from __future__ import annotations

from sqlalchemy import Connection, text

from api.store import postgis

_MARK = """
CREATE TRIGGER outside_{table}_{edit} AFTER {edit} ON "{table}" WHEN (SELECT writing FROM own_write WHERE id = 1) = 0
BEGIN
  INSERT INTO outside_edit (table_name, row_uuid, edit, at)
  VALUES ('{table}', {side}.uuid, '{edit}', strftime('%Y-%m-%dT%H:%M:%fZ', 'now'));
END
"""


def watch(connection: Connection, table: str) -> None:
    """Mark every edit of a table that was not made by gridmap, and keep its UUIDs for life.

    Notes
    -----
    A write of gridmap sets ``own_write.writing`` to 1 inside its transaction, which no other connection ever sees.
    """
    if connection.dialect.name == "sqlite":
        for edit, side in (("insert", "NEW"), ("update", "OLD"), ("delete", "OLD")):
            connection.execute(text(_MARK.format(table=table, edit=edit, side=side)))
    else:
        postgis.watch(connection, table)
    refuse(
        connection, f"uuid_{table}", f'BEFORE UPDATE OF uuid ON "{table}"', "OLD.uuid <> NEW.uuid", "a uuid is for life"
    )


def refuse(connection: Connection, name: str, moment: str, when: str, why: str) -> None:
    """Refuse an edit, whichever program asks for it."""
    if connection.dialect.name == "sqlite":
        connection.execute(text(f"CREATE TRIGGER {name} {moment} WHEN {when} BEGIN SELECT RAISE(ABORT, '{why}'); END"))
    else:
        postgis.refuse(connection, name, moment, when, why)
