"""What a driver sends, asks and believes, message by message, to an instrument that answers from a table."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from drivers.dialect import load_dialect
from drivers.errors import LinkTimeout, ReplyError, ReportedError, SettingError
from drivers.registry import make_source, make_voltmeter
from drivers.scpi_source import ScpiSource
from sim.clock import Clock, VirtualClock
from sim.loopback import Loopback

_TOP = 'kind = "source"\n[sequence]\nreset = []\nsafe = ["OFF!"]\n'
_BARE = """[errors]
mode = "none"
[sync]
mode = "none"
[link]
compound = false
"""
_CAPS = """[cap.level]
set = "I {value}"
get = "I?"
[cap.compliance]
set = "U {value}"
get = "U?"
[cap.output]
on_set = "GO"
off_set = "REST"
get = "STATE?"
kind = "bool"
on = "BUSY"
off = "IDLE"
"""


class Table:
    """Answers from a table; a message that sets moves an answer."""

    reply_end = "\n"

    def __init__(self, replies: dict[str, str], moves: dict[str, tuple[str, str]] | None = None) -> None:
        self.clock: Clock = VirtualClock()
        self.replies = {"*IDN?": "table", **replies}
        self.moves = moves or {}
        self.log: list[str] = []

    def process(self, message: str) -> str | None:
        self.log.append(message)
        if message in self.moves:
            query, answer = self.moves[message]
            self.replies[query] = answer
        return self.replies.get(message)


def source(tmp_path: Path, table: Table, *, head: str = _BARE, caps: str = _CAPS) -> ScpiSource:
    path = tmp_path / "table_source.toml"
    path.write_text(_TOP + head + caps)
    found = make_source("table", load_dialect(str(path), "source"), wire=lambda: Loopback(table))
    found.open()
    assert table.log[:2] == ["OFF!", "REST"]  # before anything else
    table.log.clear()
    return found


def test_a_switch_with_words_of_its_own_is_set_and_told_in_them(tmp_path: Path) -> None:
    table = Table({"STATE?": "IDLE"}, {"GO": ("STATE?", "BUSY"), "REST": ("STATE?", "IDLE")})
    found = source(tmp_path, table)
    on, off = found.set("output", True), found.set("output", False)
    assert (on.asked, on.read_back, on.verified) == ("BUSY", "BUSY", True)
    assert (off.asked, off.read_back, off.verified) == ("IDLE", "IDLE", True)
    assert [message for message in table.log if message != "STATE?"] == ["GO", "REST"]
    assert [setting.asked for setting in found.settings] == ["IDLE"]  # the last word on each


def test_a_switch_that_does_not_follow_is_told(tmp_path: Path) -> None:
    found = source(tmp_path, Table({"STATE?": "IDLE"}))
    with pytest.raises(SettingError, match=r"output was set to BUSY and reads back as IDLE.*'GO'"):
        found.set("output", True)


@pytest.mark.parametrize(
    ("reply", "means"),
    [("BUSY", True), ("busy", True), ("idle", False), ("1", True), ("0", False), ("2", True), ("-1", True)],
)
def test_words_and_numbers_of_a_switch(tmp_path: Path, reply: str, means: bool) -> None:
    assert source(tmp_path, Table({"STATE?": reply})).read_output() is means


@pytest.mark.parametrize("reply", ["PERHAPS", "0.5", "nan", "1e999"])
def test_what_is_no_state_is_refused(tmp_path: Path, reply: str) -> None:
    with pytest.raises(ReplyError, match=r"STATE\?"):
        source(tmp_path, Table({"STATE?": reply})).read_output()


def test_the_output_is_asked_by_its_only_spelling_without_trying_it_first(tmp_path: Path) -> None:
    """OFF must act on an instrument that answers nothing."""
    table = Table({})
    found = source(tmp_path, table)
    table.log.clear()
    with pytest.raises(LinkTimeout):
        found.read_output()
    assert table.log[:1] == ["STATE?"]
    table.log.clear()
    assert not found.safe()
    assert table.log[:2] == ["OFF!", "REST"]


def test_bits_are_read_from_their_place(tmp_path: Path) -> None:
    caps = _CAPS + '[cap.limiting]\nget = "BITS?"\nkind = "bit"\nbit = 3\n'
    for reply, means in (("8", True), ("7", False), ("+1.5E+01", True), ("16", False)):
        assert source(tmp_path, Table({"BITS?": reply}), caps=caps).get_bool("limiting") is means


def test_the_first_spelling_that_is_known_is_used_and_asked_once(tmp_path: Path) -> None:
    caps = _CAPS.replace('[cap.compliance]\nset = "U {value}"\nget = "U?"\n', "") + (
        '[[cap.compliance]]\nset = "A {value}"\nget = "A?"\n[[cap.compliance]]\nset = "B {value}"\nget = "B?"\n'
    )
    table = Table({"B?": "2.0"})
    found = source(tmp_path, table, caps=caps)
    assert found.get_number("compliance") == 2.0
    assert found.get_number("compliance") == 2.0
    assert table.log.count("A?") <= 1
    assert table.log.count("B?") <= 3
    with pytest.raises(ReplyError, match=r"knows no compliance \(tried A\?, B\?\)"):
        source(tmp_path, Table({}), caps=caps).get_number("compliance")


def test_an_error_in_the_place_of_an_answer_means_not_known(tmp_path: Path) -> None:
    head = _BARE.replace('mode = "none"\n[sync]', 'mode = "reply"\nreply = "ERR {value}"\n[sync]')
    found = source(tmp_path, Table({"U?": "ERR 7", "I?": "0.5"}), head=head)
    assert not found.has("compliance")
    assert found.has("level")
    with pytest.raises(ReportedError, match="ERR 7"):
        found._refuse_error_reply("ERR 7", "U?")


def test_errors_in_the_queue_mean_not_known_and_name_the_command(tmp_path: Path) -> None:
    head = _BARE.replace('mode = "none"\n[sync]', 'mode = "queue"\nquery = "WHY?"\n[sync]')

    class Queue(Table):
        errors: list[str]

        def process(self, message: str) -> str | None:
            if message == "WHY?":
                return self.errors.pop(0) if self.errors else '0,"none"'
            if message in ("U?", "I 5.00000000E-01"):
                self.errors.append('-113,"undefined"')
            return super().process(message)

    table = Queue({"I?": "0.5", "U?": "3"})
    table.errors = ['-200,"old"']
    found = source(tmp_path, table, head=head)
    assert found.notices == ["found in the error queue: -200 old"]
    assert not found.has("compliance")
    with pytest.raises(ReportedError, match=r"-113 undefined at 'I 5"):
        found.set("level", 0.5)
    assert found.reported() == []


def test_settings_within_the_dialects_limits_only(tmp_path: Path) -> None:
    caps = _CAPS.replace('get = "I?"\n', 'get = "I?"\nlow = -1.0\nhigh = 2.0\n', 1)
    table = Table({"I?": "0"}, {f"I {v:.8E}": ("I?", f"{v:.8E}") for v in (-1.0, 0.0, 2.0)})
    found = source(tmp_path, table, caps=caps)
    assert [found.set("level", value).read_back for value in (-1.0, 2.0)] == ["-1.00000000E+00", "2.00000000E+00"]
    for value in (-1.01, 2.01):
        with pytest.raises(SettingError, match=r"outside -1 to 2"):
            found.set("level", value)
    assert len([message for message in table.log if message.startswith("I ")]) == 2


def test_waiting_for_what_was_sent(tmp_path: Path) -> None:
    head = _BARE.replace('[sync]\nmode = "none"', '[sync]\nmode = "delay"\ndelay_s = 0.25')
    table = Table({"I?": "0"}, {"I 1.00000000E+00": ("I?", "1")})
    found = source(tmp_path, table, head=head)
    before = table.clock.now()
    found.set("level", 1.0)
    assert table.clock.now() - before >= 0.2
    head = _BARE.replace(
        '[sync]\nmode = "none"', '[sync]\nmode = "poll"\nquery = "DONE?"\ndone = "YES"\ninterval_s = 0.01'
    )
    table = Table({"I?": "0", "DONE?": "NO"}, {"I 1.00000000E+00": ("I?", "1")})
    with pytest.raises(LinkTimeout, match="not done within 2 s"):
        source(tmp_path, table, head=head).set("level", 1.0)


def test_a_list_of_levels_counts_in_the_levels_unit(tmp_path: Path) -> None:
    caps = _CAPS.replace('get = "I?"\n', 'get = "I?"\nscale = 1000.0\n', 1)
    found = source(tmp_path, Table({"I?": "250"}), caps=caps)
    assert found.value_text_of_number(0.25) == "2.50000000E+02"
    assert found.get_number("level") == 0.25


def test_the_range_in_use_is_the_one_that_reads_back(tmp_path: Path) -> None:
    caps = _CAPS + '[cap.range]\nset = "R {value}"\nget = "R?"\nrounds = "up"\n'
    table = Table({"I?": "0", "U?": "1", "R?": "0"}, {"R 2.00000000E-03": ("R?", "0.01")})
    found = source(tmp_path, table, caps=caps)
    found.configure(current_A=-0.002, compliance_V=1.0)
    assert found.range_A == 0.01
    table = Table({"I?": "0", "U?": "1"})
    found = source(tmp_path, table, caps=_CAPS + '[cap.range]\nset = "R {value}"\n')
    found.configure(current_A=-0.002, compliance_V=1.0)
    assert found.range_A == 0.002  # it cannot be asked


def test_the_guardian_is_told_where_the_source_is(tmp_path: Path) -> None:
    address = "TCPIP::127.0.0.1::5025::SOCKET"
    path = tmp_path / "table_source.toml"
    path.write_text(_TOP + _BARE + _CAPS)
    table = Table({"STATE?": "IDLE"})
    found = make_source(address, load_dialect(str(path), "source"), wire=lambda: Loopback(table))
    plan = found.safe_plan()
    assert (plan.address, plan.host, plan.port, plan.library) == (address, "127.0.0.1", 5025, "")


def test_the_guardian_is_told_how_off_reads_back(tmp_path: Path) -> None:
    word = source(tmp_path, Table({"STATE?": "IDLE"})).safe_plan()
    assert (word.bit, word.query, word.off[0], word.safe) == (None, "STATE?", "IDLE", ("OFF!", "REST"))
    assert (word.reply, word.prompt, word.fd) == ("", "", None)
    caps = _CAPS.replace('kind = "bool"\non = "BUSY"\noff = "IDLE"\n', 'kind = "bit"\nbit = 3\nreply = "S {value}"\n')
    bit = source(tmp_path, Table({"STATE?": "S 0"}), caps=caps, head=_BARE + 'prompt = ">> "\n').safe_plan()
    assert (bit.bit, bit.reply, bit.prompt) == (3, "S {value}", ">>")


@pytest.mark.parametrize(
    ("reads", "taken"), [("0.001", True), ("0.0014", True), ("0.0016", False), ("-0.0014", True), ("-0.0016", False)]
)
def test_a_coarse_readback_lets_no_level_past_the_runs_own(tmp_path: Path, reads: str, taken: bool) -> None:
    """A last digit of 0.1 A says nothing of 1 mA: half of the run's current is the most that it excuses."""
    caps = _CAPS.replace('get = "I?"\n', 'get = "I?"\natol = 0.1\nrtol = 0.001\n', 1)
    table = Table({"I?": "0", "U?": "1", "STATE?": "IDLE"}, {"I 1.00000000E-03": ("I?", reads)})
    found = source(tmp_path, table, caps=caps)
    found.configure(current_A=0.001, compliance_V=1.0)
    if taken:
        found.step(0.001)
    else:
        with pytest.raises(SettingError, match=r"0\.001 A was asked"):
            found.step(0.001)


