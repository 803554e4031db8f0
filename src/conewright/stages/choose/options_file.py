"""Options as a file has them: what may be combined written out, and read back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from conewright.errors import BadInputError
from conewright.job.quantity.numerals import short
from conewright.stages.choose.finals.planned import PlannedPlan
from conewright.stages.choose.space.explicit import GivenGroup, GivenOption, GivenOptions
from conewright.stages.choose.stage import space_to_choose_from, wished
from conewright.stages.compare.wishes import APPEARANCE, REVERSIBLE

if TYPE_CHECKING:
    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.stages.choose.space.groups import Change, Space

__all__ = ["options_json", "parse_options"]

FIELDS = ("id", "words", "set", "mends", "repairs", "add", "buy", "marks")
MOST_OPTIONS = 200_000
TOLD_BY = {"patch": "patched", "cut": "cuts"}
"""Words in the id of an option, and the kind of change that each stands for."""


def options_json(
    job: Job,
    offer: Offer,
    *,
    money: float | None = None,
    hours: float | None = None,
    may: Iterable[str] | None = None,
    cut: bool | None = None,
    lead_days: float | None = None,
    unmeasured: bool = False,
    sure: bool = False,
    seat: str | None = None,
) -> list[dict[str, Any]]:
    """Return every option that may be taken, group by group, as `--options` reads them.

    Args: as for `choose`; `sure` changes nothing here.
    """
    del sure
    job = wished(job, money=money, hours=hours, cut=cut, lead_days=lead_days, seat=seat, may=may)
    space = space_to_choose_from(
        job, offer, may=may, unmeasured=unmeasured, money=job.most_money is not None
    )
    return [
        {"id": name, "options": [_option(space, each) for each in options]}
        for name, options in _groups(space)
    ]


Told = tuple[str, str, "Change"]


def _groups(space: Space) -> Iterator[tuple[str, list[Told]]]:
    """Yield every group with id, words and change of its options."""
    start = 1 + 3 * len(space.channels)
    nothing = [0] + [0, -1, 0] * len(space.channels) + [0] * len(space.places)

    def told(picks: list[int], group: str) -> Told:
        plan = PlannedPlan("option", space, tuple(picks))
        return next((name, words, change) for g, name, words, change in plan.choices if g == group)

    for g, group in enumerate(space.places):
        options = []
        for option in range(len(group)):
            picks = [*nothing]
            picks[start + g] = option
            options.append(told(picks, group.id))
        yield group.id, options
    for c, channels in enumerate(space.channels):
        forms = []
        for f, form in enumerate(channels.forms):
            for capacitor in range(1 if form.chosen is None else len(form.chosen.rows)):
                picks = [*nothing]
                picks[1 + 3 * c] = f
                picks[2 + 3 * c] = -1 if form.chosen is None else capacitor
                forms.append(told(picks, f"wiring {channels.id}"))
        yield f"wiring {channels.id}", forms
        corners = []
        for corner in range(len(channels.corners)):
            picks = [*nothing]
            picks[3 + 3 * c] = corner
            corners.append(told(picks, f"high-pass {channels.id}"))
        yield f"high-pass {channels.id}", corners
    yield "radio", [(radio.id, radio.words, radio.change) for radio in space.radios]


def _option(space: Space, told: Told) -> dict[str, Any]:
    name, words, change = told
    compiled = space.offer.compiled
    marks = {}
    words_of = name.replace("+", "-").split("-")
    taken = sum(REVERSIBLE[kind] for word, kind in TOLD_BY.items() if word in words_of)
    if taken:
        marks["reversible"] = -taken
    if any(compiled.text("kind", row) == "radio" for row in change.buy):
        marks["appearance"] = -APPEARANCE["new-radio"]
    return {
        "id": name,
        "words": words,
        "set": dict(change.set),
        "mends": list(change.mends),
        "repairs": list(change.repairs),
        "add": {list_: [dict(each) for each in some] for list_, some in change.add.items()},
        "buy": {compiled.text("id", row): count for row, count in change.buy.items()},
        "marks": marks,
    }


def parse_options(text: str, *, file: str = "options") -> GivenOptions:
    """Return the options that a file gives.

    Args:
        text: JSON, as `options_json` has it; `marks` are told and not read: what an option does to
            the wishes follows from what it changes.
        file: what it is called in an error.

    Raises:
        BadInputError: it is no such list; names the group, what was found and what is allowed.

    """
    try:
        groups = json.loads(text)
    except ValueError as error:
        raise BadInputError(f"{file}: found no JSON ({error})") from error
    if not isinstance(groups, list) or not groups:
        raise BadInputError(f"{file}: a list of groups is wanted, each with id and options")
    found = tuple(_group(each, file, number) for number, each in enumerate(groups, start=1))
    names = [group.id for group in found]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise BadInputError(f"{file}: group {short(twice)} stands twice")
    if sum(len(group.options) for group in found) > MOST_OPTIONS:
        raise BadInputError(f"{file}: more than {MOST_OPTIONS} options; give fewer")
    return found


def _group(entry: object, file: str, number: int) -> GivenGroup:
    where = f"{file}: group {number}"
    if not isinstance(entry, Mapping) or not isinstance(entry.get("id"), str):
        raise BadInputError(f"{where}: a table with id and options is wanted")
    options = entry.get("options")
    if not isinstance(options, list) or not options:
        raise BadInputError(f"{where} ({short(entry['id'])}): a list of options is wanted")
    told = tuple(_given(each, f"{where} ({short(entry['id'])})") for each in options)
    return GivenGroup(entry["id"], told)


def _given(entry: object, where: str) -> GivenOption:
    if not isinstance(entry, Mapping) or not isinstance(entry.get("id"), str):
        raise BadInputError(f"{where}: an option is a table with id, set and buy")
    unknown = sorted(set(map(str, entry)) - set(FIELDS))
    if unknown:
        raise BadInputError(
            f'{where}, {short(entry["id"])}: found "{short(unknown[0])}"; allowed: '
            f"{', '.join(FIELDS)}"
        )
    fields, add, buy = (entry.get(name, {}) for name in ("set", "add", "buy"))
    if not all(isinstance(each, Mapping) for each in (fields, add, buy)):
        raise BadInputError(f"{where}, {short(entry['id'])}: set, add and buy are tables")
    for name, some in add.items():
        if not isinstance(some, list) or not all(isinstance(each, Mapping) for each in some):
            raise BadInputError(
                f"{where}, {short(entry['id'])}: add.{short(str(name))} is a list of tables"
            )
    for part, count in buy.items():
        if isinstance(count, bool) or not isinstance(count, int | float) or not count > 0:
            raise BadInputError(
                f"{where}, {short(entry['id'])}: buys {count!r} of {short(str(part))}; a number "
                "above 0 is wanted"
            )
    return GivenOption(
        id=entry["id"],
        set=dict(fields),
        mends=tuple(map(str, entry.get("mends", ()))),
        repairs=tuple(map(str, entry.get("repairs", ()))),
        add={str(name): tuple(dict(each) for each in some) for name, some in add.items()},
        buy={str(part): float(count) for part, count in buy.items()},
        words=str(entry.get("words", "")),
    )
