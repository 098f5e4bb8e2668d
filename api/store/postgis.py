"""The tables of a grove in PostgreSQL: what they need beyond their definition, and who may edit them how.

The counterpart of `geopackage` and of the triggers of `outside`: the migrations call those, and they come here when the
connection is one to PostgreSQL.
"""

from __future__ import annotations

from sqlalchemy import Connection, Table, Text, text

from api.store.geometry import Geometry

# The search path is kept with the function: whoever edits the table need not know of the grove's schema
_MARK_FUNCTION = """
CREATE OR REPLACE FUNCTION mark_outside_edit() RETURNS trigger LANGUAGE plpgsql SET search_path FROM CURRENT AS $body$
BEGIN
  IF (SELECT writing FROM own_write WHERE id = 1) = 0 THEN
    INSERT INTO outside_edit (table_name, row_uuid, edit, at)
    VALUES (TG_TABLE_NAME, CASE WHEN TG_OP = 'INSERT' THEN NEW.uuid ELSE OLD.uuid END, lower(TG_OP),
            date_trunc('milliseconds', clock_timestamp()));
  END IF;
  RETURN NULL;
END $body$
"""
_MARK = """
CREATE TRIGGER outside_{table} AFTER INSERT OR UPDATE OR DELETE ON "{table}"
FOR EACH ROW EXECUTE FUNCTION mark_outside_edit()
"""
_REFUSE_FUNCTION = """
CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql SET search_path FROM CURRENT AS $body$
BEGIN
  IF {when} THEN
    RAISE EXCEPTION USING MESSAGE = '{why}', ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN {row};
END $body$
"""


def settle(connection: Connection, table: Table, srs_id: int) -> None:
    """Give a new table what its definition can't say: the CRS of its shapes, their index, and one order of letters.

    Texts are compared letter by letter (collation "C"), as SQLite does: both stores list blocks in the same order.
    """
    changes = []
    for column in table.columns:
        if isinstance(column.type, Geometry):
            changes.append(f'ALTER COLUMN "{column.name}" TYPE geometry({column.type.kind}, {srs_id})')
        elif isinstance(column.type, Text):
            changes.append(f'ALTER COLUMN "{column.name}" TYPE text COLLATE "C"')
    if changes:
        connection.execute(text(f'ALTER TABLE "{table.name}" {", ".join(changes)}'))
    for column in table.columns:
        if isinstance(column.type, Geometry):
            connection.execute(
                text(f'CREATE INDEX "{table.name}_{column.name}" ON "{table.name}" USING gist ("{column.name}")')
            )


def watch(connection: Connection, table: str) -> None:
    """Mark every edit of a table that was not made by gridmap."""
    connection.execute(text(_MARK_FUNCTION))
    connection.execute(text(_MARK.format(table=table)))


def refuse(connection: Connection, name: str, moment: str, when: str, why: str) -> None:
    """Refuse an edit, whichever program asks for it; ``moment`` and ``when`` as SQLite's triggers have them."""
    row = "OLD" if moment.startswith("BEFORE DELETE") else "NEW"
    connection.execute(text(_REFUSE_FUNCTION.format(name=name, when=when, why=why, row=row)))
    connection.execute(text(f"CREATE TRIGGER {name} {moment} FOR EACH ROW EXECUTE FUNCTION {name}()"))


def count_on(connection: Connection, table: Table) -> None:
    """Let the numbers of new rows go on from the last one, after rows came in with their numbers."""
    if "id" in table.columns and table.columns["id"].autoincrement is not False:
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('\"{table.name}\"', 'id'), max(id)) FROM \"{table.name}\" "
                "HAVING max(id) IS NOT NULL"
            )
        )