@pytest.mark.parametrize(("reads", "taken"), [("1.0", True), ("0.4", True), ("1.009", True), ("1.012", False)])
def test_a_compliance_reads_back_no_higher_than_it_was_asked(tmp_path: Path, reads: str, taken: bool) -> None:
    caps = _CAPS.replace('get = "U?"\n', 'get = "U?"\natol = 0.009\nrtol = 0.001\nverify = true\n', 1)
    table = Table({"I?": "0", "U?": "1.0", "STATE?": "IDLE"})
    found = source(tmp_path, table, caps=caps)
    found.configure(current_A=0.001, compliance_V=1.0)
    table.replies["U?"] = reads
    if taken:
        found.compliance.compare()
    else:
        with pytest.raises(SettingError, match="a compliance of 1 V was asked"):
            found.compliance.compare()


def test_a_step_whose_only_answer_is_whether_it_limits(tmp_path: Path) -> None:
    head = '[errors]\nmode = "none"\n[sync]\nmode = "none"\n'
    caps = _CAPS + '[cap.limiting]\nget = "LIM?"\nkind = "bool"\n'
    table = Table({"I?": "0", "U?": "1", "STATE?": "IDLE", "LIM?": "0"})
    table.moves = {"I 5.00000000E-01;LIM?": ("I?", "0.5")}
    found = source(tmp_path, table, head=head, caps=caps)
    found.configure(current_A=0.5, compliance_V=1.0)
    for reply, limits in (("0", False), ("1", True), ("0", False)):
        table.replies["I 5.00000000E-01;LIM?"] = reply
        assert found.step(0.5) is limits


