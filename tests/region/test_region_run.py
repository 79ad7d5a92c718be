"""A region's run: resumed, on one worker or two, read back by readers that are not ours."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import multiprocessing
import os
import pickle
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from commands import process_environment
from distributed import LocalCluster
from region_builder import YEAR, region_fields, region_weather, write_region

from stagecast.base.errors import Busy, SeasonProblems, StoreError
from stagecast.region import run as run_module
from stagecast.region import workers as workers_module
from stagecast.region.fields import RegionFields, read_fields
from stagecast.region.part import RegionAsked
from stagecast.region.run import MANIFEST, PARTS, RegionRun, Told, crew_for, run_region
from stagecast.region.weather import ParquetWeather
from stagecast.region.workers import Processes

CELLS = [f"c{number:02d}" for number in range(12)]
FIELDS = 600
KILLS = 5
AS_OF = dt.date(YEAR, 3, 1)
ASKED = RegionAsked(AS_OF)


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fields and temperatures of a small region."""
    folder = tmp_path_factory.mktemp("region")
    county = [f"county {number % 3}" for number in range(FIELDS)]
    area = np.round(np.random.default_rng(5).uniform(5.0, 60.0, FIELDS), 1).tolist()
    fields = region_fields(FIELDS, cells=CELLS, county=county, area_ha=area)
    return write_region(folder, fields, region_weather(CELLS))


@pytest.fixture(autouse=True)
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Parts of a cell or two, so that there are several."""
    monkeypatch.setattr(run_module, "LARGEST_PART", 100)


def fields_of(tables: Path) -> RegionFields:
    """The fields, checked."""
    return read_fields(tables / "fields.parquet", span=ASKED.span, knowledge=ASKED.knowledge)


def run_here(
    tables: Path, out: Path, *, workers: int = 1, scheduler: str | None = None,
    told: Told = lambda done, of: None,
) -> RegionRun:  # fmt: skip
    """A run in this process, unless told otherwise."""
    weather = ParquetWeather.open(tables / "weather.parquet")
    with crew_for(tables / "fields.parquet", workers=workers, scheduler=scheduler) as crew:
        return run_region(fields_of(tables), weather, out, asked=ASKED, crew=crew, told=told)


def kill_a_worker() -> None:
    """End one of the processes that do parts, as a system short of memory does."""
    os.kill(min(one.pid or 0 for one in multiprocessing.active_children()), signal.SIGKILL)


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file of a folder with its bytes."""
    return {path.name: path.read_bytes() for path in sorted(folder.rglob("*.*"))}


