"""What a treatment has to save: gain threshold, economic injury level, threshold below it.

Money is in any one currency, area in any one unit, yield in any one unit: $/acre with $/bushel
and bushels/acre, or the like per hectare. A density is in pests per whatever the loss was
measured for (per plant, per row-foot, per 25 sweeps), and comes out in the same unit.

References
----------
Stern, V.M., Smith, R.F., van den Bosch, R., Hagen, K.S. 1959. Hilgardia 29:81-101 (economic
injury level, economic threshold). Pedigo, L.P., Hutchins, S.H., Higley, L.G. 1986. Annu. Rev.
Entomol. 31:341-368 (the formula). Hutchins, S.H., Higley, L.G., Pedigo, L.P. 1988. J. Econ.
Entomol. 81:1-8 (injury equivalents). Bibliography MEMORY except the last (abstract READ); tested
against published worked examples.

"""

from __future__ import annotations

import math
from collections.abc import Mapping


def gain_threshold(
    cost: float, price: float, *, control: float = 1.0, highest_price: float = math.inf
) -> float:
    """Yield that a treatment has to save to pay for itself: ``C / (V K)``.

    Parameters
    ----------
    cost : float
        C, of the treatment with its application, money per area; not negative.
    price : float
        V, money per unit of yield; positive.
    control : float
        K, share of the injury that the treatment prevents; above 0, up to 1.
    highest_price : float
        Above it a threshold is not lowered any more, where a published rule says so; default
        none.

    Returns
    -------
    float
        Yield per area.

    Raises
    ------
    ValueError
        A value outside its bounds.
    """
    _check(0.0 <= cost < math.inf, "a cost is not negative")
    _check(0.0 < price < math.inf and highest_price > 0.0, "a price is positive")
    _check(0.0 < control <= 1.0, "a treatment prevents a share of the injury, up to all of it")
    return cost / (min(price, highest_price) * control)


def loss_per_pest(lost_share: float, crop_yield: float, *, density: float = 1.0) -> float:
    """Yield that one pest per sample unit costs: ``share * yield / density``.

    Parameters
    ----------
    lost_share : float
        Share of the yield lost at ``density``, 0 to 1.
    crop_yield : float
        Yield expected without the pest, per area; positive.
    density : float
        Pests per sample unit at which that share is lost; positive. Loss is taken as
        proportional to density.

    Returns
    -------
    float
        b, yield per area for each pest per sample unit.

    Raises
    ------
    ValueError
        A value outside its bounds.
    """
    _check(0.0 <= lost_share <= 1.0, "a share of the yield lies between 0 and 1")
    _check(0.0 < crop_yield < math.inf and 0.0 < density < math.inf, "yield, density: positive")
    return lost_share * crop_yield / density


def injury_level(gain: float, loss: float) -> float:
    """Economic injury level: density whose loss equals the gain threshold, ``C / (V b K)``.

    Parameters
    ----------
    gain : float
        Yield per area, from `gain_threshold`; not negative.
    loss : float
        b, yield per area for each pest per sample unit; positive.

    Returns
    -------
    float
        Pests per sample unit.

    Raises
    ------
    ValueError
        A value outside its bounds.
    """
    _check(0.0 <= gain < math.inf, "a gain threshold is not negative")
    _check(0.0 < loss < math.inf, "without loss there is no injury level")
    return gain / loss


def threshold_before(level: float, *, growth_per_day: float, lead_days: float) -> float:
    """Threshold from which a pest reaches the injury level just as a treatment acts.

    Parameters
    ----------
    level : float
        Economic injury level, pests per sample unit; not negative.
    growth_per_day : float
        r of exponential growth, 1/day; not negative: a falling density never raises a threshold.
    lead_days : float
        L, days from the count until the treatment acts; not negative.

    Returns
    -------
    float
        ``level * exp(-r L)``, pests per sample unit.

    Raises
    ------
    ValueError
        A value outside its bounds.
    """
    _check(0.0 <= level < math.inf, "an injury level is not negative")
    _check(0.0 <= growth_per_day < math.inf and 0.0 <= lead_days < math.inf, "not negative")
    return level * math.exp(-growth_per_day * lead_days)


def threshold_at_share(level: float, share: float) -> float:
    """Threshold at a fixed share (above 0, up to 1) of the injury level, in its unit.

    Raises ValueError for a value outside its bounds.
    """
    _check(0.0 <= level < math.inf, "an injury level is not negative")
    _check(0.0 < share <= 1.0, "a share of the injury level is above 0 and up to 1")
    return share * level


def injury_weights(losses: Mapping[str, float], *, standard: str) -> dict[str, float]:
    """How many of the standard species one of each species is worth, by injury.

    Parameters
    ----------
    losses : mapping of str to float
        Injury of one insect of each species, all in one unit (leaf area eaten, yield lost); not
        negative, and positive for the standard.
    standard : str
        The species that counts as 1.

    Raises
    ------
    ValueError
        The standard is not among them, or an injury is outside its bounds.
    """
    _check(standard in losses, f"no injury is given for {standard}")
    _check(losses[standard] > 0.0, f"{standard} does no injury to measure others by")
    _check(all(0.0 <= loss < math.inf for loss in losses.values()), "an injury is not negative")
    return {species: loss / losses[standard] for species, loss in losses.items()}


def injury_equivalents(counts: Mapping[str, float], weights: Mapping[str, float]) -> float:
    """Several species of one kind of injury as so many of the standard one: ``sum w_i n_i``.

    Parameters
    ----------
    counts : mapping of str to float
        Insects of each species, all per the same sample unit; not negative.
    weights : mapping of str to float
        What one of each counts for, as from `injury_weights`; not negative.

    Raises
    ------
    ValueError
        A species without a weight, or a negative number.
    """
    missing = sorted(counts.keys() - weights.keys())
    _check(not missing, f"no weight is given for {', '.join(missing)}")
    _check(all(0.0 <= n < math.inf for n in counts.values()), "a count is not negative")
    _check(all(0.0 <= weights[s] < math.inf for s in counts), "a weight is not negative")
    return math.fsum(weights[species] * n for species, n in counts.items())


def _check(fine: bool, otherwise: str) -> None:
    if not fine:
        raise ValueError(otherwise)
