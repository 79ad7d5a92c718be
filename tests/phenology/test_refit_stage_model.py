"""The refit finds what is there to find, and leaves alone what is not."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from refit_stage_model import CANDIDATES, LONGEST, Data, Observation, Runner, Site, main, refit
from stage_helpers import invented_years

FIRST_YEAR = 2001


def simulated(
    moves: dict[str, float], *, years: int = 8, noise_days: float = 0.0, seed: int = 0
) -> Data:
    """R1 and R8 of invented fields in whole days, as the model gives them with numbers moved.

    Each year has two groups at two latitudes, planted early and late.
    """
    entries = []
    for latitude, mean_c in ((38.0, 13.0), (43.0, 9.0)):
        low, high = invented_years(
            mean_c=mean_c, swing_c=13.0, range_c=11.0, seed=int(latitude), members=years
        )
        for i in range(years):
            for number, day in ((2.4, 120), (2.4, 150), (3.4, 125), (3.4, 155)):
                planted = dt.date(FIRST_YEAR + i, 1, 1) + dt.timedelta(days=day)
                weather = np.column_stack([low[i], high[i]])[day : day + LONGEST]
                site = Site(planted, latitude, number, weather)
                name = f"{latitude} {number} {day}"
                entries += [
                    (Observation(name, planted.year, stage, 0.0), [site]) for stage in ("R1", "R8")
                ]
    data = Data.of(entries)
    noise = np.random.default_rng(seed).normal(0.0, noise_days, len(entries))
    days = np.round(data.mean(Runner.of(data).days(moves)) + noise)
    seen = tuple(replace(o, days=float(d)) for o, d in zip(data.observations, days, strict=True))
    return replace(data, observations=seen)


def test_a_known_change_is_recovered() -> None:
    """Needs 8% up before R1 and 5% down after it are found to within one percent, and pay."""
    truth = {"need_ve_r1": np.log(1.08), "need_after_r1": np.log(0.95)}
    result = refit(simulated(truth, noise_days=1.0))
    assert result.pays
    for name, value in truth.items():
        assert result.recommended[name] == pytest.approx(value, abs=0.01)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nothing_moves_where_data_agree(seed: int) -> None:
    """Observations scattered by three days around the present values leave every number as is."""
    result = refit(simulated({}, noise_days=3.0, seed=seed))
    assert result.tried, "the data are many enough that something was tried"
    assert result.recommended == dict.fromkeys((c.name for c in CANDIDATES), 0.0)


def test_what_the_data_cannot_tell_is_not_tried() -> None:
    """Without R8 nothing after R1 is tried; with two observations nothing is."""
    data = simulated({"need_ve_r1": np.log(1.08)})
    flowers = data.of_stage("R1")
    entries = [(data.observations[i], [data.sites[i]]) for i in np.flatnonzero(flowers)]
    told = {candidate.name for candidate in refit(Data.of(entries)).tried}
    assert "need_ve_r1" in told
    assert not told & {"need_after_r1", "need_r5_r7"}
    assert refit(Data.of(entries[:2])).tried == ()


def test_a_folder_without_observations_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The script ends with a message and a code of 1 where there is nothing to read."""
    assert main([str(tmp_path)]) == 1
    assert "no observations" in capsys.readouterr().out
