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
        ('set = "I {value}"', 'set = "I {value}E3"', "cap.level.set: .*stand last"),
        ("scale = 1000", "scale = 0", "cap.compliance.scale: .*above 0"),
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
