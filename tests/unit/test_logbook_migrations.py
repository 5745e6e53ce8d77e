"""The steps of the tables: they end where the code expects, from every earlier step, with everything kept."""

from __future__ import annotations

import json

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from logbooks import BOAT, SHEET, add, everything
from sqlalchemy import MetaData, insert

from telemetry.logbook import Logbook, open_logbook, schema
from telemetry.logbook.migrations import HEAD, VERSION_TABLE
from telemetry.logbook.restore import count_on
from telemetry.logbook.tables import Base

LATER = {"founds", "services", "services_done", "corrections"}  # tables that the first step did not have


def differences(logbook: Logbook) -> list[object]:
    """What would have to change for the database to be what the code says it is."""
    with logbook._reading() as session:
        context = MigrationContext.configure(
            session.connection(), opts={"version_table": VERSION_TABLE, "compare_type": True}
        )
        return list(compare_metadata(context, Base.metadata))


def test_the_last_step_is_the_one_that_opens_without_alembic() -> None:
    assert schema.steps()[-1] == HEAD


def test_a_new_logbook_has_the_tables_that_the_code_says(logbook: Logbook) -> None:
    assert differences(logbook) == []


def test_the_comparison_would_see_a_difference(logbook: Logbook) -> None:
    with logbook._writing() as session:
        session.connection().exec_driver_sql("ALTER TABLE boats ADD COLUMN colour TEXT")
        session.connection().exec_driver_sql("DROP INDEX ix_outings_best_peak_mps")
    assert len(differences(logbook)) == 2


def at_step(logbook: Logbook, revision: str) -> None:
    """Make the tables as they were at a step, with the same rows as far as they went."""
    rows = {}
    with logbook._writing() as session:
        connection = session.connection()
        for table in Base.metadata.sorted_tables:
            rows[table.name] = [dict(row) for row in connection.execute(table.select()).mappings()]
        there = MetaData()
        there.reflect(connection)
        there.drop_all(connection)
        schema.bring_up(connection, "a test", revision)
        then = MetaData()
        then.reflect(connection)
        for table in Base.metadata.sorted_tables:
            if rows[table.name] and table.name in then.tables:
                columns = {c.name for c in then.tables[table.name].columns}
                kept = [{k: v for k, v in row.items() if k in columns} for row in rows[table.name]]
                connection.execute(insert(table), kept)
                count_on(connection, then.tables[table.name])


@pytest.mark.parametrize("revision", schema.steps())
def test_a_logbook_of_every_earlier_step_is_brought_up_with_all_it_holds(
    fleet: Logbook, logbook_url: str, revision: str
) -> None:
    outing = add(fleet).outing
    before = everything(fleet)
    at_step(fleet, revision)
    with open_logbook(logbook_url) as opened:
        assert differences(opened) == []
        after = everything(opened)
        for name, rows in before.items():
            if name not in LATER | {"outings"}:
                assert after[name] == rows
        assert opened.logs(outing.id) == fleet.logs(outing.id)
        assert opened.sheets(BOAT) == (SHEET,)
        add(opened, 1)
        assert opened.count_outings() == 2


def test_steps_are_taken_whole_or_not_at_all(
    fleet: Logbook, logbook_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_step(fleet, schema.steps()[0])
    upgrade = schema.command.upgrade

    def broken(*args: object) -> None:
        upgrade(*args)
        raise KeyboardInterrupt

    monkeypatch.setattr(schema.command, "upgrade", broken)
    with pytest.raises(KeyboardInterrupt):
        open_logbook(logbook_url)
    with fleet._reading() as session:
        assert schema.revision_of(session.connection()) == schema.steps()[0]
    monkeypatch.undo()
    with open_logbook(logbook_url) as opened:
        assert differences(opened) == []


def test_rows_hold_only_what_json_can_say(fleet: Logbook) -> None:
    add(fleet)
    for table in ("boats", "sheets", "analyses", "passes"):
        json.dumps(everything(fleet)[table], default=str, allow_nan=False)
