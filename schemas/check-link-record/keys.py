"""Keys that a document gives and names, on disk where they are many: memory stays bounded."""

import sqlite3

# A person may be taken out and every proof still stands; a job is named as found and need not have a row.
MAY_BE_ABSENT = ("people", "jobs")


class Keys:
    """Keys of the tables in one document, with the points of each axis."""

    def __init__(self):
        self._base = sqlite3.connect("", isolation_level=None)
        for table in ("given", "named"):
            self._base.execute(f"CREATE TABLE {table}(name, key, note, PRIMARY KEY(name, key)) WITHOUT ROWID")
        self._base.execute("BEGIN")

    def give(self, name, key, note=None):
        """A row of the table `name` has this key. False where one stood before it."""
        return self._base.execute("INSERT OR IGNORE INTO given VALUES(?, ?, ?)", (name, key, note)).rowcount == 1

    def note(self, name, key):
        """The note of a key as a tuple, None where it was not given."""
        return self._base.execute("SELECT note FROM given WHERE name = ? AND key = ?", (name, key)).fetchone()

    def name(self, name, key, place):
        """A row at this place names a key of the table `name`."""
        self._base.execute("INSERT OR IGNORE INTO named VALUES(?, ?, ?)", (name, key, place))

    def missing(self):
        """Keys that were named and never given: table, key, first place."""
        return self._base.execute(
            "SELECT name, key, note FROM named AS n WHERE NOT EXISTS"
            " (SELECT 1 FROM given AS g WHERE g.name = n.name AND g.key = n.key)"
        )

    def close(self):
        """Gives the space back."""
        self._base.close()
