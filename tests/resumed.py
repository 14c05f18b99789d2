"""Several long commands as one that goes on where it was stopped: what is through is shown again, not done again.

python -m tests.resumed NAME "N" MODULE...      N goes to each of them, "" leaves theirs
"""

from __future__ import annotations

import json
import subprocess
import sys

from tests.trials import ROOT, sources_digest


def main() -> int:
    """Run each module to its end; 1 where one of them says that something is wrong."""
    name, size, *modules = sys.argv[1:]
    path = ROOT / ".trials" / f"{name}.json"
    head = {"sources": sources_digest(), "size": size, "modules": modules}
    try:
        kept = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        kept = {}
    done: dict[str, str] = kept["done"] if kept.get("head") == head else {}
    path.parent.mkdir(exist_ok=True)
    worst = 0
    for module in modules:
        if module in done:
            print(done[module], end="", flush=True)
            continue
        with subprocess.Popen(
            [sys.executable, "-m", module, *([size] if size else [])], cwd=ROOT, stdout=subprocess.PIPE, text=True
        ) as process:
            assert process.stdout is not None
            lines = []
            for line in process.stdout:
                print(line, end="", flush=True)
                lines.append(line)
        if process.returncode:
            worst = 1
            continue
        done[module] = "".join(lines)
        path.write_text(json.dumps({"head": head, "done": done}), "utf-8")
    if not worst:
        path.unlink(missing_ok=True)
    return worst


if __name__ == "__main__":
    sys.exit(main())
