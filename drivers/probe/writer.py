"""A dialect file out of a report: every line with what is known of it. What was not found stands as a comment."""

from __future__ import annotations

from drivers.dialect.model import REQUIRED
from drivers.probe.prober import Finding, Report
from drivers.probe.spellings import BY_ROLE


def dialect_text(report: Report, name: str) -> str:
    """The file as text. It loads as it stands where all that the role needs was found."""
    lines = [
        f"# Written by a probe of {report.identity!r}: {report.messages} messages in {report.seconds:.1f} s.",
        '# proved: seen to work. unverified: likely, but left to you; try it, then write status = "confirmed".',
        *(f"# {note}" for note in report.notes),
        f"id = {_quoted(name)}",
        f'kind = "{report.role}"',
    ]
    if report.also_sources:
        lines.append("also_sources = true")
    lines += ["", "[link]", f"write_termination = {_quoted(report.write_termination)}"]
    if report.write_termination == "\r":
        lines.append('read_termination = "\\r"')
    lines.append(f"compound = {str(report.compound).lower()}")
    if report.echo:
        lines.append("echo = true")
    if report.greeting:
        lines.append(f"greeting = true  # it said {_quoted(report.greeting[:80])}")
    lines += ["", "[errors]", *_errors(report), "", "[sync]"]
    lines.append('query = "*OPC?"' if report.completes else 'mode = "delay"\ndelay_s = 0.05  # *OPC? is not answered')
    lines += ["", "[sequence]", 'reset = ["*RST"]']
    if report.role == "source":
        lines.append('safe = [":OUTP OFF"]')
    for finding in report.findings:
        lines += ["", *_capability(finding)]
    for missing in report.missing:
        needed = "needed" if missing in REQUIRED[report.role] else "not needed"
        tried = ", ".join(candidate.query for candidate in BY_ROLE[report.role][missing])
        lines += ["", f"# [cap.{missing}] was not found and is {needed}; tried {tried}"]
    return "\n".join(lines) + "\n"


def _errors(report: Report) -> list[str]:
    if report.error_mode == "reply":
        return ['mode = "reply"', f"reply = {_quoted(report.error_query)}"]
    if report.error_mode == "none":
        return ['mode = "none"']
    return [f'mode = "{report.error_mode}"', f"query = {_quoted(report.error_query)}"]


def _capability(finding: Finding) -> list[str]:
    c = finding.candidate
    lines = [f"[cap.{finding.name}]"]
    if finding.name == "read":
        lines.append(f"get = {_quoted(c.query)}")
    elif finding.name == "limiting":
        lines += [f"get = {_quoted(c.query)}", f'kind = "{c.kind}"']
    elif c.kind == "text":
        word = '"VOLT:DC"' if finding.name == "function" and c.header.startswith(":SENS") else c.value
        lines += [f"set = {_quoted(f'{c.header} {word}')}", f"get = {_quoted(c.query)}"]
        lines += ['kind = "text"', f"value = {_quoted(c.value)}"]
    else:
        lines += [f'set = "{c.header} {{value}}"', f"get = {_quoted(c.query)}"]
        if c.kind != "number":
            lines.append(f'kind = "{c.kind}"')
        if c.rounds != "exact":
            lines.append(f'rounds = "{c.rounds}"')
    return [*lines, f'status = "{finding.status}"', f"evidence = {_quoted(finding.evidence)}"]


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\r", "\\r").replace("\n", "\\n")
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
