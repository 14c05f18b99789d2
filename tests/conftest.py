import os
import tempfile
from pathlib import Path

# Windows are tested without a screen, also where there is one.
os.environ["QT_QPA_PLATFORM"] = "offscreen"
# Nothing of the user's own is touched, whichever process a test starts.
_OWN = Path(tempfile.mkdtemp(prefix="benchapp-tests-"))
for _name in ("CONFIG", "DATA", "RUNTIME"):
    os.environ.setdefault(f"BENCHAPP_{_name}", str(_OWN / _name.lower()))
