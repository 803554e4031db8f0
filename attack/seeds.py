"""What broke the program once, each with what must come of it today."""

import time
from collections.abc import Callable
from dataclasses import dataclass

import conewright as cw
from attack.served import Server, judged, served
from attack.tally import Limits, Tally
from conewright.errors import ConewrightError
from conewright.job.text.readings import with_reading, without_reading
from conewright.stages.find.faults import trade
from conewright.stages.find.talk.inquiry import inquire

__all__ = ["SEEDS", "run"]

MOST_WORK = 10.0
"""Seconds of calculation for any one of them."""


@dataclass(frozen=True, slots=True)
class Seed:
    """One thing that broke it: what is done, and words of the refusal that comes, or an answer's.

    Attributes:
        does: returns a text of what was answered.
        comes: words in the refusal, where `refused`, else in the answer.

    """

    does: Callable[[], object]
    comes: str
    refused: bool = True


def _job(old: str = "", new: str = "", *, more: str = "") -> str:
    text = cw.starter_text()
    if old not in text:
        raise AssertionError(f"{old} is not in the starter")
    return text.replace(old, new) + more


def _proposal(*keys: str) -> str:
    table = "".join(f'"{key}" = true\n' for key in keys)
    return _job(more=f'[[proposal]]\nid = "q"\n[proposal.set]\n{table}')


def _lines() -> list[str]:
    return cw.starter_text().split("\n")


def _budget(digits: int) -> object:
    lines = [line for line in _lines() if not line.startswith("budget")]
    text = "\n".join(lines).replace("[job]\n", f"[job]\nbudget = 0x{'f' * digits}\n", 1)
    return cw.loads(text)


def _noted() -> object:
    lines = [line for line in _lines() if not line.startswith("notes")]
    text = "\n".join(lines).replace(
        "[job]\n", f"[job]\nnotes = '''reading = [{chr(10) * 1900}'''\n"
    )
    text += "\n" * 40_000
    new = with_reading(text, "toml", test="look", at="door-fl", value="weaker")
    said = cw.loads(new).readings[-1].value
    return said if cw.loads(without_reading(new)) == cw.loads(text) else "not as before"


def _complaints(count: int, *, same: bool = False) -> object:
    words = [each.id for each in trade.complaints()]
    told = [
        words[0 if same else n % len(words)] + "@front" * (n >= len(words)) for n in range(count)
    ]
    lines = [line for line in _lines() if not line.startswith("complaints")]
    text = "\n".join(lines).replace("[job]\n", f"[job]\ncomplaints = {told}\n".replace("'", '"'), 1)
    chances = inquire(cw.loads(text).build()).chances().values()
    return f"{len(chances)} odds" if all(0.0 <= each <= 1.0 for each in chances) else "no odds"


def _undriven(stage: Callable[..., object]) -> object:
    text = _job('load = "door-fl"', 'load = "4 ohm"').replace('load = "door-fr"', 'load = "4 ohm"')
    return stage(cw.loads(text).build())


