"""Papers written into a folder, in the place of those that an earlier make left there."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

from pydantic import ValidationError

from conewright.errors import BadInputError
from conewright.papers.press.manifest import MANIFEST, Entry, Manifest, PaperFile
from conewright.whole_file import write_whole

__all__ = ["write_papers"]


def write_papers(
    folder: Path, files: tuple[PaperFile, ...], manifest: Manifest, *, whole: bool
) -> Manifest:
    """Write papers and their manifest, and return that manifest.

    What an earlier make left there and nobody changed since is taken away, unless it still belongs
    to the same plan and only a part of its papers is made now. Other files are left alone.

    Args:
        folder: made if it was not there.
        files: the papers.
        manifest: of them.
        whole: whether these are all papers of the plan.

    Raises:
        BadInputError: the folder holds a manifest that is none of ours, or a file cannot be
            written; all files are as they were then.
        OSError: the folder cannot be made or read.

    """
    folder.mkdir(parents=True, exist_ok=True)
    before = _manifest_in(folder)
    stale = [] if before is None else _others(folder, before, manifest)
    if before is not None and not whole and _same_plan(before, manifest):
        manifest, stale = _together(manifest, before, stale), []
    contents = {folder / file.name: file.content for file in files}
    write_whole({**contents, folder / MANIFEST: manifest.to_json().encode("utf-8")})
    for entry in stale:
        (folder / entry.name).unlink()
    return manifest


def _manifest_in(folder: Path) -> Manifest | None:
    place = folder / MANIFEST
    if not place.exists():
        return None
    try:
        return Manifest.model_validate_json(place.read_bytes())
    except ValidationError:
        raise BadInputError(
            f"{place}: found a file that is no manifest of papers; it would be written over, "
            "choose another folder"
        ) from None


def _others(folder: Path, before: Manifest, manifest: Manifest) -> list[Entry]:
    """Return what an earlier manifest lists besides, and is there as it was written."""
    made = {entry.name for entry in manifest.files}
    return [entry for entry in before.files if entry.name not in made and _unchanged(folder, entry)]


def _unchanged(folder: Path, entry: Entry) -> bool:
    place = folder / entry.name
    # A name with a folder in it is none that was ever written.
    if Path(entry.name).name != entry.name or not place.is_file():
        return False
    return sha256(place.read_bytes()).hexdigest() == entry.sha256


def _same_plan(before: Manifest, manifest: Manifest) -> bool:
    return all(
        getattr(before, name) == getattr(manifest, name)
        for name in ("job", "plan", "revision", "paper")
    )


def _together(manifest: Manifest, before: Manifest, others: list[Entry]) -> Manifest:
    """Return a manifest with what of an earlier one still stands."""
    files = {entry.name: entry for entry in (*manifest.files, *others)}
    known = [entry.name for entry in before.files]
    names = [*known, *(name for name in files if name not in known)]
    return manifest.model_copy(
        update={
            "files": tuple(files[name] for name in names if name in files),
            "refusals": tuple(dict.fromkeys((*before.refusals, *manifest.refusals))),
            "notes": tuple(dict.fromkeys((*before.notes, *manifest.notes))),
        }
    )
