"""A run seen through its server: what comes across, who may order, what a stranger can do."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from multiprocessing.connection import Client
from pathlib import Path

import numpy as np
import pytest

from benchapp.events import EndReason
from benchapp.host.cards import RunCard, under_way
from benchapp.host.codec import Codec, CodecError
from benchapp.host.launch import ORDER_CODEC
from benchapp.host.order import BenchChoice, RunOrder, session_for
from benchapp.host.remote import HostLost, RemoteSession
from benchapp.host.serve import RUN_CODEC, RunServer, served
from benchapp.recipe import StopRule
from benchapp.result.card import load_card
from benchapp.run.session import Session
from sim.scenario import load_scenario
from tests.benchapp.simulated import recipe_of

ENDLESS = StopRule(None)


def order(folder: Path, **changes: object) -> RunOrder:
    return RunOrder(recipe_of(load_scenario("shunt"), **changes), BenchChoice("shunt"), folder / "log.sqlite", 40.0)


@contextmanager
def under_test(folder: Path, **changes: object) -> Iterator[tuple[Session, RunServer]]:
    with session_for(order(folder, **changes)) as session:
        session.start()
        try:
            with served(session, "") as server:
                assert server is not None
                yield session, server
        finally:
            session.control.stop("the test is over")
            session.wait()


def until(true: object, timeout_s: float = 10.0) -> None:
    assert callable(true)
    end = time.monotonic() + timeout_s
    while not true():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.005)


def test_all_that_a_session_shows_comes_across(tmp_path: Path) -> None:
    with under_test(tmp_path, stop=StopRule(20)) as (session, server):
        far = RemoteSession(server.card(), owner=True)
        assert far.wait(20)
        assert session.ended
        for name in ("readings", "blocks", "temperatures"):
            here, there = getattr(session.history, name).since(0), getattr(far.history, name).since(0)
            assert np.array_equal(there, here, equal_nan=True)
        assert far.history.cuts == session.history.cuts
        assert far.events == session.events
        assert far.end == session.end
        assert far.facts == session.facts
        assert far.recipe == session.recipe
        for name in ("snapshot", "statement", "statements"):
            assert RUN_CODEC.to_plain(getattr(far, name)) == RUN_CODEC.to_plain(getattr(session, name))
        assert far.output.state is session.output.state


def test_who_attaches_late_sees_it_from_the_first_reading(tmp_path: Path) -> None:
    with under_test(tmp_path, stop=ENDLESS) as (session, server):
        until(lambda: session.history.readings.count > 50)
        far = RemoteSession(server.card(), owner=False)
        until(lambda: far.poll() and far.history.readings.count > 50)
        count = far.history.readings.count
        assert (far.history.readings.since(0) == session.history.readings.since(0)[:, :count]).all()


def test_the_first_owner_orders_and_a_second_one_only_looks_on(tmp_path: Path) -> None:
    with under_test(tmp_path, stop=ENDLESS) as (session, server):
        first = RemoteSession(server.card(), owner=True, name="window 1")
        second = RemoteSession(server.card(), owner=True, name="window 2")
        assert (first.owner, second.owner, second.owner_name) == (True, False, "window 1")
        until(lambda: session.history.readings.count > 5)
        second.control.pause()
        second.control.mark("not mine")
        first.control.mark("mine")
        until(lambda: any(event.text == "mine" for event in session.events))
        assert not any(event.text == "not mine" for event in session.events)
        second.control.stop("switched off by who looks on")  # an output may be switched off by everybody
        assert first.wait(10)
        assert first.end is not None
        assert first.end.text == "switched off by who looks on"
        assert first.end.output_off


@pytest.mark.parametrize(("unattended", "leaves"), [(False, False), (True, False), (False, True)])
def test_without_its_owner_a_run_ends_or_goes_on_as_it_was_said(tmp_path: Path, unattended: bool, leaves: bool) -> None:
    with under_test(tmp_path, stop=StopRule(400), unattended=unattended) as (session, server):
        far = RemoteSession(server.card(), owner=True)
        until(lambda: session.history.readings.count > 5)
        far.leave(running=leaves)
        if unattended or leaves:
            time.sleep(0.2)
            assert not session.ended
            back = RemoteSession(server.card(), owner=True)
            assert back.owner
            back.leave(running=True)
        else:
            assert session.wait(10)
            assert session.end is not None
            assert session.end.reason is EndReason.OPERATOR
            assert "window" in session.end.text


def test_a_stranger_is_not_heard_and_hinders_nobody(tmp_path: Path) -> None:
    with under_test(tmp_path, stop=ENDLESS) as (session, server):
        card = server.card()
        mute = Client(card.address)  # says nothing, for ever
        with pytest.raises(HostLost, match="cannot be reached"):
            RemoteSession(replace(card, key="0" * 32), owner=True)
        for nonsense in (b"", b"\x00" * 100, b"\xff\xff\xff\xff{}", b"\x02\x00\x00\x00[]"):
            rude = Client(card.address)
            rude.send_bytes(nonsense)
            rude.close()
        far = RemoteSession(card, owner=True)
        until(lambda: far.poll() and far.history.readings.count > 5)
        assert far.owner
        assert not session.ended
        mute.close()


def test_another_version_is_told_apart(tmp_path: Path) -> None:
    with under_test(tmp_path, stop=ENDLESS) as (_, server), pytest.raises(HostLost, match=r"begun by version 0\.0"):
        RemoteSession(replace(server.card(), version="0.0"), owner=False)


def test_the_card_is_there_as_long_as_the_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHAPP_RUNTIME", str(tmp_path / "runtime"))
    assert under_way() == []
    with under_test(tmp_path, stop=ENDLESS) as (_, server):
        assert [card.key for card in under_way()] == [server.key]
        folder = tmp_path / "runtime" / "runs"
        assert next(folder.glob("*.json")).stat().st_mode & 0o77 == 0
        dead = (
            next(folder.glob("*.json")).read_text().replace(f'"process": {server.card().process}', '"process": 999999')
        )
        (folder / "999999-1.json").write_text(dead)
        (folder / "1-1.json").write_text("{")
        assert len(under_way()) == 1
        assert not (folder / "999999-1.json").exists()
    assert under_way() == []


def test_an_order_comes_across_whole(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text(
        '[voltmeter]\nname = "V"\nserial = "7"\ncalibrated = 2026-01-01\ndue = 2027-01-01\n'
        '[[voltmeter.range]]\nrange = "10 mV"\nreading_ppm = 50\nrange_ppm = 4\n'
    )
    sent = replace(order(tmp_path), card=load_card(tmp_path / "card.toml"), study="settling 1 0 4 1")
    assert ORDER_CODEC.from_plain(ORDER_CODEC.to_plain(sent)) == sent


def test_nothing_foreign_is_made() -> None:
    codec = Codec([RunCard])
    for plain in ({"!": "Popen", "": {"args": "true"}}, {"!": "Path"}, {"": 1}, {"!": "RunCard", "": {"no": 1}}):
        with pytest.raises(CodecError):
            codec.from_plain(plain)
    with pytest.raises(CodecError):
        codec.to_plain(threading.Lock())
    assert math.isnan(codec.from_plain(codec.to_plain(math.nan)))
