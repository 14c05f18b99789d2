"""One program at a time: who is told, who waits, who is refused, and what a damaged lock file does."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from drivers import lock as module
from drivers.lock import AddressLock, InstrumentBusy, canonical, process_lives

ADDRESS = "TCPIP::127.0.0.1::5025::SOCKET"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="advisory locks of another kind")


def test_held_named_and_given_up(tmp_path: Path) -> None:
    first, second = AddressLock(ADDRESS, tmp_path / "new"), AddressLock(ADDRESS, tmp_path / "new")
    assert first.holder() is None
    assert first.fd is None
    first.take("run 3 (process 9)")
    assert first.fd is not None
    assert second.holder() == "run 3 (process 9)"
    began = time.monotonic()
    with pytest.raises(InstrumentBusy, match=r"in use by run 3 \(process 9\).*benchapp off --source TCPIP::127"):
        second.take("run 4")
    assert time.monotonic() - began < 0.5  # its process lives: nothing to wait for
    assert second.fd is None
    first.release()
    assert first.fd is None
    assert second.holder() is None
    second.take("run 4")
    assert first.holder() == "run 4"
    second.release()
    second.release()


def test_another_instrument_is_another_lock(tmp_path: Path) -> None:
    one, other = AddressLock(ADDRESS, tmp_path), AddressLock(ADDRESS.replace("5025", "5026"), tmp_path)
    one.take("a")
    other.take("b")
    assert (one.holder(), other.holder()) == ("a", "b")
    one.release()
    other.release()


def held_by_a_dead_ones_child(path: Path, seconds: float) -> subprocess.Popen[bytes]:
    """A process that holds the lock as a guardian does whose program is dead."""
    lock = AddressLock(ADDRESS, path)
    lock.take("run 1")
    assert lock.fd is not None
    os.ftruncate(lock.fd, 0)
    os.lseek(lock.fd, 0, os.SEEK_SET)
    os.write(lock.fd, b"4194301\nrun 1")
    child = subprocess.Popen(
        [sys.executable, "-c", f"import time; time.sleep({seconds})"], pass_fds=[lock.fd], stdin=subprocess.DEVNULL
    )
    lock.release()
    return child


def test_a_guardian_whose_program_is_dead_is_waited_for(tmp_path: Path) -> None:
    child = held_by_a_dead_ones_child(tmp_path, 0.6)
    waits: list[float] = []
    lock = AddressLock(ADDRESS, tmp_path)
    assert lock.holder() == "run 1"
    began = time.monotonic()
    lock.take("run 2", lambda: waits.append(time.monotonic()))
    assert 0.2 < time.monotonic() - began < 3.0
    assert len(waits) > 5
    assert lock.holder() == "run 2"
    lock.release()
    child.wait()


def test_but_not_for_ever_and_not_against_an_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    child = held_by_a_dead_ones_child(tmp_path, 30)
    monkeypatch.setattr(module, "_ORPHAN_WAIT_S", 0.3)
    lock = AddressLock(ADDRESS, tmp_path)
    began = time.monotonic()
    with pytest.raises(InstrumentBusy, match="in use by run 1"):
        lock.take("run 2")
    assert 0.25 < time.monotonic() - began < 1.5

    class Stopped(Exception):
        pass

    def stop() -> None:
        raise Stopped

    with pytest.raises(Stopped):
        lock.take("run 2", stop)
    assert lock.fd is None
    child.kill()
    child.wait()


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    lock = AddressLock(ADDRESS, tmp_path / "file" / "below")
    assert lock.holder() is None
    with pytest.raises(InstrumentBusy, match=r"lock cannot be opened.*BENCHAPP_RUNTIME"):
        lock.take("run 1")


@pytest.mark.parametrize(
    ("content", "named"),
    [
        (b"", "another program"),
        (b"no number\nsomebody", "somebody"),
        ("\u00b2\nsomebody".encode(), "somebody"),
        (b"9" * 300, "another program"),
        (b"1\n\x1b[2Jsomebody\xff", "[2Jsomebody\ufffd"),
    ],
)
def test_a_damaged_lock_file_names_what_it_can(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes, named: str
) -> None:
    monkeypatch.setattr(module, "_ORPHAN_WAIT_S", 0.05)
    holder, other = AddressLock(ADDRESS, tmp_path), AddressLock(ADDRESS, tmp_path)
    holder.take("x")
    assert holder.fd is not None
    os.ftruncate(holder.fd, 0)
    os.lseek(holder.fd, 0, os.SEEK_SET)
    os.write(holder.fd, content)
    assert other.holder() == named
    with pytest.raises(InstrumentBusy):
        other.take("y")
    holder.release()


def test_a_long_name_is_cut(tmp_path: Path) -> None:
    lock = AddressLock(ADDRESS, tmp_path)
    lock.take("n" * 10_000)
    assert 300 < len(str(lock.holder())) < 400
    lock.release()


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (ADDRESS, " tcpip0::LOCALHOST::5025::socket ", True),
        (ADDRESS, "TCPIP::[::1]::5025::SOCKET", True),
        (ADDRESS, "TCPIP::127.0.0.2::5025::SOCKET", False),
        (ADDRESS, "TCPIP::127.0.0.1::5024::SOCKET", False),
        ("GPIB::7::INSTR", "gpib0::7", True),
        ("GPIB0::7::INSTR", "GPIB0::8::INSTR", False),
        ("no address", "NO ADDRESS", True),
    ],
)
def test_one_spelling_for_one_instrument(one: str, other: str, same: bool) -> None:
    assert (canonical(one) == canonical(other)) is same


def test_a_name_is_kept_up_to_four_hundred_characters(tmp_path: Path) -> None:
    first, second = AddressLock(ADDRESS, tmp_path), AddressLock(ADDRESS, tmp_path)
    room = 400 - len(f"{os.getpid()}\n")
    first.take("x" * 600)
    assert second.holder() == "x" * room
    first.release()


def test_who_lives() -> None:
    assert process_lives(os.getpid())
    assert process_lives(1)
    for pid in (0, -1, 2**31, 2**63, 10**30, 4194303):
        assert not process_lives(pid)
    child = subprocess.Popen([sys.executable, "-c", ""])
    time.sleep(0.5)
    assert not process_lives(child.pid)  # a zombie holds nothing
    child.wait()
    assert not process_lives(child.pid)
