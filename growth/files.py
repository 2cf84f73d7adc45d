"""Writing a file so that a failure loses nothing: beside it first, then renamed."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path


def replace_file(path: str | Path, content: str | bytes) -> Path:
    """Write `content` (text as UTF-8, line ends as they are) to `path`, whole or not at all.

    The content is written to a new file in the same directory, flushed to the disk and renamed. An existing file keeps
    its permissions, and a link keeps pointing where it did. Raises OSError; the old file is then untouched and nothing
    is left beside it.
    """
    path = Path(os.path.realpath(path))
    content = content.encode("utf-8") if isinstance(content, str) else content
    try:
        mode = path.stat().st_mode & 0o7777
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        mode = 0o666 & ~mask
    handle, beside = tempfile.mkstemp(prefix=f".{path.name[:80]}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fchmod(stream.fileno(), mode)
            os.fsync(stream.fileno())
        os.replace(beside, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(beside)
        raise
    return path
