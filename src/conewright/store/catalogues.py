"""The catalogues of parts, as the store keeps them: every version of each."""

from __future__ import annotations

import hashlib
import zlib
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Row, Select, func, insert, select

from conewright.errors import BadInputError
from conewright.store import schema
from conewright.store.database import Database, Unreadable, row_of, rows_of
from conewright.store.errors import Clash, NotFound
from conewright.store.queries import LARGEST_NUMBER
from conewright.store.records import CatalogueNote, KeptCatalogue
from conewright.store.texts import one_line, slug

if TYPE_CHECKING:
    from conewright.catalogue.compiled import Compiled
    from conewright.catalogue.lists.part_rows import Catalogue

__all__ = ["CatalogueList"]

TRIES = 5
"""How often a number is asked for again that somebody else took meanwhile."""

_there = schema.catalogues.c
_NOTES = (
    _there.name,
    _there.number,
    _there.imported_at,
    _there.who,
    _there.source,
    _there.sha256,
    _there.parts,
)
_WHOLE = (*_NOTES, _there.map, _there.compiled_with, _there.text, _there.compiled)


class CatalogueList:
    """The part of a store that knows catalogues. A version that is there is never changed."""

    _database: Database

    def add_catalogue(
        self, name: str, catalogue: Catalogue, *, who: str, source: str, map_text: str = ""
    ) -> CatalogueNote:
        """Keep a catalogue as the next version of that name, unless the newest is just this one.

        Args:
            name: of the catalogue, made a short name.
            catalogue: read and compiled.
            who: name of whoever imported it.
            source: the file it came from.
            map_text: the map it was read by, as TOML.

        Raises:
            StoreUnavailable: it could not be written.

        """
        from conewright.catalogue.compiled import compiled_with, pack
        from conewright.catalogue.lists.forms import written

        text = written(catalogue.rows, ending=".csv")
        row = {
            "name": slug(name),
            "who": one_line(who) or "somebody",
            "source": one_line(source),
            "sha256": hashlib.sha256(text).hexdigest(),
            "parts": len(catalogue.rows),
            "map": map_text,
            "compiled_with": compiled_with(),
            "text": zlib.compress(text),
            "compiled": pack(catalogue.compiled),
        }
        for _ in range(TRIES - 1):
            try:
                return self._appended(row)
            except Clash:
                continue
        return self._appended(row)

    def _appended(self, row: dict[str, Any]) -> CatalogueNote:
        with self._database.writing() as connection:
            newest = row_of(connection, _newest_of(row["name"], _NOTES))
            if newest is not None and newest.sha256 == row["sha256"]:
                return _note(newest)
            number = 1 if newest is None else newest.number + 1
            added = {**row, "number": number, "imported_at": datetime.now(UTC)}
            connection.execute(insert(schema.catalogues).values(added))
            note = {column.name: added[column.name] for column in _NOTES}
            return CatalogueNote(**note)

    def catalogues(self) -> tuple[CatalogueNote, ...]:
        """Return the newest version of every catalogue, the last imported first."""
        newest = select(func.max(_there.id)).group_by(_there.name)
        wanted = select(*_NOTES).where(_there.id.in_(newest)).order_by(_there.id.desc())
        with self._database.reading() as connection:
            return tuple(_note(row) for row in rows_of(connection, wanted))

    def catalogue_versions(self, name: str) -> tuple[CatalogueNote, ...]:
        """Return every version of a catalogue, the newest first; raises NotFound."""
        wanted = select(*_NOTES).where(_there.name == name).order_by(_there.number.desc())
        with self._database.reading() as connection:
            found = tuple(_note(row) for row in rows_of(connection, wanted))
            if not found:
                raise _no_catalogue(connection, name)
        return found

    def catalogue(self, name: str, number: int | None = None) -> KeptCatalogue:
        """Return a version of a catalogue, the newest when None; raises NotFound."""
        if number is not None and not 1 <= number <= LARGEST_NUMBER:
            raise NotFound(f"{name}: found no version {number}; they count from 1")
        with self._database.reading() as connection:
            wanted = _newest_of(name, _WHOLE)
            if number is not None:
                wanted = select(*_WHOLE).where(_there.name == name, _there.number == number)
            row = row_of(connection, wanted)
            if row is None:
                newest = row_of(connection, _newest_of(name, _NOTES))
                if newest is None:
                    raise _no_catalogue(connection, name)
                raise NotFound(f"{name}: found no version {number}; {newest.number} is the newest")
            return _whole(row)


def _newest_of(name: str, columns: tuple[Any, ...]) -> Select[Any]:
    wanted = select(*columns).where(_there.name == name)
    return wanted.order_by(_there.number.desc()).limit(1)


def _note(row: Row[Any]) -> CatalogueNote:
    return CatalogueNote(**{column.name: getattr(row, column.name) for column in _NOTES})


def _whole(row: Row[Any]) -> KeptCatalogue:
    """Return what is kept; raises Unreadable where it is not as it was written."""
    try:
        text = zlib.decompress(row.text)
    except zlib.error as error:
        raise Unreadable from error
    if hashlib.sha256(text).hexdigest() != row.sha256:
        raise Unreadable
    return KeptCatalogue(_note(row), text, row.map, _compiled(row, text))


def _compiled(row: Row[Any], text: bytes) -> Compiled:
    """Return the columns: those kept where today's tables make the same, else made again."""
    from conewright.catalogue.compiled import compiled_with, unpack
    from conewright.catalogue.lists.forms import table_of
    from conewright.catalogue.lists.part_rows import read_catalogue

    if row.compiled_with == compiled_with():
        try:
            return unpack(row.compiled)
        except BadInputError:
            pass
    table = table_of(text, file=f"{row.name}.csv")
    return read_catalogue(table, accept=True).compiled


def _no_catalogue(connection: Connection, name: str) -> NotFound:
    wanted = select(_there.name).distinct().order_by(_there.name)
    there = ", ".join(row.name for row in rows_of(connection, wanted)) or "none yet"
    return NotFound(f"{one_line(name)}: found no kept catalogue of that name; there is {there}")
