"""The wired run: real threads and sockets, a fast clock."""

import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from benchapp.bench.limits import HouseLimits, LimitExceeded
from benchapp.bench.output import OutputState
from benchapp.bench.plan import plan_bench
from benchapp.clock import ScaledClock
from benchapp.events import EndReason, Event, Reading
from benchapp.logbook.errors import LogbookError
from benchapp.logbook.query import load_run
from benchapp.logbook.replay import replay
from benchapp.logbook.store import RunWriter
from benchapp.measure.snapshot import Batch
from benchapp.recipe import Recipe, StopRule
from benchapp.result.json_object import statement_from
from benchapp.result.statement import Statement
from benchapp.result.validity import Validity
from benchapp.run.history import Columns
from benchapp.run.session import Session
from sim.bench import SimulatedBench
from sim.clock import ScaledClock as SimulatedClock
from sim.scenario import load_scenario
from sim.server import BenchServer
from tests.benchapp.simulated import recipe_of

SPEED = 50.0


@pytest.fixture
def sim() -> Iterator[tuple[SimulatedBench, BenchServer]]:
    bench = SimulatedBench(load_scenario("shunt"), SimulatedClock(SPEED))
    with BenchServer(bench) as server:
        yield bench, server


def make(server: BenchServer, logbook: Path, **changes: object) -> Session:
    recipe = recipe_of(load_scenario("shunt"), **changes)
    plan = plan_bench(server.source, server.voltmeter)
    return Session(plan, recipe, HouseLimits(), clock=ScaledClock(SPEED), logbook=logbook)


def test_what_is_published_is_in_the_record_and_a_replay_gives_the_same(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path
) -> None:
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(20))
    session.start()
    assert session.wait(30)
    assert session.end is not None
    assert session.end.reason is EndReason.RULE
    assert session.snapshot is not None
    assert session.run_id is not None
    record = load_run(tmp_path / "log.sqlite", session.run_id)
    assert session.history.readings.since(0).T.tolist() == [
        list(row)
        for row in zip(record.readings.time_s, record.readings.current_A, record.readings.voltage_V, strict=True)
    ]
    estimate, blocks = replay(record, session.recipe)
    stated = session.snapshot.statement
    assert stated is not None
    assert stated.final
    assert estimate == stated.estimate
    assert session.history.blocks.since(0)[1] == pytest.approx(blocks[1], rel=1e-12)
    assert record.summary.stated is not None
    assert statement_from(record.summary.stated) == stated
    assert (stated.conditions.range_V, stated.conditions.source_range_A) == (0.01, 10.0)


def test_a_result_so_far_is_stated_while_it_goes_on(sim: tuple[SimulatedBench, BenchServer], tmp_path: Path) -> None:
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(None))
    session.start()
    counts: set[int] = set()
    until = time.monotonic() + 20
    while len(counts) < 3 and time.monotonic() < until:
        session.wait_for_change(0.1)
        stated = session.snapshot and session.snapshot.statement
        if stated:
            assert not stated.final
            counts.add(stated.estimate.blocks)
    session.control.stop("enough")
    assert session.wait(10)
    assert len(counts) >= 3
    assert session.statement is not None
    assert session.statement.final
    assert not session._watcher._thread.is_alive()


def test_an_internal_error_at_the_beginning_of_the_record_is_told(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("no")

    monkeypatch.setattr("benchapp.run.recorder.RunWriter", broken)
    with pytest.raises(LogbookError, match=r"the record cannot be begun \(ZeroDivisionError"):
        make(sim[1], tmp_path / "log.sqlite").start()
    assert not sim[0].source.output_on


def test_stop_from_another_thread(sim: tuple[SimulatedBench, BenchServer], tmp_path: Path) -> None:
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(None))
    session.start()
    while session.snapshot is None or session.snapshot.readings < 20:
        session.wait_for_change(1.0)
    assert sim[0].source.output_on
    session.control.stop("enough")
    assert session.wait(10)
    assert not sim[0].source.output_on
    assert load_run(tmp_path / "log.sqlite", session.run_id or 0).summary.status == "operator"


def test_nothing_starts_without_a_record_or_beyond_a_limit(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(LogbookError):
        make(sim[1], tmp_path / "file" / "log.sqlite").start()
    with pytest.raises(LimitExceeded):
        make(sim[1], tmp_path / "log.sqlite", current_A=11.0).start()


def test_nobody_at_the_address_is_instrument_trouble(tmp_path: Path) -> None:
    bench = SimulatedBench(load_scenario("shunt"), SimulatedClock(SPEED))
    with BenchServer(bench) as server:
        addresses = server.source, server.voltmeter
    session = Session(
        plan_bench(*addresses), Recipe(0.1), HouseLimits(), clock=ScaledClock(), logbook=tmp_path / "log.sqlite"
    )
    session.start()
    assert session.wait(20)
    assert session.end is not None
    assert session.end.reason is EndReason.INSTRUMENT
    assert all(address in session.end.text for address in addresses)


def test_an_internal_error_in_the_record_ends_the_run_with_the_output_off(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    appended: list[int] = []
    plain = RunWriter.append

    def failing(writer: RunWriter, readings: Sequence[Reading], events: Sequence[Event]) -> None:
        appended.append(len(readings))
        if sum(appended) > 20:
            raise ZeroDivisionError
        plain(writer, readings, events)

    monkeypatch.setattr(RunWriter, "append", failing)
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(None))
    session.start()
    assert session.wait(20)
    assert session.end is not None
    assert (session.end.reason, session.end.output_off) == (EndReason.RECORD, True)
    assert not sim[0].source.output_on
    assert session.snapshot is not None
    assert session.snapshot.end is not None


def test_a_fault_in_looking_for_traps_is_told_and_loses_no_reading(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: object, **__: object) -> None:
        raise ValueError("singular")

    monkeypatch.setattr("benchapp.analysis.analyst.with_traps", failing)
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(20))
    session.start()
    assert session.wait(20)
    assert session.snapshot is not None
    assert session.snapshot.statement is not None
    assert [flag.code for flag in session.snapshot.statement.flags] == ["not-checked"]
    assert session.snapshot.statement.validity is Validity.DOUBTFUL
    assert load_run(tmp_path / "log.sqlite", session.run_id or 0).summary.readings == session.snapshot.readings


