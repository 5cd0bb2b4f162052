"""Migrations: the tables they build, and what a failing one leaves behind (nothing)."""

import shutil
import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa

from lotqa.errors import LedgerError
from lotqa.ledger import Ledger, schema, upgrade
from lotqa.ledger.migrations import HEAD, REVISIONS

FURTHER = f"lotqa_{len(REVISIONS) + 1:04d}"
NEXT = """
from alembic import op

revision = "{further}"
down_revision = "{before}"


def upgrade():
    op.execute("CREATE TABLE shelf (id INTEGER)")
    op.execute("INSERT INTO shelf VALUES (1)")
    op.execute("{last}")
"""
GOOD = NEXT.format(further=FURTHER, before=HEAD, last="INSERT INTO shelf VALUES (2)")
BAD = NEXT.format(further=FURTHER, before=HEAD, last="INSERT INTO nowhere VALUES (2)")


@pytest.fixture
def planted(tmp_path, monkeypatch):
    """Put one more migration behind the last."""
    folder = tmp_path / "migrations 100%"
    shutil.copytree(
        Path(upgrade.__file__).parent / "migrations",
        folder,
        ignore=shutil.ignore_patterns("__pycache__"),
    )

    def plant(text: str) -> None:
        (folder / "versions" / f"{FURTHER}_planted.py").write_text(text)
        monkeypatch.setattr(upgrade, "migration_folder", lambda: folder)
        monkeypatch.setattr(upgrade, "REVISIONS", (*REVISIONS, FURTHER))
        monkeypatch.setattr(upgrade, "HEAD", FURTHER)

    return plant


def state(location: str) -> tuple[list[str], list[str]]:
    connection = sqlite3.connect(location)
    names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master ORDER BY name")]
    versions = []
    if "alembic_version" in names:
        versions = [row[0] for row in connection.execute("SELECT * FROM alembic_version")]
    connection.close()
    return names, versions


def test_the_migrations_build_the_tables_that_the_queries_expect(ledger):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with ledger._reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, schema.metadata) == []
        more = sa.MetaData()
        for table in schema.metadata.sorted_tables:
            table.to_metadata(more)
        more.tables["reading"].append_column(sa.Column("planted", sa.Integer))
        assert len(compare_metadata(context, more)) == 1  # a difference would be seen


def test_keys_nullability_and_order_of_columns_agree_as_well(ledger, tmp_path):
    """Alembic's comparison does not look at these: compare with tables built from the schema."""
    direct = sa.create_engine(f"sqlite:///{tmp_path / 'direct.sqlite'}")
    schema.metadata.create_all(direct)

    def shape(connection):
        wanted = ("table_info", "index_list", "foreign_key_list")
        return {
            (table, pragma): sorted(
                row[1:] for row in connection.exec_driver_sql(f"PRAGMA {pragma}({table})")
            )
            for table in schema.metadata.tables
            for pragma in wanted
        }

    with ledger._reading() as migrated, direct.connect() as built:
        assert shape(migrated) == shape(built)
    direct.dispose()


def test_every_revision_is_known_by_name_and_in_order():
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(upgrade.migration_folder()))
    scripts = ScriptDirectory.from_config(config)
    assert scripts.get_heads() == [HEAD]
    assert tuple(script.revision for script in scripts.walk_revisions())[::-1] == REVISIONS
    assert all(name.startswith("lotqa_") and len(name) <= 32 for name in REVISIONS)


def test_an_older_ledger_is_brought_up_to_date_with_its_rows(location, delivery, planted):
    with Ledger.open(location) as ledger:
        delivery.entered_in(ledger)
    planted(GOOD)
    with Ledger.open(location) as ledger:
        assert len(ledger.lots()) == 1
    names, versions = state(location)
    assert versions == [FURTHER]
    assert "shelf" in names


def test_a_failing_migration_leaves_an_older_ledger_as_it_was(location, delivery, planted):
    with Ledger.open(location) as ledger:
        delivery.entered_in(ledger)
    before = state(location)
    planted(BAD)
    with pytest.raises(LedgerError) as caught:
        Ledger.open(location)
    assert str(caught.value) == (
        f"ledger {location}: the database refused (no such table: nowhere): nothing was changed"
    )
    assert state(location) == before
    assert before[1] == [HEAD]


def test_a_failing_migration_leaves_nothing_of_a_new_ledger(location, planted):
    planted(BAD)
    with pytest.raises(LedgerError):
        Ledger.open(location)
    assert state(location) == ([], [])
    planted(GOOD)
    Ledger.open(location).close()
    assert state(location)[1] == [FURTHER]


def test_an_older_lotqa_refuses_what_the_newer_one_migrated(location, planted, monkeypatch):
    planted(GOOD)
    Ledger.open(location).close()
    monkeypatch.undo()
    with pytest.raises(LedgerError, match=f"its shape is {FURTHER}"):
        Ledger.open(location)
