"""Pictures and printed pages by Chromium, where there is one."""

from __future__ import annotations

import os
import shutil
import subprocess
from functools import cache

from growth.files import scratch

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
PATIENCE = 60  # seconds
_FLAGS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--hide-scrollbars",
    "--no-sandbox",  # it opens our own file alone, whose policy runs no script
    "--host-resolver-rules=MAP * ~NOTFOUND",
)


def browser() -> str | None:
    """The path of Chromium, None where there is none."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def png(html: str, *, width: int, height: int) -> bytes | None:
    """A page as a picture of that many pixels; None where there is no Chromium or it fails."""
    return _made(
        html, "picture.png", [f"--window-size={width},{height}", "--force-device-scale-factor=1"], "--screenshot"
    )


def pdf(html: str) -> bytes | None:
    """A page printed, in the size that its style sheet asks for; None where there is no Chromium or it fails."""
    return _made(html, "page.pdf", ["--no-pdf-header-footer"], "--print-to-pdf")


@cache
def without_network() -> tuple[str, ...]:
    """What stands before a command so that it runs with no network at all; nothing where the system cannot do that.

    Without it Chromium's flags keep it from asking anybody, but it opens a socket to a public address to see whether
    there is IPv6.
    """
    alone = ("unshare", "--user", "--map-current-user", "--net")
    if not shutil.which("unshare"):
        return ()
    try:
        subprocess.run([*alone, "true"], capture_output=True, timeout=PATIENCE, check=True)
    except (OSError, subprocess.SubprocessError):
        return ()
    return alone


def _made(html: str, name: str, options: list[str], what: str) -> bytes | None:
    program = browser()
    if program is None:
        return None
    with scratch() as folder:
        page, out = folder / "page.html", folder / name
        page.write_text(html, "utf-8")
        command = [
            *without_network(),
            program,
            *_FLAGS,
            f"--user-data-dir={folder}/profile",
            *options,
            f"{what}={out}",
            page.as_uri(),
        ]
        try:
            environment = {**os.environ, "TMPDIR": str(folder)}  # it makes folders of its own
            subprocess.run(command, env=environment, capture_output=True, timeout=PATIENCE, check=True)
            return out.read_bytes()
        except (OSError, subprocess.SubprocessError):
            return None
