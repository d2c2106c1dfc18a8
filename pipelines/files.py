"""Files replaced as a whole: a reader finds the old one or the new one, never a part."""

import os
import tempfile
from pathlib import Path


def write_text(path: Path, text: str) -> None:
    """Replace a text file (UTF-8)."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Replace a file."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException as error:
        Path(name).unlink(missing_ok=True)
        if isinstance(error, OSError) and error.filename is None:
            error.filename = os.fspath(path)  # a full disk does not say which file it was
        raise
