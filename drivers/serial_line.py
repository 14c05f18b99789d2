"""Settings of a serial line, for the driver and for the guardian, which loads this file by its path."""

from __future__ import annotations

from typing import Any

PARITIES = {"none": 0, "odd": 1, "even": 2, "mark": 3, "space": 4}  # VPP-4.3, VI_ATTR_ASRL_PARITY
STOP_BITS = {1.0: 10, 1.5: 15, 2.0: 20}  # VI_ATTR_ASRL_STOP_BITS
FLOWS = {"none": 0, "xon-xoff": 1, "rts-cts": 2, "dtr-dsr": 4}  # VI_ATTR_ASRL_FLOW_CNTRL


def set_up_line(resource: Any, settings: dict[str, int]) -> None:
    """Give an opened serial resource of PyVISA its settings; another kind of resource has none."""
    from pyvisa import constants

    kinds = {
        "parity": constants.Parity,
        "stop_bits": constants.StopBits,
        "flow_control": constants.ControlFlow,
    }
    for name, value in settings.items():
        setattr(resource, name, kinds[name](value) if name in kinds else value)