def test_what_is_not_known_names_the_first_command_that_was_tried(tmp_path: Path) -> None:
    caps = _CAPS.replace('[cap.compliance]\nset = "U {value}"\nget = "U?"\n', "") + (
        '[[cap.compliance]]\nset = "A {value}"\nget = "A?"\n[[cap.compliance]]\nset = "B {value}"\nget = "B?"\n'
    )
    with pytest.raises(ReplyError) as caught:
        source(tmp_path, Table({}), caps=caps).get_number("compliance")
    assert caught.value.command == "A?"


@pytest.mark.parametrize(("nplc", "within_s"), [(1.0, 2.04), (10.0, 2.4), (100.0, 6.0)])
def test_a_reading_is_waited_for_twice_its_aperture_and_a_margin(tmp_path: Path, nplc: float, within_s: float) -> None:
    path = tmp_path / "meter.toml"
    path.write_text(
        'kind = "voltmeter"\n[errors]\nmode = "none"\n[sync]\nmode = "none"\n[cap.read]\nget = "V?"\n'
        '[cap.nplc]\nset = "N {value}"\n'
    )
    table = Table({})
    found = make_voltmeter("table", load_dialect(str(path), "voltmeter"), wire=lambda: Loopback(table))
    found.open()
    found.configure(nplc=nplc, line_frequency_Hz=50.0, range_V=None)
    before = table.clock.now()
    with pytest.raises(LinkTimeout):
        found.read()
    assert table.clock.now() - before == pytest.approx(within_s, abs=0.11)


def test_a_binary_reading(tmp_path: Path) -> None:
    path = tmp_path / "meter.toml"
    path.write_text(
        'kind = "voltmeter"\n[errors]\nmode = "none"\n[sync]\nmode = "none"\n[cap.nplc]\nset = "N {value}"\n'
        '[cap.read]\nget = "V?"\nencoding = "real64-swapped"\nscale = 1000.0\n'
    )
    block = "#18" + struct.pack("<d", -1.25).decode("latin-1")
    table = Table({"V?": block})
    found = make_voltmeter("table", load_dialect(str(path), "voltmeter"), wire=lambda: Loopback(table))
    found.open()
    found.configure(nplc=1.0, line_frequency_Hz=50.0, range_V=None)
    assert found.read() == -1.25e-3
    table.replies["V?"] = "#13abc"
    with pytest.raises(ReplyError, match="a block of 3 bytes holds no number"):
        found.read()