@pytest.mark.parametrize("failing", ["benchapp.logbook.store.RunWriter.end", "benchapp.run.stating.analyse_by"])
def test_an_end_that_cannot_be_written_or_stated_is_no_result(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise LogbookError("the disk is full")

    monkeypatch.setattr(failing, fail)
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(20))
    session.start()
    assert session.wait(20)
    assert session.end is not None
    assert (session.end.reason, session.end.exit_status) == (EndReason.RECORD, 4)
    assert not sim[0].source.output_on
    if session.statement is not None:
        assert session.statement.validity is Validity.NOT_VALID
        assert session.statement.final


def test_columns_grow_and_keep_what_a_reader_holds() -> None:
    columns = Columns(2)
    columns.extend([(1.0, 2.0)])
    held = columns.since(0)
    columns.extend([(float(k), 0.0) for k in range(5000)])
    assert held.tolist() == [[1.0], [2.0]]
    assert columns.count == 5001
    assert columns.since(5000).tolist() == [[4999.0], [0.0]]


@pytest.mark.parametrize("how", ["moved", "removed", "replaced"])
def test_a_record_that_vanishes_ends_the_run(sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, how: str) -> None:
    bench, _ = sim
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(1_000_000))
    session.start()
    while session.history.readings.count < 20:
        session.wait_for_change(0.5)
    if how == "removed":
        session.logbook.unlink()
    else:
        session.logbook.rename(tmp_path / "elsewhere.sqlite")
    if how == "replaced":
        session.logbook.write_bytes((tmp_path / "elsewhere.sqlite").read_bytes())
    assert session.wait(10)
    assert session.end is not None
    assert session.end.reason is EndReason.RECORD
    assert "was moved, removed or replaced" in session.end.text
    assert not bench.source.output_on


def test_a_logbook_that_would_not_stay_is_refused(sim: tuple[SimulatedBench, BenchServer], tmp_path: Path) -> None:
    session = make(sim[1], Path(":memory:"))
    with pytest.raises(LogbookError, match="no file that would stay"):
        session.start()


def test_a_fault_in_showing_ends_the_run(
    sim: tuple[SimulatedBench, BenchServer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench, _ = sim
    session = make(sim[1], tmp_path / "log.sqlite", stop=StopRule(1_000_000))
    publish = session._recorder._publish
    calls: list[int] = []

    def broken(batches: list[Batch], stated: tuple[Statement, ...]) -> None:
        calls.append(1)
        if len(calls) == 5:
            raise RuntimeError("nobody can draw this")
        publish(batches, stated)

    monkeypatch.setattr(session._recorder, "_publish", broken)
    session.start()
    assert session.wait(10)
    assert session.end is not None
    assert session.end.exit_status == 4
    assert not bench.source.output_on


def test_off_is_never_shown_while_the_output_goes_on(tmp_path: Path) -> None:
    """Where somebody shows the output, "not known" is on the screen before the order to switch on leaves."""
    session = Session(
        plan_bench("TCPIP::127.0.0.1::9::SOCKET", "TCPIP::127.0.0.1::8::SOCKET", in_process=True),
        recipe_of(load_scenario("shunt")),
        HouseLimits(),
        clock=ScaledClock(1.0),
        logbook=tmp_path / "log.sqlite",
    )
    began = time.monotonic()
    session._see_output(OutputState.UNKNOWN)
    assert time.monotonic() - began < 0.1  # nobody shows it
    session._see_output(OutputState.OFF)
    session.output_is_shown(session.output)
    shown: list[OutputState] = []

    def show() -> None:
        time.sleep(0.1)
        shown.append(session.output.state)
        session.output_is_shown(session.output)

    thread = threading.Thread(target=show)
    thread.start()
    began = time.monotonic()
    session._see_output(OutputState.UNKNOWN)
    assert 0.05 < time.monotonic() - began < 0.45
    assert shown == [OutputState.UNKNOWN]
    thread.join()
    began = time.monotonic()
    session._see_output(OutputState.UNKNOWN)  # a window that stands still holds up nothing for long
    assert 0.4 < time.monotonic() - began < 1.0
