"""Vehicles of another making than the search reckons with: its own failures, owners and meters.

Nothing here is drawn from the tables of the search. Parts wear by causes they share (years, water,
loud music, somebody's handiwork), so that faults come in company; owners mishear and name the wrong
corner, the mirrored one first; the meter has a lead and a gain of its own, and a bad contact is
bad for a while. Only the names of faults, words and tests are the same. All numbers: assumed.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256

import numpy as np

from benchmarks.invented_vehicles import AGES, Template, templates
from conewright.job.quantity.values import Quantity
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import VEHICLE, Atom, Chain, behind_capacitor, is_tweeter
from conewright.stages.find.instruments.meter import METER_TESTS
from conewright.stages.find.odds.evidence import Question

__all__ = ["OtherWorld", "Stranger", "strangers"]

MOST_FAULTS = 3

NOTHING = 1.0 / 12.0
"""Share of the owners who complain of what is no fault."""

USUAL = (
    *("thin-after-change", "distorts-loud", "dull", "buzz-one-corner"),
    *("flat-battery", "callers-cannot-hear"),
)
"""Words for what sounds, or is, as it was made."""

HEARD = {
    "surround-torn": ("buzz-one-corner", "buzz-one-corner", "thin-after-change", "distorts-loud"),
    "coil-open": ("silent-corner",),
    "coil-rubbing": ("buzz-one-corner", "distorts-loud"),
    "coil-shorted": ("smell-or-smoke", "distorts-loud", "silent-corner"),
    "tweeter-open": ("dull",),
    "capacitor-dried": ("dull",),
    "lead-intermittent": ("comes-and-goes", "silent-corner"),
    "wire-broken": ("comes-and-goes", "silent-corner"),
    "joint-corroded": ("comes-and-goes", "comes-and-goes", "silent-corner"),
    "leg-to-chassis": ("cuts-out-hot", "pops-or-hum", "all-silent-after-change"),
    "pair-shorted": ("silent-corner", "smell-or-smoke"),
    "reversed": ("thin-after-change",),
    "channel-dead": ("silent-corner",),
    "channel-offset": ("pops-or-hum", "smell-or-smoke"),
    "amplifier-off": ("all-silent-after-change",),
    "supply-sag": ("distorts-loud", "cuts-out-hot"),
    "trim-rattle": ("buzz-one-corner",),
    "mount-loose": ("buzz-one-corner", "thin-after-change"),
    "grit-or-water": ("buzz-one-corner", "comes-and-goes"),
    "load-too-low": ("cuts-out-hot",),
    "cap-unglued": ("buzz-one-corner",),
    "panel-open": ("thin-after-change",),
    "sleep-drain": ("flat-battery",),
    "microphone": ("callers-cannot-hear",),
    "settings": ("thin-after-change", "dull", "silent-corner"),
}
"""Words that a fault brings people to, as often as they stand here."""

MISHEARD = {
    "dull": "distorts-loud", "distorts-loud": "buzz-one-corner", "silent-corner": "comes-and-goes",
    "comes-and-goes": "silent-corner", "cuts-out-hot": "comes-and-goes", "pops-or-hum": "dull",
}  # fmt: skip

DEAD = frozenset(
    {"coil-open", "wire-broken", "pair-shorted", "channel-dead", "amplifier-off", "channel-offset"}
)
AT_TIMES = frozenset({"lead-intermittent", "wire-broken", "joint-corroded"})
RASPS = frozenset({"surround-torn", "coil-rubbing", "trim-rattle", "mount-loose", "cap-unglued"})
SEEN = {
    "surround-torn": ("torn surround", 0.9), "coil-open": ("burnt smell", 0.15),
    "coil-shorted": ("burnt smell", 0.6), "lead-intermittent": ("bad lead", 0.4),
    "joint-corroded": ("rust or water", 0.5), "trim-rattle": ("loose trim", 0.5),
    "mount-loose": ("loose mount", 0.8), "grit-or-water": ("rust or water", 0.7),
    "cap-unglued": ("loose cap", 0.6), "panel-open": ("panel open", 0.9),
}  # fmt: skip
AMPLIFIED = "amplifier-off"


@dataclass(frozen=True)
class OtherWorld:
    """The other world: all it takes is a seed."""

    seed: int


@dataclass(frozen=True)
class Stranger:
    """A vehicle in the shop: what is wrong, what its owner says, and how its readings come out.

    `grounded`: whether a fault brought the owner to his words.
    """

    world: OtherWorld
    number: int
    template: Template
    age: int
    faults: frozenset[Atom]
    complaints: tuple[str, ...]
    grounded: bool = True

    @cached_property
    def _bench(self) -> dict[str, float]:
        """The meter and the day: lead left in [ohm], gain, warmth of the coils [K above 20 C]."""
        luck = _luck(self.world.seed, self.number, "bench")
        lead = float(luck.uniform(0.1, 0.3)) if luck.random() < 0.25 else 0.02
        return {"lead": lead, "gain": float(luck.normal(1.0, 0.015)), "warm": luck.uniform(-20, 15)}

    def answer(self, question: Question) -> str | Quantity:
        """What a reading says; the same whenever it is asked."""
        luck = _luck(self.world.seed, self.number, question.id)
        if question.test in METER_TESTS:
            return self._metered(question, luck)
        words = trade.word_table(question.test).words
        if luck.random() < 0.04:
            return str(luck.choice(words))
        return self._word(question, luck)

    def _here(self, question: Question, luck: np.random.Generator) -> dict[str, bool]:
        """Faults that a test at a place meets, and whether each is bad just now."""
        case, found = self.template.case, {}
        number = case.chain_of(question.subject)
        chain = case.chains[number]
        for atom in self.faults:
            near = atom.subject in (VEHICLE, chain.id, question.subject)
            if near or (trade.test(question.test).target == "channel" and atom in chain.atoms):
                found[atom.fault] = atom.fault not in AT_TIMES or luck.random() < self._duty(atom)
        return found

    def _duty(self, atom: Atom) -> float:
        """Share of the time that a bad contact is bad."""
        return float(_luck(self.world.seed, self.number, atom.id).uniform(0.3, 0.95))

    def _word(self, question: Question, luck: np.random.Generator) -> str:
        kind = trade.word_table(question.test)
        if question.test == "mono-bass":
            left, right = self.template.case.pairs[question.subject]
            turned = {a.subject for a in self.faults if a.fault == "reversed"}
            sides = [{p.id for p in self.template.case.chains[n].places} for n in (left, right)]
            odd = sum(bool(turned & side) for side in sides) == 1
            return "weaker" if odd != (luck.random() < 0.06) else "stronger"
        here = self._here(question, luck)
        now = {fault for fault, bad in here.items() if bad}
        word = getattr(self, "_" + question.test.replace("-", "_"))(now, set(here), luck)
        return word or kind.normal

    # --- What each test says; empty where all seems well. Numbers: assumed ---------------------

    def _corner_solo(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        if now & DEAD:
            return "silent" if luck.random() < 0.9 else "weaker"
        if now & {"lead-intermittent", "leg-to-chassis"}:
            return "silent" if luck.random() < 0.6 else "weaker"
        if now & {"joint-corroded", "coil-shorted"}:
            return "weaker" if luck.random() < 0.7 else ""
        return "weaker" if now & {"settings", "grit-or-water"} and luck.random() < 0.3 else ""

    def _slow_bass(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        chance = 0.85 if now & (RASPS | {"grit-or-water"}) and not now & DEAD else 0.06
        return "rasp" if luck.random() < chance else ""

    def _treble_burst(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        gone = now & ({"tweeter-open", "capacitor-dried"} | (DEAD - {"coil-open"}))
        return "missing" if luck.random() < (0.9 if gone else 0.08) else ""

    def _door_swing(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del now
        chance = 0.8 if "wire-broken" in here else 0.4 if here & AT_TIMES else 0.03
        return "jumps" if luck.random() < chance else ""

    def _press_trim(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        chance = 0.8 if "trim-rattle" in now else 0.5 if "mount-loose" in now else 0.12
        return "changes" if luck.random() < chance else ""

    def _settings_reset(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        return "cured" if luck.random() < (0.92 if "settings" in now else 0.02) else ""

    def _call_test(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        return "poor" if luck.random() < (0.9 if "microphone" in now else 0.1) else ""

    def _cell_pulse(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        if now & {"coil-open", "wire-broken", "pair-shorted", "lead-intermittent"}:
            return "none" if luck.random() < 0.9 else "weak"
        if "reversed" in now:
            return "inward"
        if now & {"coil-rubbing", "grit-or-water"}:
            return "scrape" if luck.random() < 0.3 else ""
        return "weak" if "joint-corroded" in now and luck.random() < 0.4 else ""

    def _cone_push(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        if now & {"coil-rubbing", "grit-or-water"}:
            return "scrape" if luck.random() < 0.8 else "stuck"
        some = now & {"surround-torn", "coil-shorted"}
        return "scrape" if luck.random() < (0.35 if some else 0.05) else ""

    def _look(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del now
        for fault in sorted(here & set(SEEN)):
            word, chance = SEEN[fault]
            if luck.random() < chance:
                return word
        return "rust or water" if luck.random() < 0.04 * self.age / 10.0 else ""

    def _swap_speaker(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        bad = now & ((DEAD - {"coil-open"}) | {"joint-corroded", "leg-to-chassis"})
        return "still bad" if luck.random() < (0.9 if bad else 0.03) else ""

    def _impedance_sweep(self, now: set[str], here: set[str], luck: np.random.Generator) -> str:
        del here
        driver = now & {
            "surround-torn",
            "coil-open",
            "coil-shorted",
            "tweeter-open",
            "coil-rubbing",
        }
        return "abnormal" if luck.random() < (0.85 if driver else 0.08) else ""

    # --- What the meter shows --------------------------------------------------------------------

    def _metered(self, question: Question, luck: np.random.Generator) -> str | Quantity:
        here = self._here(question, luck)
        now = {fault for fault, bad in here.items() if bad}
        if question.test in ("pair-resistance", "coil-resistance"):
            return self._ohms(question, now, here, luck)
        if question.test == "leg-to-chassis":
            if "leg-to-chassis" in now and luck.random() < 0.9:
                return Quantity.of(_rounded(10.0 ** luck.uniform(-0.5, 3.0)), "resistance")
            return "open"
        return Quantity.of(
            _rounded(self._volts(question.test, now, luck)), DIMENSION[question.test]
        )

    def _volts(self, test: str, now: set[str], luck: np.random.Generator) -> float:
        """Volts of a test, or amperes."""
        if test == "feed-drop":
            return float(luck.lognormal(np.log(0.75 if "supply-sag" in now else 0.15), 0.35))
        if test == "sleep-current":
            drain = 0.15 * luck.lognormal(0.0, 0.5) if "sleep-drain" in now else 0.0
            return float(0.02 * luck.lognormal(0.0, 0.3) + drain)
        if test == "leg-bias":
            half = 6.5 * self._bench["gain"] + luck.normal(0.0, 0.15)
            gone = now & {"channel-dead", "amplifier-off"} and luck.random() < 0.6
            wrong = "channel-offset" in now or ("leg-to-chassis" in now and luck.random() < 0.6)
            return float(0.05 if gone else half + luck.choice((-5.0, 5.5)) if wrong else half)
        offset = "channel-offset" in now or ("leg-to-chassis" in now and luck.random() < 0.3)
        return float(luck.uniform(0.8, 8.0) if offset else luck.lognormal(np.log(0.012), 0.5))

    def _ohms(
        self,
        question: Question,
        now: set[str],
        here: dict[str, bool],
        luck: np.random.Generator,
    ) -> str | Quantity:
        case = self.template.case
        chain = case.chains[case.chain_of(question.subject)]
        pair = question.test == "pair-resistance"
        contacts = set(here) & (AT_TIMES if pair else {"lead-intermittent"})
        if contacts and luck.random() < 0.35:
            return "unsteady"
        if pair and "pair-shorted" in now:
            return self._shown(0.1 + 0.1 * luck.random(), luck)
        if pair and "wire-broken" in now:
            return "open"
        if pair and AMPLIFIED in now and luck.random() < 0.7:
            return self._shown(float(luck.lognormal(np.log(1500.0), 1.0)), luck)
        places = [place.id for place in chain.places] if pair else [question.subject]
        conductance = sum(1.0 / self._coil(place, chain, pair) for place in places)
        if conductance < 1e-6:
            return "open"
        ohms = 1.0 / conductance
        if pair:
            ohms += 0.35 + (float(luck.lognormal(0.7, 0.8)) if "joint-corroded" in now else 0.0)
            ohms = 1.0 / (1.0 / ohms + 1.0 / 3.6) if "load-too-low" in now else ohms
        return self._shown(ohms, luck)

    def _coil(self, place: str, chain: Chain, pair: bool) -> float:
        """Ohms of one driver, those behind a capacitor open to the plug."""
        broken = {a.fault for a in self.faults if a.subject == place}
        state = next(each for each in chain.places if each.id == place)
        hidden = pair and chain.channel is not None and behind_capacitor(place, chain.channel)
        if hidden or broken & {"coil-open", "tweeter-open"}:
            return 1e12
        own = _luck(self.world.seed, self.number, f"coil {place}")
        cold = (3.3 if is_tweeter(state, chain.channel) else 3.4) * float(own.normal(1.0, 0.04))
        burnt = float(own.uniform(0.6, 0.9)) if "coil-shorted" in broken else 1.0
        return cold * burnt * (1.0 + 0.00393 * self._bench["warm"])

    def _shown(self, ohms: float, luck: np.random.Generator) -> Quantity:
        seen = (ohms + self._bench["lead"]) * self._bench["gain"] + luck.normal(0.0, 0.03)
        return Quantity.of(_rounded(abs(seen)), "resistance")


DIMENSION = {
    "feed-drop": "voltage",
    "sleep-current": "current",
    "leg-bias": "voltage",
    "pair-offset": "voltage",
}


def strangers(world: OtherWorld, count: int) -> Iterator[Stranger]:
    """Draw vehicles that somebody brings in."""
    for number in range(count):
        luck = _luck(world.seed, number, "vehicle")
        template = templates()[int(luck.integers(len(templates())))]
        age = int(luck.choice(AGES))
        grounded = _luck(world.seed, number, "nothing").random() >= NOTHING
        faults = _worn(template, age, luck)
        while grounded and not faults:
            faults = _worn(template, age, luck)
        told = [_told(atom, template, luck) for atom in faults[:2]]
        kept = tuple(dict.fromkeys(told[: 1 + int(luck.random() < 0.5)]))
        if not grounded:
            corner = luck.choice([chain.id for chain in template.case.chains[1:]])
            kept = (f"{luck.choice(USUAL)}@{corner}",)
        yield Stranger(world, number, template, age, frozenset(faults), kept, grounded)


def _worn(template: Template, age: int, luck: np.random.Generator) -> list[Atom]:
    """What has gone, the worst first, by causes that the parts share."""
    foam, wet = luck.random() < 0.5, float(luck.gamma(1.0, 1.0)) * age / 20.0
    loud, handy = float(luck.gamma(1.0, 1.0)), float(luck.gamma(0.7, 1.0))
    years = age / 18.0
    found: list[Atom] = []
    for chain in template.case.chains:
        soaked = luck.random() < 0.05 * wet
        for atom in chain.atoms:
            rate = {
                "surround-torn": (0.10 if foam else 0.01) * years**3,
                "coil-open": 0.012 * loud, "coil-shorted": 0.006 * loud,
                "coil-rubbing": 0.012 * (0.5 + loud) * years, "cap-unglued": 0.008 * years**2,
                "tweeter-open": 0.03 * loud, "capacitor-dried": 0.02 * years**2,
                "lead-intermittent": 0.25 if soaked else 0.006 * years,
                "joint-corroded": 0.4 if soaked else 0.008 * years,
                "grit-or-water": 0.4 if soaked else 0.002 * years,
                "wire-broken": (0.03 if chain.id.startswith("front") else 0.006) * years**2,
                "leg-to-chassis": 0.005 * (years + handy), "pair-shorted": 0.005 * handy,
                "reversed": 0.02 * handy, "mount-loose": 0.015 * (0.5 + handy),
                "panel-open": 0.02 * handy, "trim-rattle": 0.03 * years * (0.5 + handy),
                "load-too-low": 0.006 * handy, "channel-dead": 0.006 + 0.004 * loud,
                "channel-offset": 0.003, "amplifier-off": 0.03 * handy, "supply-sag": 0.04 * years,
                "sleep-drain": 0.03 * handy, "microphone": 0.03, "settings": 0.06,
            }[atom.fault]  # fmt: skip
            if luck.random() < rate:
                found.append(atom)
    luck.shuffle(found)
    return found[:MOST_FAULTS]


def _told(atom: Atom, template: Template, luck: np.random.Generator) -> str:
    """What the owner says of a fault, and where he thinks it is."""
    words = str(luck.choice(HEARD[atom.fault]))
    if luck.random() < 0.1:
        words = MISHEARD.get(words, words)
    corners = [chain.id for chain in template.case.chains[1:]]
    here = template.case.chains[template.case.chain_of(atom.subject)].id
    named = luck.random()
    if named < 0.15 or (here not in corners and named < 0.7):
        return words
    if here not in corners or named > 0.92:
        return f"{words}@{luck.choice(corners)}"
    if named < 0.78:
        return f"{words}@{here}"
    end, _, side = here.partition("-")
    return f"{words}@{end}-{'left' if side == 'right' else 'right'}"


def _rounded(value: float) -> float:
    return float(f"{value:.3g}")


def _luck(seed: int, number: int, key: str) -> np.random.Generator:
    digest = sha256(f"{number}|{key}".encode()).digest()
    return np.random.default_rng([seed, int.from_bytes(digest[:8], "big")])
