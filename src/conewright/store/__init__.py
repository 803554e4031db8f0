"""The workshop's jobs and catalogues, kept with all their versions, in SQLite or PostgreSQL.

from conewright.store import Store

with Store.open() as store:
    saved = store.create(text, who="Ann")
    store.save(saved.job_id, changed, base=saved.revision, who="Ann")
"""

from conewright.store.database import store_is_there
from conewright.store.errors import Conflict, NotFound, StoreError, StoreUnavailable
from conewright.store.records import (
    LONGEST_PAIRED,
    LONGEST_UNUSED,
    CatalogueNote,
    Device,
    FoundCatalogue,
    KeptCatalogue,
    Listed,
    RevisionNote,
    Saved,
)
from conewright.store.store import INVENTED, Store, find_catalogue, offer

__all__ = [
    "INVENTED",
    "LONGEST_PAIRED",
    "LONGEST_UNUSED",
    "CatalogueNote",
    "Conflict",
    "Device",
    "FoundCatalogue",
    "KeptCatalogue",
    "Listed",
    "NotFound",
    "RevisionNote",
    "Saved",
    "Store",
    "StoreError",
    "StoreUnavailable",
    "find_catalogue",
    "offer",
    "store_is_there",
]
