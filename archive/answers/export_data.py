"""The documented views as Parquet files or one DuckDB file, for other tools: without what tells whose records they are.

What is left out, replaced and withheld is declared in schemas/export-data.toml.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from archive import schemas
from archive.answers.query_bounds import QueryBounds
from archive.answers.views import Query, views
from archive.atomic import atomic_write, require_empty
from archive.errors import Trouble
from archive.store import Archive, disposed

_FILE = "export-data.toml"
_BY_JOB = ("records", "links", "jobs")
_ROWS = 65_536


@dataclass(frozen=True)
class ExportedData:
    """What was written. rows: by view; withheld_jobs, withheld_links: of small jobs; left_out, replaced: columns;
    disposed: what was disposed of, and is in none of it, "" where nothing was."""

    rows: dict[str, int]
    withheld_jobs: int
    withheld_links: int
    left_out: list[str]
    replaced: list[str]
    disposed: str = ""

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        return {
            "rows": self.rows,
            "withheld": {"jobs": self.withheld_jobs, "links": self.withheld_links},
            "left_out": self.left_out,
            "replaced": self.replaced,
            **({"disposed": self.disposed} if self.disposed else {}),
        }


def kinds() -> dict[str, str]:
    """What can be included, with its meaning."""
    return {name: told["meaning"] for name, told in schemas.load(_FILE)["kinds"].items()}


def export_data(
    archive: Archive,
    out: Path,
    include: Collection[str] = (),
    *,
    least_links: int | None = None,
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> ExportedData:
    """Writes the views into a new folder of Parquet files with schema.json, or into a file ending in .duckdb.

    include: kinds of columns (see kinds) that are written as they are. least_links: jobs with fewer links are left out;
    by default as schemas/export-data.toml says; 1 keeps all. The output appears whole or not at all.
    Errors: Trouble for an unknown kind, where out is not empty, or the archive is damaged.
    """
    declared = schemas.load(_FILE)
    unknown = sorted(set(include) - set(declared["kinds"]))
    if unknown:
        raise Trouble(
            "no such kind of columns",
            code="export-data.unknown-kind",
            found=", ".join(unknown),
            expected=", ".join(declared["kinds"]),
        )
    single = out.suffix == ".duckdb"
    if single and out.exists():
        raise Trouble("the file is there", code="export-data.exists", where=str(out), remedy="name another file")
    if not single:
        require_empty(out)
    hidden = [k for n, k in declared["kinds"].items() if n not in include]
    left_out = {c for k in hidden for c in k.get("columns", ())}
    replaced = {c for k in hidden for c in k.get("pseudonyms", ())}
    least = declared["least_links"] if least_links is None else least_links
    asked = _Asked(archive, left_out, replaced, least, watch)
    with atomic_write(out) as path:
        made = _to_duckdb(asked, path) if single else _to_folder(asked, path)
    jobs, links = asked.withheld()
    every = {c for name in declared["views"] for c in views()[name]["columns"]}
    return ExportedData(made, jobs, links, sorted(left_out & every), sorted(replaced & every), asked.disposed)


class _Asked:
    """The queries of an export."""

    def __init__(
        self,
        archive: Archive,
        left_out: Collection[str],
        replaced: Collection[str],
        least: int,
        watch: Callable[[Iterable[int]], Iterable[int]],
    ) -> None:
        self._archive, self._watch, self._least = archive, watch, least
        self._left_out, self._replaced = left_out, replaced
        archive.catch_up()
        self.disposed = disposed.count(archive.db)
        self._salt = secrets.token_hex(16)  # of this export alone, so that two exports cannot be joined

    def names(self) -> list[str]:
        """Views that are written."""
        return list(schemas.load(_FILE)["views"])

    def columns(self, view: str) -> dict[str, str]:
        """Columns of a view that are written, with their meanings."""
        found = {c: m for c, m in views()[view]["columns"].items() if c not in self._left_out}
        return {c: f"{m}; replaced by a word of this export" if c in self._replaced else m for c, m in found.items()}

    def open(self, view: str) -> Query:
        """The query of a view."""
        listed = ", ".join(
            f"""'{c[:1]}-' || substr(md5('{self._salt}' || "{c}"), 1, 12) AS "{c}" """
            if c in self._replaced
            else f'"{c}"'
            for c in self.columns(view)
        )
        kept = f"SELECT coalesce(job_id, '') FROM links GROUP BY coalesce(job_id, '') HAVING count(*) >= {self._least}"
        if view in _BY_JOB:
            return self._query(f"SELECT {listed} FROM {view} WHERE coalesce(job_id, '') IN ({kept})")
        own = ", ".join(f"v.{c.strip()}" for c in listed.split(","))
        return self._query(
            f"SELECT {own} FROM {view} v SEMI JOIN (SELECT deposit, position FROM records WHERE "
            f"coalesce(job_id, '') IN ({kept})) k ON k.deposit = v.deposit AND k.position = v.position"
        )

    def withheld(self) -> tuple[int, int]:
        """Jobs and links that are left out because they are few."""
        sql = (
            "SELECT count(*), coalesce(sum(n), 0) FROM (SELECT count(*) AS n FROM links GROUP BY coalesce(job_id, '') "
            f"HAVING count(*) < {self._least})"
        )
        with self._query(sql) as query:
            ((jobs, links),) = query.rows()
        return int(jobs), int(links)

    def _query(self, sql: str) -> Query:
        return Query(self._archive, sql, watch=self._watch, bounds=QueryBounds(seconds=3600.0))


def _batches(query: Query, meanings: dict[str, str]) -> tuple[Any, Any]:
    """The schema with the meaning of each column, and the batches."""
    reader = query.arrow()
    types = [
        pa.field(f.name, pa.string() if pa.types.is_null(f.type) else f.type, metadata={"meaning": meanings[f.name]})
        for f in reader.schema
    ]
    return pa.schema(types), reader


def _to_folder(asked: _Asked, folder: Path) -> dict[str, int]:
    folder.mkdir()
    rows, told = {}, {}
    for view in asked.names():
        meanings = asked.columns(view)
        with asked.open(view) as query, query.told():
            schema, reader = _batches(query, meanings)
            rows[view] = 0
            with pq.ParquetWriter(folder / f"{view}.parquet", schema, compression="zstd") as writer:
                for batch in reader:
                    writer.write_table(pa.Table.from_batches([batch]).cast(schema))
                    rows[view] += batch.num_rows
        columns = {f.name: {"type": str(f.type), "meaning": meanings[f.name]} for f in schema}
        told[view] = {"meaning": views()[view]["meaning"], "rows": rows[view], "columns": columns}
    notes = {"notes": [asked.disposed]} if asked.disposed else {}
    text = json.dumps({**notes, "views": told}, indent=1, ensure_ascii=False) + "\n"
    (folder / "schema.json").write_text(text, encoding="utf-8", newline="\n")
    return rows


def _to_duckdb(asked: _Asked, path: Path) -> dict[str, int]:
    import duckdb

    rows = {}
    db = duckdb.connect(str(path))
    try:
        for view in asked.names():
            meanings = asked.columns(view)
            with asked.open(view) as query, query.told():
                schema, reader = _batches(query, meanings)
                db.register("handed_over", pa.Table.from_batches(list(reader), reader.schema).cast(schema))
                db.execute(f'CREATE TABLE "{view}" AS SELECT * FROM handed_over')
                db.unregister("handed_over")
            rows[view] = db.execute(f'SELECT count(*) FROM "{view}"').fetchall()[0][0]
            meaning = " ".join(filter(None, (views()[view]["meaning"], asked.disposed and f"Note: {asked.disposed}.")))
            db.execute(f"COMMENT ON TABLE \"{view}\" IS '{_quoted(meaning)}'")
            for column, meaning in meanings.items():
                db.execute(f'COMMENT ON COLUMN "{view}"."{column}" IS \'{_quoted(meaning)}\'')
    finally:
        db.close()
    return rows


def _quoted(text: str) -> str:
    return text.replace("'", "''")