SEEDS: dict[str, Seed] = {
    "16,000 stops": Seed(lambda: cw.loads('"=".' * 16_000 + "a=1"), "a key of very many parts"),
    "24,000 stops": Seed(lambda: cw.loads('"=".' * 24_000 + "a=1"), "a key of very many parts"),
    "the last of 40,000 names": Seed(
        lambda: cw.loads("{" + ",".join(f'"a{n}":1' for n in range(40_000)) + ',"a7":1}', "json"),
        "very many names",
    ),
    "the last of 20,000 names": Seed(
        lambda: cw.loads("{" + ",".join(f'"a{n}":1' for n in range(20_000)) + ',"a7":1}', "json"),
        'the name "a7" twice',
    ),
    "60 stars": Seed(
        lambda: cw.loads(_proposal(*(f"{'*a' * 60}{n:x}b.name" for n in range(99)))),
        "no part has such an id",
    ),
    "a note with a reading": Seed(_noted, "weaker", refused=False),
    "ten complaints": Seed(lambda: _complaints(10), "odds", refused=False),
    "twelve complaints": Seed(lambda: _complaints(12), "odds", refused=False),
    "sixteen complaints": Seed(lambda: _complaints(16), "odds", refused=False),
    "a complaint four times": Seed(lambda: _complaints(4, same=True), "odds", refused=False),
    "no place driven, feed": Seed(lambda: _undriven(cw.feed), "FEED", refused=False),
    "no place driven, hear": Seed(lambda: _undriven(cw.hear), "channel.load: found"),
    "a lead without function": Seed(
        lambda: cw.loads(_job(more="[[lead]]\nfunction = []\n")), "lead[1].function"
    ),
    "a lead with an empty one": Seed(
        lambda: cw.loads(_job(more='[[lead]]\nfunction = ""\n')), "lead[1].function"
    ),
    "5,000 hexadecimal digits": Seed(lambda: _budget(5_000), "a number without end"),
    "20 hexadecimal digits": Seed(lambda: _budget(20), "a number without end"),
    "control letters in a name": Seed(
        lambda: cw.loads(_job('id = "door-fl"', 'id = "door\\u001b[31m-fl"')), "location"
    ),
    "control letters in a key": Seed(
        lambda: cw.loads(_job(more='"\\u001b[31m" = 1\n')), "\\u001b[31m"
    ),
}  # fmt: skip


def run(tally: Tally, _: Limits) -> None:
    """Try each seed here, then those of the pages on a server."""
    for name, seed in SEEDS.items():
        _try(tally, name, seed)
    with served(tally) as server:
        _try_pages(tally, server)


def _try(tally: Tally, name: str, seed: Seed) -> None:
    began = time.process_time()

    def work() -> None:
        try:
            said = str(seed.does())
        except ConewrightError as error:
            if not seed.refused or seed.comes not in str(error):
                raise AssertionError(f"refused: {error}") from error
            if "\x1b" in str(error):
                raise AssertionError("a control letter is told") from error
            raise
        if seed.refused or seed.comes not in said:
            raise AssertionError(f"answered: {said[:500]}")

    tally.call(work, name)
    if time.process_time() - began > MOST_WORK:
        tally.find("a seed took too long", name)


def _try_pages(tally: Tally, server: Server) -> None:
    """Bring a job back twice, ask for revisions that cannot be, and give names nobody can see."""
    job = f"/jobs/{server.keep(cw.starter_text())}"
    huge = ("0", "-1", "2147483648", "9" * 20, "9" * 400)
    asked: list[tuple[str, str, dict[str, str], set[int]]] = [
        ("POST", f"{job}/delete", {"base": "1"}, {303}),
        ("POST", f"{job}/undelete", {"base": "2"}, {303}),
        ("POST", f"{job}/undelete", {"base": "2"}, {303}),
        *(("GET", f"{job}?revision={each}", {}, {422}) for each in huge),
        *(("GET", f"{job}/history?a={each}&b=1", {}, {422}) for each in huge),
        *(("GET", f"/api/v1{job}/revisions/{each}", {}, {404}) for each in huge),
        *(("POST", f"{job}/undo", {"base": each}, {200, 404, 409}) for each in huge),
        ("GET", "/jobs?q=%00%1b", {}, {200}),
        ("GET", "/jobs/%00", {}, {404}),
        ("GET", "/jobs/%1b%5b31m", {}, {404}),
        ("POST", "/me", {"who": "Ann\x1b[31m\u202e", "back": "/jobs"}, {303}),
    ]
    with server.client() as client:
        client.cookies.set("conewright-who", "%1b%5b31mAnn%e2%80%ae")
        for method, address, data, wanted in asked:
            answer = client.request(method, address, data=data or None)
            given = f"{method} {address} {data}"
            if answer.status_code not in wanted:
                tally.find(f"status {answer.status_code}", given, answer.text)
            elif "\x1b" in answer.text or "\u202e" in answer.text:
                tally.find("a control letter on a page", given, answer.text)
            else:
                judged(tally, answer.status_code, answer.headers, answer.text, given=given)
