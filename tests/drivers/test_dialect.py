from pathlib import Path

import pytest

from drivers.dialect import dialect_names, load_dialect
from drivers.errors import DialectError

MINIMAL = """
id = "mine"
kind = "source"
[sequence]
safe = ["OFF"]
[cap.level]
set = "I {value}"
[cap.output]
set = "S {value}"
kind = "bool"
[cap.compliance]
set = "U {value}"
scale = 1000
"""


@pytest.mark.parametrize("kind", ["source", "voltmeter"])
def test_shipped_dialects_load(kind: str) -> None:
    assert dialect_names(kind)
    for name in dialect_names(kind):
        assert load_dialect(name, kind).kind == kind


def test_a_file_of_one_s_own(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(MINIMAL)
    dialect = load_dialect(str(path), "source")
    assert dialect.capabilities["compliance"][0].scale == 1000.0
    assert dialect.safe == ("OFF",)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('id = "mine"', "id = 3", "id: not usable .*Write a text in quotes"),
        ('kind = "source"', 'kind = "voltmeter"', "kind: not usable"),
        ('safe = ["OFF"]', "", "sequence.safe: not usable. Write what switches the output off"),
        ('safe = ["OFF"]', 'safe = "OFF"', "sequence.safe: .*list of texts"),
        ("[cap.level]", "[cap.lebel]", "cap.lebel: not usable. Unknown"),
        ("[cap.level]", "[cap.lebel]", "cap.level: not usable. A source needs it"),
        ('set = "I {value}"', 'set = "I"', "cap.level.set: .*Write {value}"),
        ('set = "I {value}"', 'set = "I {level}"', "cap.level.set: .*only placeholder"),
        ('set = "I {value}"', 'set = "I {value}E3"', "cap.level.set: .*After .value. write a unit"),
        ("scale = 1000", "scale = 0", "cap.compliance.scale: .*above 0"),
        ("scale = 1000", 'rounds = "nearest"', "cap.compliance.rounds: .*as it was set"),
        ("scale = 1000", "rtol = 0.5", "cap.compliance.rtol: .*at most"),
        ("scale = 1000", "scael = 1", "cap.compliance.scael: not usable. Unknown"),
        ("scale = 1000", 'kind = "colour"', "cap.compliance.kind: .*Write one of"),
        ("[sequence]", "[sequence", "no TOML"),
    ],
)
def test_faults_name_file_key_value_and_remedy(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(MINIMAL.replace(old, new))
    with pytest.raises(DialectError, match=message) as caught:
        load_dialect(str(path), "source")
    assert str(path) in str(caught.value)


def test_an_unknown_name_lists_the_known() -> None:
    with pytest.raises(DialectError, match=r"Choose one of .*scpi"):
        load_dialect("nonsense", "voltmeter")


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('[errors]\nmode = "loud"', "errors.mode: .*Write one of queue, register, reply, none"),
        ('[errors]\nmode = "reply"', "errors.reply: .*how an error answer looks"),
        ('[errors]\nmode = "register"', "errors.query: .*what asks the register"),
        ('[sync]\nmode = "delay"', "sync.delay_s: .*how long"),
        ("[sync]\ninterval_s = 0.0", "sync.interval_s: .*0.0005 to 10"),
        ("[format]\ndigits = 3", "format.digits: .*fewer lose"),
        ("[link]\nmax_message_bytes = -1", "link.max_message_bytes: .*number of bytes"),
        ('[identify]\nreply = "{who}"', "identify.reply: .*no place"),
        ('[cap.range]\nkind = "index"\nset = "R {value}"', "cap.range.table: .*values in order"),
        ('[cap.limiting]\nget = "L?"\nreply = "re2:("', "cap.limiting.reply: .*RE2 does not take"),
        ('[cap.limiting]\nget = "L?"\nrtol = -1.0', "cap.limiting.rtol: .*0 or more"),
        ('[cap.range]\nset = "R {value}"\nlow = 2.0\nhigh = 1.0', "cap.range.low: .*below high"),
        ('[cap.range]\non_set = "R"', "cap.range.on_set: .*together"),
        ('[cap.range]\nset = "R {value}"\nrounds = "away"', "cap.range.rounds: .*Write one of"),
        ('[cap.read]\nget = "R?"', "cap.read: not usable. Unknown"),
    ],
)
def test_faults_of_the_richer_sections(tmp_path: Path, line: str, message: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(f"{MINIMAL}\n{line}\n")
    with pytest.raises(DialectError, match=message):
        load_dialect(str(path), "source")


def test_all_faults_come_at_once(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(MINIMAL.replace("[cap.level]", "[cap.lebel]") + '[errors]\nmode = "loud"\n[sync]\ndone = 3\n')
    with pytest.raises(DialectError) as caught:
        load_dialect(str(path), "source")
    assert len(str(caught.value).splitlines()) == 4


def test_an_overlay_replaces_what_it_names_and_keeps_the_rest(tmp_path: Path) -> None:
    base, path = tmp_path / "base.toml", tmp_path / "mine.toml"
    base.write_text(MINIMAL)
    path.write_text('kind = "source"\nextends = "base.toml"\ncap.compliance = { set = "LIM {value}" }\n')
    dialect = load_dialect(str(path), "source")
    assert dialect.capabilities["compliance"][0].set == "LIM {value}"
    assert dialect.capabilities["level"][0].set == "I {value}"
    assert dialect.safe == ("OFF",)
    path.write_text('kind = "source"\nextends = "mine.toml"\n')
    with pytest.raises(DialectError, match="extends"):
        load_dialect(str(path), "source")


@pytest.mark.parametrize("kind", ["thermometer", "switch"])
def test_other_roles_load(kind: str) -> None:
    assert "scpi" in dialect_names(kind)
    assert load_dialect("scpi", kind).kind == kind


@pytest.mark.parametrize("kind", ["source", "voltmeter"])
def test_one_file_for_both_roles(kind: str) -> None:
    assert "scpi_combined" in dialect_names(kind)
    assert load_dialect("scpi_combined", kind).also_sources
