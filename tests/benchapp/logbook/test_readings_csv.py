import io
from pathlib import Path

import pytest

from benchapp.errors import InputError
from benchapp.logbook.readings_csv import read_readings, write_readings

HEADER = "time_s,current_A,voltage_V\n"


def test_what_is_written_reads_back_the_same(tmp_path: Path) -> None:
    rows = [(0.1 * k, 0.1 * (-1) ** k / 3, 1e-6 / 7) for k in range(5)]
    stream = io.StringIO()
    write_readings(stream, rows, pauses=[3])
    path = tmp_path / "run.csv"
    path.write_text(stream.getvalue())
    columns = read_readings(path)
    assert list(zip(columns.time_s, columns.current_A, columns.voltage_V, strict=True)) == rows
    assert columns.pauses == [3]


def test_columns_may_come_in_any_order_with_others_among_them(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    header = "\ufeff# a remark\nvoltage_V, note,time_s,temperature_C,current_A\n"
    path.write_text(header + "1e-6,a,0,23.1,0.1\n2e-6,b,1,,-0.1\n")
    columns = read_readings(path)
    assert columns.voltage_V == [1e-6, 2e-6]
    assert columns.current_A == [0.1, -0.1]
    assert columns.temperature_C is not None
    assert columns.temperature_C[0] == 23.1


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "columns missing: time_s, current_A, voltage_V"),
        ("time_s;current_A;voltage_V\n", "separated by commas"),
        ("time_s,current_A\n1,2\n", "columns missing: voltage_V"),
        (HEADER, "no readings"),
        (HEADER + "0,0.1,1e-6\n1,0.1\n", "line 3: 2 values under 3 columns"),
        (HEADER + "0,0.1,1e-6\n1,x,1e-6\n", r"line 3, current_A: this is no number \(got 'x'\)"),
        (HEADER + "0,nan,1e-6\n", "line 2, current_A: this is no number"),
        (HEADER + "1,0.1,1e-6\n1,-0.1,1e-6\n", "line 3, time_s: the time does not go on"),
        (HEADER + "0,0.1,\n", "line 2, voltage_V"),
    ],
)
def test_a_bad_file_is_named_with_line_field_value_and_remedy(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=message) as caught:
        read_readings(path)
    assert str(path) in str(caught.value)


def test_a_file_that_is_not_there_or_no_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_readings(tmp_path / "none.csv")
    (tmp_path / "binary.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_readings(tmp_path / "binary.csv")