@pytest.fixture(scope="module")
def whole(tables: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The results of a run that nothing stopped."""
    out = tmp_path_factory.mktemp("whole") / "out"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run_module, "LARGEST_PART", 100)
        run_here(tables, out)
    return out


# --- the same bytes, however it ran ---------------------------------------------------------------


def test_two_workers_write_the_same_bytes_as_one(tables: Path, whole: Path, tmp_path: Path) -> None:
    """How many share the work is nowhere in the files."""
    found = run_here(tables, tmp_path / "two", workers=2)
    assert found.parts >= 6
    assert files_of(tmp_path / "two") == files_of(whole)


def test_a_worker_that_is_ready_compiles_nothing_for_its_parts(
    tables: Path, tmp_path: Path
) -> None:
    """What the made-up field loads is what every part runs, in a process that has nothing else."""
    script = (
        "import sys; from stagecast.region.ready import make_ready;"
        "from stagecast.region.kernel import forecast_cell as loop;"
        "from stagecast.cli.main import run as main; make_ready();"
        "import atexit; atexit.register(lambda: print('forms:', len(loop.signatures)));"
        "main(sys.argv[1:])"
    )
    ended = subprocess.run(
        [
            sys.executable, "-c", script, "region", str(tables / "fields.parquet"),
            "--weather", str(tables / "weather.parquet"), "--out", str(tmp_path / "out"),
            "--as-of", str(AS_OF),
        ],
        env=process_environment(), capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    assert ended.stdout.splitlines()[-1] == "forms: 1"


def test_a_cluster_that_is_there_writes_the_same_bytes(
    tables: Path, whole: Path, tmp_path: Path
) -> None:
    """The parts go to the workers of a scheduler at an address, which stays up afterwards."""
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp://",
        dashboard_address="127.0.0.1:0",
    ) as cluster:  # fmt: skip
        address = cluster.scheduler_address
        assert address.startswith("tcp://")
        assert run_here(tables, tmp_path / "out", scheduler=address).done_before == 0
        assert len(cluster.workers) == 1
    assert files_of(tmp_path / "out") == files_of(whole)


def test_a_scheduler_that_does_not_answer_is_said(
    tables: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After some seconds; what can be done is in the sentence."""
    monkeypatch.setattr(workers_module, "_PATIENCE_S", 0.3)
    with pytest.raises(SeasonProblems, match="no scheduler answers"):
        run_here(tables, tmp_path / "out", scheduler="tcp://127.0.0.1:9")


def test_what_is_there_is_not_done_again(tables: Path, whole: Path, tmp_path: Path) -> None:
    """Of a finished run nothing is done twice; of one that lost a file, that file alone."""
    out = tmp_path / "out"
    first = run_here(tables, out)
    assert (first.done_before, first.fields) == (0, FIELDS)
    stamps = {path.name: path.stat().st_mtime_ns for path in (out / PARTS).glob("part-*")}
    assert run_here(tables, out).done_before == first.parts
    (out / PARTS / "part-00002.parquet").unlink()
    (out / PARTS / "part-00003.parquet").write_bytes(b"PAR1 and no more")
    (out / PARTS / ".stagecast-half").write_bytes(b"PAR1")
    assert run_here(tables, out).done_before == first.parts - 2
    again = {path.name: path.stat().st_mtime_ns for path in (out / PARTS).glob("part-*")}
    changed = {name for name, stamp in again.items() if stamps[name] != stamp}
    assert changed == {"part-00002.parquet", "part-00003.parquet"}
    assert files_of(out) == files_of(whole)


def test_other_weather_of_a_cell_does_its_part_again(
    tables: Path, whole: Path, tmp_path: Path
) -> None:
    """A part is known by what it is made from: one cell changed, that part alone is done again."""
    weather = pq.read_table(tables / "weather.parquet").to_pandas()
    weather.loc[weather["cell"] == CELLS[-1], "tmax_c"] += 1.0
    folder = write_region(
        tmp_path, pq.read_table(tables / "fields.parquet"), pa.Table.from_pandas(weather)
    )
    out = tmp_path / "out"
    run_here(tables, out)
    found = run_here(folder, out)
    assert found.done_before == found.parts - 1
    before, after = files_of(whole), files_of(out)
    assert {name for name in after if after[name] != before[name]} == {
        f"part-{found.parts - 1:05d}.parquet"
    }


def test_what_is_asked_and_a_later_day_do_everything_again(tables: Path, tmp_path: Path) -> None:
    """Draws and the day asked for are part of what a file is known by."""
    weather = ParquetWeather.open(tables / "weather.parquet")
    for asked in (ASKED, RegionAsked(AS_OF, draws=2), RegionAsked(AS_OF.replace(day=2))):
        found = run_region(fields_of(tables), weather, tmp_path / "out", asked=asked)
        assert found.done_before == 0


def test_a_run_that_is_killed_again_and_again_ends_in_the_same_bytes(
    tables: Path, whole: Path, tmp_path: Path
) -> None:
    """Killed after each new file, a run loses at most the part that it was at, and no half file."""
    out = tmp_path / "out"
    script = (
        "import sys, datetime as dt; from pathlib import Path; from stagecast.region import run;"
        "run.LARGEST_PART = 100;"
        "from stagecast.cli.main import run as main; main(sys.argv[1:])"
    )
    command = [
        sys.executable, "-c", script, "region", str(tables / "fields.parquet"),
        "--weather", str(tables / "weather.parquet"), "--out", str(out), "--as-of", str(AS_OF),
        "--workers", "1",
    ]  # fmt: skip
    done = 0
    for _ in range(2):
        process = subprocess.Popen(
            command, env=process_environment(), stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        while process.poll() is None and len(list((out / PARTS).glob("part-*.parquet"))) <= done:
            time.sleep(0.005)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        there = sorted((out / PARTS).glob("part-*.parquet"))
        assert len(there) > done
        assert not (out / MANIFEST).exists()
        for path in there:
            assert path.read_bytes() == (whole / PARTS / path.name).read_bytes()
        done = len(there)
    ended = subprocess.run(
        command, env=process_environment(), capture_output=True, text=True, timeout=120
    )
    assert ended.returncode == 0, ended.stderr
    assert f"{done} were there already" in ended.stdout
    assert files_of(out) == files_of(whole)


def test_workers_that_are_killed_lose_no_more_than_their_part(
    tables: Path, whole: Path, tmp_path: Path
) -> None:
    """After each part a worker is killed, five in all: the run ends as if none had been.

    What was done stays done: its file is not written again.
    """
    out, killed = tmp_path / "out", 0
    stamps: dict[str, int] = {}

    def kill_one(done: int, fields: int) -> None:
        nonlocal killed
        for path in (out / PARTS).glob("part-*.parquet"):
            stamps.setdefault(path.name, path.stat().st_mtime_ns)
        if 0 < done < fields and killed < KILLS:
            kill_a_worker()
            killed += 1

    found = run_here(tables, out, workers=2, told=kill_one)
    assert found.parts > KILLS == killed
    assert files_of(out) == files_of(whole)
    for path in (out / PARTS).glob("part-*.parquet"):
        assert stamps[path.name] == path.stat().st_mtime_ns


def test_a_part_that_ends_every_worker_is_named(
    tables: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No run goes on for ever with a part that no process lives through."""
    monkeypatch.setattr(workers_module, "_FAILURES", 0)

    def kill_all(done: int, fields: int) -> None:
        for one in multiprocessing.active_children():
            one.kill()

    with pytest.raises(SeasonProblems, match=r"every process that took part-0000\d.parquet"):
        run_here(tables, tmp_path / "out", workers=2, told=kill_all)
    assert not multiprocessing.active_children()


def test_what_goes_wrong_in_a_worker_is_said_as_it_is_here(tables: Path, tmp_path: Path) -> None:
    """A folder that is gone as the parts are written: the same error from one process and two."""
    said = []
    for workers in (1, 2):
        out = tmp_path / "out"

        def lose_it(done: int, fields: int, out: Path = out) -> None:
            shutil.rmtree(out)

        with pytest.raises(StoreError) as caught:
            run_here(tables, out, workers=workers, told=lose_it)
        said.append(caught.value)
    one, two = said
    assert (one.reason, one.next_step) == (two.reason, two.next_step)


def test_two_runs_never_mix_their_parts_in_a_folder(
    tables: Path, whole: Path, tmp_path: Path
) -> None:
    """While one run writes, another one of another day is refused, and changes nothing there."""
    out, refused = tmp_path / "out", 0

    def meanwhile(done: int, fields: int) -> None:
        nonlocal refused
        weather = ParquetWeather.open(tables / "weather.parquet")
        other = replace(ASKED, as_of=AS_OF + dt.timedelta(days=1))
        before = files_of(out)
        with pytest.raises(Busy, match="another run is writing into this folder"):
            run_region(fields_of(tables), weather, out, asked=other)
        assert files_of(out) == before
        refused += 1

    found = run_here(tables, out, told=meanwhile)
    assert refused == found.parts + 1
    assert files_of(out) == files_of(whole)


@pytest.mark.parametrize("lives", [True, False])
def test_a_part_of_a_run_that_was_killed_is_not_done_any_more(
    monkeypatch: pytest.MonkeyPatch, lives: bool
) -> None:
    """A worker that was getting ready meanwhile leaves the folder to the run that comes next."""
    here, theirs = multiprocessing.Pipe()
    done: list[object] = []
    with monkeypatch.context() as patch:
        patch.setattr(signal, "signal", lambda *given: None)
        patch.setattr(workers_module, "make_ready", lambda: None)
        patch.setattr(workers_module, "_done", lambda part, job: done.append(part) or 1)
        patch.setattr(workers_module, "parent_process", lambda: Mock(is_alive=lambda: lives))
        here.send((b"job", "part"))
        here.close()
        workers_module._serve(theirs)
    assert done == (["part"] if lives else [])


class Unsendable(Exception):
    """An error that pickle cannot make again."""

    def __init__(self, *, why: str) -> None:
        super().__init__(f"because of {why}")


def test_an_error_that_cannot_be_sent_is_told_by_its_words(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What went wrong reaches whoever sent the part; it is not held for a worker that was ended."""

    def fail(*given: object) -> int:
        raise Unsendable(why="rain")

    monkeypatch.setattr(workers_module, "do_part", fail)
    job = pickle.dumps((None, None))
    found = workers_module._done(None, job)  # type: ignore[arg-type]
    assert isinstance(found, RuntimeError)
    assert "because of rain" in str(pickle.loads(pickle.dumps(found)))


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals are POSIX's")
def test_workers_never_hear_of_ctrl_c() -> None:
    """It goes to all processes of a terminal: from its first moment a worker leaves it to this one.

    What begins to load its modules would print a traceback; this process hears of it as before.
    """
    before = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    with Processes(1):
        (worker,) = multiprocessing.active_children()
        os.kill(worker.pid or 0, signal.SIGINT)
        assert signal.pthread_sigmask(signal.SIG_BLOCK, ()) == before
        assert signal.SIGINT not in before
        worker.join(0.5)
        assert worker.is_alive()
    assert not multiprocessing.active_children()


# --- read back ------------------------------------------------------------------------------------


def test_duckdb_and_pandas_read_one_table_of_all_fields(tables: Path, whole: Path) -> None:
    """The documented columns are there for readers that are not ours: each field once, in range."""
    duckdb = pytest.importorskip("duckdb", reason="no duckdb to read the files with")
    read = duckdb.sql(f"select * from read_parquet('{whole / PARTS}/*.parquet')").df()
    assert sorted(read["field_id"]) == sorted(f"F{number:05d}" for number in range(FIELDS))
    frame = pd.concat(
        [pd.read_parquet(path) for path in sorted((whole / PARTS).glob("part-*.parquet"))],
        ignore_index=True,
    )
    both = [f.sort_values("field_id", ignore_index=True) for f in (read, frame)]
    pd.testing.assert_frame_equal(*both, check_dtype=False)
    days = frame[[name for name in frame if name.rpartition("_")[2] in ("p10", "p50", "p90")]]
    assert {str(kind) for kind in days.dropna(axis=1).dtypes} == {"int16"}
    assert ((days >= 1) & (days <= 334) | (days == 999) | days.isna()).all(axis=None)
    order = ["ve", "r1", "r2", "r3", "r4", "r5", "r6", "r6_5", "r7", "r8"]
    for early, late in itertools.pairwise(order):
        for quantile in ("p10", "p50", "p90"):
            assert (frame[f"{early}_{quantile}"] <= frame[f"{late}_{quantile}"]).all()
    document = json.loads((whole / MANIFEST).read_text())
    assert sum(part["fields"] for part in document["parts"]) == FIELDS
    pd.testing.assert_frame_equal(pd.read_parquet(whole / PARTS), frame, check_dtype=False)


def test_a_folder_with_something_else_in_it_is_left_alone(tables: Path, tmp_path: Path) -> None:
    """Results never go among files of other kinds."""
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(StoreError, match="something else is there"):
        run_here(tables, tmp_path)
    assert files_of(tmp_path) == {"notes.txt": b"mine"}


def test_cells_without_weather_are_all_named(tables: Path, tmp_path: Path) -> None:
    """Before anything is computed, every cell that the temperatures lack is told."""
    fields = region_fields(9, cells=["c00", "elsewhere", "nowhere"])
    folder = write_region(tmp_path / "in", fields, region_weather(["c00"]))
    with pytest.raises(SeasonProblems) as caught:
        run_here(folder, tmp_path / "out")
    assert {problem.found for problem in caught.value.problems} == {"elsewhere", "nowhere"}
