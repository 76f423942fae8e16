"""The script that draws charts, made once by a child process and kept as a file. Shell."""

import logging
import os
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

log = logging.getLogger(__name__)

PROGRAM = "import sys, vl_convert; sys.stdout.buffer.write(vl_convert.javascript_bundle().encode())"
PATIENCE_S = 60.0
LEAST_BYTES = 100_000


def bundle_path(folder: Path) -> Path:
    """Return where the bundle of the installed library stands in a folder."""
    return folder / f"charts-{version('vl-convert-python')}.js"


def ensure(folder: Path) -> Path | None:
    """Make the bundle if it is not there, in a child process so that its memory is given back; None if it failed.

    Pages work without it: the words say what the chart shows.
    """
    path = bundle_path(folder)
    if path.exists():
        return path
    try:
        folder.mkdir(parents=True, exist_ok=True)
        made = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, timeout=PATIENCE_S, check=True)
        if len(made.stdout) < LEAST_BYTES:
            log.error("the chart bundle came out too small (%d bytes); charts are left out", len(made.stdout))
            return None
        _write(path, made.stdout)
    except (OSError, subprocess.SubprocessError) as fault:
        log.error("the chart bundle could not be made (%s); charts are left out", type(fault).__name__)
        return None
    return path


def _write(path: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".charts-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise


def content(folder: Path) -> bytes | None:
    """Return the bundle's bytes, making it first where it is missing."""
    path = ensure(folder)
    return path.read_bytes() if path is not None else None
