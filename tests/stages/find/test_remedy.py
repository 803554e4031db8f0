"""The chance that a plan cures, against the sum over every state and everything that is heard."""

from math import exp

import pytest
from test_inference import bench, worlds

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.odds.inference import Model, PairFactor, infer
from conewright.stages.find.odds.remedy import blameless


def by_hand(
    model: Model, likelihoods: dict[int, FloatArray], reading: PairFactor, ended: set[Atom]
) -> float:
    """Share of the worlds in which each complaint came from an ended fault and from no other."""
    whole = cured = 0.0
    for chance, there in worlds(model, likelihoods, reading):
        said, healed = chance, chance
        for complaint in model.complaints:
            quiet = {True: 1.0, False: 1.0 - complaint.from_nothing}
            for atom, told in complaint.causes.items():
                if atom in there:
                    quiet[atom in ended] *= 1.0 - told
            said *= 1.0 - quiet[True] * quiet[False]
            healed *= (1.0 - quiet[True]) * quiet[False]
        whole += said
        cured += healed
    return cured / whole


@pytest.mark.parametrize("complaints", [1, 2, 4])
@pytest.mark.parametrize("seed", [3, 8])
def test_a_cure_is_what_the_sum_over_all_worlds_says(seed: int, complaints: int) -> None:
    # Closed form: the definition, by enumeration.
    model, likelihoods, reading = bench(seed, complaints=complaints)
    atoms = [atom for chain in model.chains for atom in chain.atoms]
    for ended in (set(atoms[::2]), set(atoms[1:4]), set(atoms)):
        healed, factor = blameless(model, ended.__contains__)
        found = factor * _ratio(healed, model, likelihoods, reading)
        assert found == pytest.approx(by_hand(model, likelihoods, reading, ended), rel=1e-9)


def _ratio(
    healed: Model, model: Model, likelihoods: dict[int, FloatArray], reading: PairFactor
) -> float:
    try:
        after = infer(healed, likelihoods, [reading])
    except BadInputError:
        return 0.0  # some complaint has no cause among what is ended
    return exp(after.log_evidence - infer(model, likelihoods, [reading]).log_evidence)
