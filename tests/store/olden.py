"""State files as earlier versions wrote them, with a few rows in every table."""

import sqlite3

from dryspell.store.schema import APPLICATION_ID, MIGRATIONS

ROWS = 4
# What a column holds that is not free, by its name: the same in every row, or row by row.
HELD = {
    "undone_at": (None, 900, None, 901),
    "delivered_at": (None, 900, None, None),
    "dropped_at": (None, None, 901, 902),
    "last_error": ("", "", "overtaken by events", "the window is over"),
    "spoilt": ("", "", "dew", ""),
    "reason": (None, None, None, None),
    "met": (None, None, None, None),
    "advice": (None, None, None, None),
    "successor": (None, None, None, None),
    "away_at": (None, None, 800, None),
}


def write_old(path, version):
    """Make a file of that version, by the migrations up to it, and return what its tables hold."""
    path.parent.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = WAL")
    for migration in MIGRATIONS[:version]:
        for statement in migration:
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {version}")
    for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        columns = [(name, kind) for _, name, kind, *_ in connection.execute(f"PRAGMA table_info({table})")]
        marks = ", ".join("?" * len(columns))
        connection.executemany(
            f"INSERT INTO {table} VALUES ({marks})",
            [[value(name, kind, row) for name, kind in columns] for row in range(ROWS)],
        )
    connection.commit()
    held = content(connection)
    connection.close()
    return held


def value(name, kind, row):
    if name in HELD:
        return HELD[name][row]
    if name == "id" or kind == "INTEGER":
        return row + 1 if kind == "INTEGER" else f"{name} {row + 1}"
    # What refers to a notice or an id goes by the same names.
    text = f"id {row + 1}" if name == "notice" else f"{name} {row + 1}"
    return {"TEXT": text, "REAL": row + 0.5, "BLOB": bytes([row, 255])}[kind]


def content(connection):
    """Return the rows of every table, by the names of its columns."""
    found = {}
    for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name").fetchall():
        asked = connection.execute(f"SELECT * FROM {table} ORDER BY 1, 2")
        names = [column[0] for column in asked.description]
        found[table] = [dict(zip(names, row, strict=True)) for row in asked.fetchall()]
    return found


def content_of(path):
    connection = sqlite3.connect(path)
    try:
        return content(connection)
    finally:
        connection.close()
