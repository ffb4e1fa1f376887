"""The real mpremote, and waiting for what a board does."""

import subprocess
import sys
import sysconfig
from pathlib import Path

MPREMOTE = str(Path(sysconfig.get_path("scripts")) / "mpremote")


def mpremote(port: str, *words: str, cwd: Path | None = None) -> str:
    """Run mpremote; return what it printed."""
    done = subprocess.run(
        [sys.executable, MPREMOTE, "connect", port, *words], capture_output=True, text=True, timeout=120, cwd=cwd
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
