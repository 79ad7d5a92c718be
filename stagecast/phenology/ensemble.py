"""What a forecast does not know: equally likely errors, the same ones for the same forecast.

A member of the forecast is one possible season (a past year standing for the days ahead) under
one draw of the errors. A draw says how far the field's cultivar lies from the group's number and
by what share each phase takes more or less heat or time than the model's; it lasts the whole
season, so that a field that flowers late for its group also fills seed late.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stagecast.base.units import FloatArray
from stagecast.knowledge.crop import Ensemble
from stagecast.knowledge.quantities import Quantity
from stagecast.phenology.spread import normal_draws

_PHASES = ("emergence", "nodes", "before_r1", "r1_r5", "r5_r7", "r8")
_PACED = ("before_r1", "r1_r5", "r5_r7")
_TRIES = 400  # orders compared for the least correlation; a matter of arithmetic, not of crops


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Standard normal errors of the draws.

    Attributes
    ----------
    group : ndarray, shape (levels,)
        Cultivar within its group, standard deviation 1; draws of one level share it.
    phase : dict
        Name of a phase -> ndarray, shape (levels, draws per level).
    """

    group: FloatArray
    phase: dict[str, FloatArray]

    @property
    def levels(self) -> int:
        """Number of cultivar levels."""
        return len(self.group)

    @property
    def count(self) -> int:
        """Number of draws."""
        return self.phase[_PHASES[0]].size


@dataclass(frozen=True, slots=True, eq=False)
class MemberErrors:
    """Errors of the draws, as the stage model takes them; every array of shape (levels, draws).

    Every factor multiplies a need, and is the same for all fields: so a field planted later is
    later in every draw. ``r8_days`` adds to the days from R7 to R8.
    """

    emergence: FloatArray
    nodes: FloatArray
    before_r1: FloatArray
    r1_r5: FloatArray
    r5_r7: FloatArray
    r8_days: FloatArray

    @classmethod
    def none(cls) -> MemberErrors:
        """One draw without errors."""
        one = np.ones((1, 1))
        return cls(one, one, one, one, one, np.zeros((1, 1)))


def make_draws(*, levels: int, per_level: int, shared: float, seed: int) -> Draws:
    """Draw the errors: each phase takes every slice of its distribution once.

    Parameters
    ----------
    levels, per_level : int
        Cultivar levels, and draws of the other errors for each.
    shared : float
        Correlation of the errors of the phases from VE to R7: a field that is warmer than its
        station, or slower than its group, is so all season.
    seed : int
        Orders are shuffled with it; of many shuffles the one with the least correlation between
        any two errors is taken.
    """
    group = normal_draws(levels)
    if levels > 1:
        # The middles of a few wide slices lie closer together than the whole distribution.
        group = group / group.std()
    count = levels * per_level
    values = normal_draws(count)
    random = np.random.Generator(np.random.PCG64(seed))
    best, least = np.empty(0), np.inf
    for _ in range(_TRIES):
        tried = np.array([values[random.permutation(count)] for _ in (*_PHASES, "pace")])
        everything = np.vstack([np.repeat(group, per_level), tried])
        correlation = np.corrcoef(everything) - np.eye(len(everything))
        if np.abs(correlation).max() < least:
            best, least = tried, float(np.abs(correlation).max())
    *own, pace = best.reshape(-1, levels, per_level)
    phase = dict(zip(_PHASES, own, strict=True))
    for name in _PACED:
        phase[name] = np.sqrt(shared) * pace + np.sqrt(1.0 - shared) * phase[name]
    return Draws(group, phase)


def member_errors(draws: Draws, *, ensemble: Ensemble) -> MemberErrors:
    """Scale the draws by how sure each phase is.

    A share of a need is more days in cold weather than in warm, so emergence from cold soil is
    less sure without being told so.
    """

    def factor(name: str, share: Quantity) -> FloatArray:
        # A share of e^z keeps needs above zero and treats half and double alike.
        errors: FloatArray = np.exp(float(share) * draws.phase[name])
        return errors

    return MemberErrors(
        emergence=factor("emergence", ensemble.emergence),
        nodes=factor("nodes", ensemble.nodes),
        before_r1=factor("before_r1", ensemble.before_r1),
        r1_r5=factor("r1_r5", ensemble.r1_r5),
        r5_r7=factor("r5_r7", ensemble.r5_r7),
        r8_days=float(ensemble.r8_days) * draws.phase["r8"],
    )
