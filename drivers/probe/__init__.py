"""Finding out how an unknown instrument spells things, with its output off and nothing energised.

`spellings` lists what is worth trying, `errors` finds out how the instrument refuses, `prober` gathers evidence,
`writer` makes a dialect file of it. What cannot be proved is said to be unverified and left to the user's hand.
"""

from drivers.probe.prober import Finding, Probe, Progress, Report, probe
from drivers.probe.writer import dialect_text

__all__ = ["Finding", "Probe", "Progress", "Report", "dialect_text", "probe"]
