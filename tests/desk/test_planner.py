"""Plans behind the pages: one at a time, given up when stale, standing still for who waits."""

from __future__ import annotations

import threading
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.steps import heard, step
from stagecast.desk import planner as planner_module
from stagecast.desk.planner import Job, Planner
from stagecast.words.notes import planning_text


class Work:
    """Long work that goes on a step whenever it is told to, or freely."""

    def __init__(self) -> None:
        self.begun, self.free = threading.Event(), threading.Event()
        self.steps = 0

    def __call__(self, job: Job[str]) -> str:
        """Take steps until it is let go."""
        self.begun.set()
        while not self.free.is_set():
            self.steps += 1
            step()
            time.sleep(0.001)
        return "made"


def test_a_job_is_made_once_for_those_who_ask_for_the_same() -> None:
    """Two who ask for one key wait for the same job, which has one result."""
    planner: Planner[str] = Planner()
    work = Work()
    first = planner.start("a", work, alone=True)
    assert work.begun.wait(10)
    assert planner.start("a", work, alone=True) is first
    assert planner.job("a") is first
    work.free.set()
    assert first.wait(10)
    assert (first.result, first.error) == ("made", None)
    while planner.job("a") is not None:
        time.sleep(0.001)


def test_a_newer_job_ends_an_older_one() -> None:
    """What is stale is given up at its next step, and the newer one is made."""
    planner: Planner[str] = Planner()
    old, new = Work(), Work()
    new.free.set()
    first = planner.start("old", old, alone=True)
    assert old.begun.wait(10)
    second = planner.start("new", new, alone=True)
    assert first.wait(10)
    assert second.wait(10)
    assert (first.given_up, first.result, second.result) == (True, None, "made")


def test_a_job_beside_waits_for_its_turn() -> None:
    """A job that gives up none begins when the one before it is over."""
    planner: Planner[str] = Planner()
    one, other = Work(), Work()
    first = planner.start("one", one, alone=True)
    assert one.begun.wait(10)
    other.free.set()
    second = planner.start("other", other, alone=False)
    assert not other.begun.wait(0.05)
    one.free.set()
    assert second.wait(10)
    assert (first.result, second.result) == ("made", "made")


def test_a_plan_stands_still_for_who_waits_for_an_answer() -> None:
    """No step is taken while somebody is inside; whoever waits for the plan lets it go on."""
    planner: Planner[str] = Planner()
    work = Work()
    job = planner.start("a", work, alone=True)
    assert work.begun.wait(10)
    with planner.aside():
        time.sleep(0.05)
        before = work.steps
        time.sleep(0.2)
        assert work.steps <= before + 1
        work.free.set()
        planner.wait(job, 10)
    assert job.result == "made"


def test_the_garbage_of_a_plan_is_looked_through_while_nobody_waits(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It holds up everything for a third of a second.

    So not after a plan that was given up, where somebody has just sent an entry, nor while somebody
    waits for a page.
    """
    settled = threading.Event()
    monkeypatch.setattr(planner_module, "_settle", settled.set)
    monkeypatch.setattr(planner_module, "MAKE_WAY_S", 60.0)
    planner: Planner[str] = Planner()
    old, begun, free = Work(), threading.Event(), threading.Event()

    def without_a_step(job: Job[str]) -> str:
        begun.set()
        assert free.wait(60)
        return "made"

    first = planner.start("old", old, alone=True)
    assert old.begun.wait(10)
    second = planner.start("new", without_a_step, alone=True)
    assert first.wait(10)
    assert begun.wait(10), "its turn comes after all that the one before it leaves"
    assert not settled.is_set()
    with planner.aside():
        free.set()
        assert second.wait(10)
        assert not settled.wait(0.2)
    assert settled.wait(10)


def test_an_error_ends_a_job_and_is_kept() -> None:
    """What goes wrong in the thread is the job's error; the next job runs."""
    planner: Planner[str] = Planner()

    def fails(job: Job[str]) -> str:
        raise ValueError("no")

    job = planner.start("a", fails, alone=True)
    assert job.wait(10)
    assert isinstance(job.error, ValueError)
    good = Work()
    good.free.set()
    again = planner.start("b", good, alone=True)
    assert again.wait(10)
    assert again.result == "made"


def test_steps_are_heard_in_one_thread_alone() -> None:
    """A step does nothing where nobody listens, and calls the innermost who does."""
    told: list[str] = []
    step()
    with heard(lambda: told.append("outer")):
        step()
        with heard(lambda: told.append("inner")):
            step()
        other = threading.Thread(target=step)
        other.start()
        other.join()
        step()
    step()
    assert told == ["outer", "inner", "outer"]


@given(of=st.integers(0, 5000), data=st.data(), first=st.booleans())
def test_progress_says_how_far_it_is(of: int, data: st.DataObject, first: bool) -> None:
    """Fields so far of all, once they are known; an older plan that is shown is called so."""
    done = data.draw(st.integers(0, of))
    told = planning_text(done, of, first=first)
    assert (f"{done} of {of} field" in told) == (of > 0)
    assert told.startswith("Planning" if first else "Replanning")
    assert ("from before it" in told) != first


@pytest.mark.parametrize("seconds", [0.0, 0.01])
def test_waiting_for_a_job_has_an_end(seconds: float) -> None:
    """Nobody waits longer for a plan than they said."""
    planner: Planner[str] = Planner()
    work = Work()
    job = planner.start("a", work, alone=True)
    planner.wait(job, seconds)  # the job has no end of its own before it is let go
    assert not job.over
    work.free.set()
    assert job.wait(10)


def test_the_end_gives_up_what_is_on_its_way_and_waits_for_it() -> None:
    """No thread is left in the middle of a search when the program ends."""
    planner: Planner[str] = Planner()
    begun, before = threading.Event(), set(threading.enumerate())

    def make(_: Job[str]) -> str:
        begun.set()
        while True:
            step()

    jobs = [planner.start(key, make, alone=False) for key in ("one", "two")]
    assert begun.wait(600)
    planner.close()
    assert [(job.over, job.given_up, job.result) for job in jobs] == [(True, True, None)] * 2
    assert set(threading.enumerate()) <= before
