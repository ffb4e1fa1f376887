"""A page in a real browser: what it becomes, and what the browser had to say about it."""

import shutil
import subprocess
from pathlib import Path

QUIET = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync")  # fmt: skip


def opened(page: Path, profile: Path) -> str:
    """The page's document after loading. Fails where the browser logs anything to its console."""
    browser = shutil.which("chromium")
    assert browser, "chromium is missing: install it to run this test"
    done = subprocess.run(
        [browser, *QUIET, "--enable-logging=stderr", f"--user-data-dir={profile}", "--dump-dom", page.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0 and "CONSOLE" not in done.stderr, done.stderr
    return done.stdout
