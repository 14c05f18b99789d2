"""python -m tests.faults.fuzz [INPUTS] [KIND]

Each input is seeded by its number and kind: a finding is repeated by `python -m tests.faults.fuzz one KIND NUMBER`.
"""

from __future__ import annotations

import faulthandler
import random
import sys
import tempfile
import time
import traceback
from pathlib import Path

from tests.faults.fuzz.kinds import Kind, kinds, own_folders
from tests.trials import Result, run_trial

_LIMIT_S = 2.0
_NETWORK_S = 5.0
_STUCK_S = 60.0
_AT_ONCE = 500


def tried(kind: Kind, number: int) -> str:
    """What went wrong with one input; empty where nothing did."""
    dice = random.Random(f"{kind.name} {number}")
    start = time.monotonic()
    try:
        kind.run(dice)
    except BaseException as error:  # noqa: BLE001  whatever escapes is what is looked for
        last = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__} at {Path(last.filename).name}:{last.lineno}: {str(error)[:300]!r}"
    took = time.monotonic() - start
    # A line that opens an address may wait as long as its network does.
    longest = _LIMIT_S + (_NETWORK_S if kind.name == "options" else 0.0)
    return f"took {took:.1f} s" if took > longest else ""


def main() -> int:
    """Print what was found, one example of each place."""
    if sys.argv[1:2] == ["one"]:
        with tempfile.TemporaryDirectory() as name:
            own_folders(Path(name))
            kind = next(kind for kind in kinds(Path(name)) if kind.name == sys.argv[2])
            kind.run(random.Random(f"{kind.name} {int(sys.argv[3])}"))
        return 0
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    only = sys.argv[2] if len(sys.argv) > 2 else ""
    with tempfile.TemporaryDirectory() as name:
        own_folders(Path(name))
        chosen = [kind for kind in kinds(Path(name)) if only in ("", kind.name)]
        weight = sum(kind.share for kind in chosen)
        plan = [(kind, number) for kind in chosen for number in range(max(1, round(total * kind.share / weight)))]

        def case(place: int) -> Result:
            kind, number = plan[place]
            faulthandler.dump_traceback_later(_STUCK_S, exit=True)
            return {"kind": kind.name, "number": number, "found": tried(kind, number)}

        results = run_trial(f"fuzz{'-' + only if only else ''}", len(plan), case, at_once=_AT_ONCE)
        faulthandler.cancel_dump_traceback_later()
    found: dict[str, list[Result]] = {}
    for result in results:
        if result["found"]:
            found.setdefault(f"{result['kind']}: {result['found'].partition(': ')[0]}", []).append(result)
    for place, several in sorted(found.items(), key=lambda item: -len(item[1])):
        print(f"{len(several):5}  {place}: {several[0]['found'][:400]}  (number {several[0]['number']})")
    inputs = ", ".join(f"{sum(result['kind'] == kind.name for result in results)} {kind.name}" for kind in chosen)
    print(f"{len(results)} inputs ({inputs}): {sum(map(len, found.values()))} findings at {len(found)} places")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
