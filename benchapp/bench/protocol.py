"""What only the real instruments can show, as a protocol of five minutes to be done once at the bench and kept.

The program is proved against simulated instruments, and over USB and GPIB against a library that behaves as one does.
Whether this source really switches off, and whether this adapter really clears, nobody can know from a desk.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, how, and what must be seen."""

    what: str
    how: str
    seen: str


def protocol_steps(address: str, role: str, dialect: str) -> list[Step]:
    """The steps for one instrument at its address."""
    of = f"{address} --dialect {dialect}" if dialect != "scpi" else address
    role_of = f"{of} --role {role}"
    link = address.partition("::")[0].rstrip("0123456789").upper()
    steps = [
        Step("Who it is", f"benchapp instruments identify {role_of}", "its name; the second time within milliseconds"),
        Step("Its words", f"benchapp instruments check {role_of}", "no line that fails"),
        Step(
            "A wrong question, then a right one",
            f"benchapp instruments talk {role_of}: NONSENSE?, then the question who it is",
            "no answer to the first, its name to the second: time-out, clear and step hold on this link",
        ),
    ]
    if link in ("USB", "GPIB"):
        steps.append(
            Step(
                "The cable",
                "pull it while the program waits for an answer, put it back, ask who it is",
                "a message that names the address, and then its name again",
            )
        )
    if role == "source":
        measure = f"benchapp measure --source {address} --voltmeter ADDR --current LEAST --duration 60s"
        steps += [
            Step(
                "On a resistor of 1 ohm that stands 1 A",
                f'benchapp instruments check {role_of} --energise "10 mA" --resistance "1 ohm" --voltmeter ADDR',
                "output, level and compliance work; its own display shows off at the end",
            ),
            Step("OFF", f"{measure}; Ctrl+C in the middle", "off on its own display at once, and exit 0 or 4"),
            Step("A killed program", f"{measure}; kill -9 its process", "off on its own display within two seconds"),
            Step(
                "A stopped program", f"{measure}; kill -STOP its process", "off on its own display within two seconds"
            ),
            Step(
                "Program and guardian killed together",
                f"{measure}; killall -9 python3; then benchapp off",
                "on until then; the next start says so, and OFF acts",
            ),
        ]
    else:
        steps.append(Step("Overload", "a range too small for what is on it", "a run that ends with the word overload"))
    return steps


def protocol_text(address: str, role: str, dialect: str, identity: str) -> str:
    """To be printed and signed."""
    lines = [
        f"Protocol for {identity} as {role} at {address}, dialect {dialect}",
        "With leads on a resistor, at the least current that reads. About five minutes.",
        "",
    ]
    for number, step in enumerate(protocol_steps(address, role, dialect), 1):
        lines += [
            f"{number:>2}  {step.what}",
            f"    {step.how}",
            f"    must show: {step.seen}",
            "    seen: ____________",
            "",
        ]
    return "\n".join([*lines, "day: ____________   name: ____________"])
