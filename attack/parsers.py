"""Everything that reads what people type: right texts mean what was meant, others are refused."""

import random
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures import TimeoutError as NoEnd
from multiprocessing import get_context

from attack.tally import Limits, Tally, kind_of
from attack.texts import KINDS
from attack.words import Said, spoilt
from conewright.errors import ConewrightError

__all__ = ["attempt", "run"]

PROCESSES = 2
SLOW = 2.0
"""Seconds of calculation beyond which one small text takes too long."""
PATIENCE = 60.0
"""Seconds after the end of a part beyond which a call has no end."""


def run(tally: Tally, limits: Limits) -> None:
    """Try texts in two processes, each with a seed of its own."""
    pool = ProcessPoolExecutor(PROCESSES, mp_context=get_context("spawn"))
    parts = [
        Tally(tally.part, PROCESSES * tally.seed + number, tally.folder)
        for number in range(PROCESSES)
    ]
    running = [pool.submit(_batch, part, limits.share(1 / PROCESSES, 1.0)) for part in parts]
    for part, result in zip(parts, running, strict=True):
        try:
            tally.add(result.result(limits.seconds + PATIENCE))
        except NoEnd:
            tally.find("a call without end", f"seed {part.seed}")
            for process in pool._processes.values():
                process.kill()
    pool.shutdown()


def _batch(tally: Tally, limits: Limits) -> Tally:
    limits = limits.begun()
    chance = random.Random(tally.seed)
    makers, weights = list(KINDS), list(KINDS.values())
    while tally.tried < limits.target and limits.left:
        for maker in chance.choices(makers, weights, k=100):
            said = maker(chance)
            attempt(tally, spoilt(said, chance) if chance.random() < 0.5 else said)
    return tally


def attempt(tally: Tally, said: Said) -> None:
    """Try one text: what is right must be read as it was meant, what is spoilt may be refused."""
    began = time.process_time()
    name = said.read.__qualname__.removesuffix(".<locals>.<lambda>").removesuffix(".<locals>.read")
    try:
        found = said.read(said.text)
    except ConewrightError as error:
        if said.right is None:
            tally.refuse(error, said.text)
        else:
            tally.find(f"a right text refused by {name}", said.text, str(error))
    except Exception as error:
        tally.find(f"{name}: {kind_of(error)}", said.text, traceback.format_exc())
    else:
        if said.right is None or said.right(found):
            tally.answered += 1
        else:
            tally.find(f"read wrong by {name}", said.text, repr(found))
    if time.process_time() - began > SLOW:
        tally.find(f"slow: {name}", said.text)
