"""Which VISA library opens an address, and what the libraries find."""

from __future__ import annotations

import pytest
import pyvisa

from drivers.wires import list_addresses, visa_library


@pytest.mark.parametrize(
    ("address", "paths", "library"),
    [
        ("TCPIP::1.2.3.4::INSTR", ["lib"], "@py"),
        ("ASRL/dev/ttyUSB0::INSTR", ["lib"], "@py"),
        ("USB0::1::2::3::INSTR", ["lib"], "@ivi"),
        ("gpib0::7::INSTR", ["lib"], "@ivi"),
        ("GPIB0::7::INSTR", [], "@py"),
    ],
)
def test_usb_and_gpib_go_through_the_machines_own(
    monkeypatch: pytest.MonkeyPatch, address: str, paths: list[str], library: str
) -> None:
    monkeypatch.setattr("pyvisa.ctwrapper.highlevel.IVIVisaLibrary.get_library_paths", lambda: paths)
    assert visa_library(address) == library
    monkeypatch.setenv("BENCHAPP_VISA", "/opt/other.so")
    assert visa_library(address) == "/opt/other.so"


def test_both_libraries_are_asked_and_a_fault_of_one_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    class Manager:
        def __init__(self, library: str) -> None:
            self.library = library

        def list_resources(self, query: str) -> list[str]:
            if self.library == "@ivi":
                raise OSError("no driver")
            return ["ASRL2::INSTR", "ASRL1::INSTR"]

    monkeypatch.setattr(pyvisa, "ResourceManager", Manager)
    monkeypatch.setattr("drivers.wires.visa_library", lambda address: "@ivi" if address == "USB" else "@py")
    found, notes = list_addresses()
    assert found == ["ASRL1::INSTR", "ASRL2::INSTR"]
    assert notes == ["VISA library @ivi: no driver"]
