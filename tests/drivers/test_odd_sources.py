"""Sources that are set otherwise: text after the value, counts of a range, a compliance in steps, fixed or by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from drivers.dialect import load_dialect
from drivers.dialect.suffix import suffix_is_plain, suffix_is_safe
from drivers.errors import DialectError, SettingError
from drivers.registry import make_source
from drivers.scpi_source import ScpiSource
from sim.loopback import Loopback
from tests.drivers.test_asking import Table

_HEAD = """kind = "source"
[sequence]
safe = ["OFF!"]
[errors]
mode = "none"
[sync]
mode = "none"
[link]
compound = false
"""
_OUTPUT = '[cap.output]\nset = "OUT {value}"\nget = "OUT?"\nkind = "bool"\n'
_COMPLIANCE = '[cap.compliance]\nset = "U {value}"\nget = "U?"\n'
_LEVEL = '[cap.level]\nset = "I {value}"\nget = "I?"\n'


class Box(Table):
    """Remembers the value of "NAME value" for "NAME?"."""

    def process(self, message: str) -> str | None:
        self.log.append(message)
        name, _, value = message.partition(" ")
        if value:
            self.replies[f"{name}?"] = value.partition(",")[0]
        return self.replies.get(message)


def opened(tmp_path: Path, *caps: str, head: str = _HEAD, **replies: str) -> tuple[ScpiSource, Box]:
    path = tmp_path / "box.toml"
    path.write_text(head + "".join(caps))
    box = Box({"I?": "0", "U?": "1", "OUT?": "0", "R?": "0", **{f"{name}?": text for name, text in replies.items()}})
    source = make_source("box", load_dialect(str(path), "source"), wire=lambda: Loopback(box))
    source.open()
    box.log.clear()
    return source, box


@pytest.mark.parametrize(
    ("suffix", "scale", "unit", "safe"),
    [
        ("", 1.0, "A", True), (" A", 1.0, "A", True), ("A", 1.0, "A", True), (",(@1)", 1.0, "A", True),
        (" MA", 1e3, "A", True), ("mA,(@2)", 1e3, "A", True), ("X", 1.0, "A", True), (" V", 1.0, "V", True),
        (",DEF", 1.0, "A", False), ("UV", 1e6, "V", True), (")", 1.0, "A", True),
        ("E3", 1.0, "A", False), (" MA", 1.0, "A", False), ("KA", 1.0, "A", False), ("0", 1.0, "A", False),
        (",5", 1.0, "A", False), (";:OUTP ON", 1.0, "A", False), ("K", 1.0, "A", False), ("E", 1.0, "A", False),
        (" V", 1.0, "A", False), ("*1000", 1.0, "A", False), ("\n", 1.0, "A", False),
    ],
)  # fmt: skip
def test_what_may_follow_a_level(suffix: str, scale: float, unit: str, safe: bool) -> None:
    assert suffix_is_safe(suffix, scale, unit) is safe


@pytest.mark.parametrize(
    ("suffix", "plain"), [(" PLC", True), (",(@1)", True), ("E3", False), ("5", False), (";X", False)]
)
def test_what_may_follow_another_setting(suffix: str, plain: bool) -> None:
    assert suffix_is_plain(suffix) is plain


def test_a_channel_after_the_value(tmp_path: Path) -> None:
    level = _LEVEL.replace('"I {value}"', '"I {value},(@1)"')
    source, box = opened(tmp_path, level, _COMPLIANCE, _OUTPUT)
    source.configure(current_A=0.5, compliance_V=1.0)
    box.replies["I?"] = "0.5"
    source.step(0.5)
    assert "I 5.00000000E-01,(@1)" in box.log


def test_a_forced_sign_and_zeros_in_front(tmp_path: Path) -> None:
    head = _HEAD + '[format]\nstyle = "F"\ndigits = 5\nplus = true\nwidth = 10\n'
    source, box = opened(tmp_path, _LEVEL, _COMPLIANCE, _OUTPUT, head=head)
    source.configure(current_A=0.5, compliance_V=1.0)
    source.step(0.5)
    source.step(-0.25)
    assert [m for m in box.log if m.startswith("I ")] == ["I +000.00000", "I +000.50000", "I -000.25000"]


_RANGE = '[cap.range]\nset = "R {value}"\nget = "R?"\nkind = "index"\ntable = [0.01, 0.1, 1.0]\n'


def test_a_level_in_counts_of_the_range_in_use(tmp_path: Path) -> None:
    source, box = opened(tmp_path, _LEVEL + "counts = 20000\n", _COMPLIANCE, _OUTPUT, _RANGE)
    source.configure(current_A=0.05, compliance_V=1.0)
    assert source.range_A == 0.1
    source.step(0.05)
    source.step(-0.05)
    assert [m for m in box.log if m.startswith("I ")] == ["I 0", "I 10000", "I -10000"]
    box.replies["I?"] = "-10001"
    source._compare_level(())  # one count is its last digit
    box.replies["I?"] = "-9998"
    with pytest.raises(SettingError, match=r"-0.05 A was asked and -0.04999 A reads back"):
        source._compare_level(())


def test_counts_need_a_range(tmp_path: Path) -> None:
    source, _ = opened(tmp_path, _LEVEL + "counts = 20000\n", _COMPLIANCE, _OUTPUT)
    with pytest.raises(SettingError, match="a range that is not known"):
        source.configure(current_A=0.05, compliance_V=1.0)


def test_a_current_beyond_the_table_is_refused(tmp_path: Path) -> None:
    source, box = opened(tmp_path, _LEVEL, _COMPLIANCE, _OUTPUT, _RANGE)
    with pytest.raises(SettingError, match=r"range of 2 has no place in the table of its dialect, 0.01 to 1"):
        source.configure(current_A=2.0, compliance_V=1.0)
    assert not [m for m in box.log if m.startswith("R ")]


def test_a_compliance_in_steps_is_the_next_lower_one(tmp_path: Path) -> None:
    stepped = _COMPLIANCE + 'kind = "index"\nrounds = "down"\ntable = [0.5, 2.0, 10.0]\n'
    source, box = opened(tmp_path, _LEVEL, stepped, _OUTPUT)
    source.configure(current_A=0.5, compliance_V=5.0)
    assert "U 1" in box.log
    box.log.clear()
    source.configure(current_A=0.5, compliance_V=2.0)
    assert "U 1" in box.log
    with pytest.raises(SettingError, match=r"compliance of 0.2 has no place"):
        source.configure(current_A=0.5, compliance_V=0.2)
    box.replies["U?"] = "2"
    with pytest.raises(SettingError, match=r"a compliance of 0\.2 V was asked and 10 V reads back"):
        source.compliance.compare()


def test_a_compliance_that_is_fixed(tmp_path: Path) -> None:
    source, box = opened(tmp_path, _LEVEL, "[cap.compliance]\nfixed = 12.0\n", _OUTPUT)
    with pytest.raises(SettingError, match=r'fixed at 12 V, and 1 V was asked.*Write compliance = "12 V"'):
        source.configure(current_A=0.5, compliance_V=1.0)
    source.configure(current_A=0.5, compliance_V=12.0)
    assert [(s.asked, s.read_back, s.verified) for s in source.settings if s.name == "compliance"] == [
        ("12 V", "fixed by its make", False)
    ]
    assert not [m for m in box.log if m.startswith("U")]


def test_a_compliance_that_is_set_by_hand(tmp_path: Path) -> None:
    source, _ = opened(tmp_path, _LEVEL, "[cap.compliance]\nby_hand = true\n", _OUTPUT)
    with pytest.raises(SettingError, match=r'nobody has confirmed it.*--compliance-by-hand "1 V"'):
        source.configure(current_A=0.5, compliance_V=1.0)
    source.compliance.confirmed_V = 2.0
    with pytest.raises(SettingError, match="2 V was confirmed"):
        source.configure(current_A=0.5, compliance_V=1.0)
    source.compliance.confirmed_V = 1.0
    source.configure(current_A=0.5, compliance_V=1.0)


_POLARITY = """[cap.polarity]
kind = "bool"
on_set = "POL PLUS"
off_set = "POL MINUS"
get = "POL?"
on = "PLUS"
off = "MINUS"
"""


def test_a_polarity_command_turns_at_zero_current(tmp_path: Path) -> None:
    source, box = opened(tmp_path, _LEVEL, _COMPLIANCE, _OUTPUT, _POLARITY, POL="PLUS")
    source.configure(current_A=0.5, compliance_V=1.0)
    box.log.clear()
    for level in (0.5, -0.5, -0.5, 0.0, 0.5):
        source.step(level)
    told = [m for m in box.log if m.startswith(("I ", "POL "))]
    half, zero = "I 5.00000000E-01", "I 0.00000000E+00"
    assert told == [zero, "POL PLUS", half, zero, "POL MINUS", half, half, zero, zero, "POL PLUS", half]


@pytest.mark.parametrize(
    ("caps", "told"),
    [
        ([_LEVEL + "counts = -1\n", _COMPLIANCE], "cap.level.counts"),
        ([_LEVEL + "counts = 5\nscale = 1000.0\n", _COMPLIANCE], "cap.level.counts"),
        ([_LEVEL, _COMPLIANCE + "fixed = 5.0\n"], "cap.compliance.set"),
        ([_LEVEL, "[cap.compliance]\nfixed = 5.0\nby_hand = true\n"], "cap.compliance.fixed"),
        ([_LEVEL + "fixed = 5.0\n", _COMPLIANCE], "cap.level.set"),
        ([_LEVEL, _COMPLIANCE + "counts = 5\n"], "cap.compliance.counts"),
        ([_LEVEL, _COMPLIANCE + 'rounds = "up"\n'], "cap.compliance.rounds"),
        ([_LEVEL + 'rounds = "down"\n', _COMPLIANCE], "cap.level.rounds"),
        ([_LEVEL, _COMPLIANCE, "[format]\nwidth = 99\n"], "format.width"),
        ([_LEVEL, _COMPLIANCE, '[cap.limiting]\nget = "L?"\nkind = "bit"\nmask = -1\n'], "cap.limiting.mask"),
        ([_LEVEL, _COMPLIANCE, '[cap.limiting]\nget = "L {what}?"\n'], "cap.limiting.get"),
    ],
)
def test_what_is_wrong_is_named(tmp_path: Path, caps: list[str], told: str) -> None:
    path = tmp_path / "box.toml"
    path.write_text(_HEAD + "".join(caps) + _OUTPUT)
    with pytest.raises(DialectError, match=told.replace(".", r"\.")):
        load_dialect(str(path), "source")
