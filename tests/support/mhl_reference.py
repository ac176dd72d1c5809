"""The reference implementation of ASC MHL, run as an independent judge of the histories we write.

It lives in an environment of its own (its wheel brings a top-level package ``tests``), and is called
inside that environment's interpreter, because its command-line entry points ask the network for news.
``NOCTUARY_MHL_ENV`` may name a folder that holds such an environment already.
"""

from __future__ import annotations

import functools
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

import pytest

REQUIREMENT = "ascmhl==1.2"
CLEAN, MISSING, ALTERED, ALTERED_FOLDER, NEW, MANIFEST_EDITED, NO_CHAIN = 0, 10, 11, 12, 21, 31, 32

_RUN = """
import sys
from ascmhl import commands
command, *arguments = sys.argv[1:]
try:
    getattr(commands, command).main(args=arguments, standalone_mode=False)
except Exception as error:
    code = getattr(error, "exit_code", None)
    if not isinstance(code, int):
        raise
    sys.exit(code)
"""

_SCHEMA = """
import sys
from lxml import etree
schema = etree.XMLSchema(etree.parse(sys.argv[1]))
for path in sys.argv[2:]:
    if not schema.validate(etree.parse(path)):
        print(path, schema.error_log)
"""


@functools.cache
def environment() -> tuple[Path | None, str]:
    """The folder of the judge's environment, or None and why there is none."""
    named = os.environ.get("NOCTUARY_MHL_ENV")
    if named:
        folder = Path(named)
        found = _python(folder).exists()
        return (folder, "") if found else (None, f"NOCTUARY_MHL_ENV names no environment: {named}")
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(tempfile.gettempdir()) / f"noctuary-test-{REQUIREMENT.replace('==', '-')}-{user}"
    if _python(folder).exists() and (folder / "complete").exists():
        return folder, ""
    shutil.rmtree(folder, ignore_errors=True)
    try:
        _quietly(sys.executable, "-m", "venv", str(folder))
        _quietly(str(_python(folder)), "-m", "pip", "install", "-q", REQUIREMENT)
    except (OSError, subprocess.SubprocessError) as error:
        shutil.rmtree(folder, ignore_errors=True)
        return None, f"the reference implementation could not be installed: {error}"
    (folder / "complete").touch()
    return folder, ""


def _python(folder: Path) -> Path:
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def _quietly(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True, timeout=240)


def _required() -> Path:
    folder, reason = environment()
    if folder is None:
        pytest.skip(reason)
    return folder


def _run(command: str, *arguments: str) -> int:
    python = _python(_required())
    ran = subprocess.run(
        [str(python), "-c", _RUN, command, *arguments],
        capture_output=True,
        text=True,
        timeout=240,
        cwd=tempfile.gettempdir(),
    )
    if ran.returncode == 1:
        raise AssertionError(f"it failed on {arguments}:\n{ran.stdout}\n{ran.stderr}")
    return ran.returncode


def verify_folder(folder: Path, *, folder_hashes: bool = False) -> int:
    """What the reference implementation says of a folder with a history: 0 when all of it proves good.

    10 a file is missing, 11 altered, 12 a folder hash differs, 21 a file is new, 31 a manifest was
    edited, 32 the chain is missing.
    """
    return _run("verify", *(["-dh"] if folder_hashes else []), str(folder))


def create_history(folder: Path) -> int:
    """Let the reference implementation write the next generation of a folder's history."""
    return _run("create", str(folder))


def schema_faults(*, manifests: list[Path], chain: Path) -> str:
    """What the standard's own schemas say against these documents; empty when nothing."""
    folder = _required()
    schemas = folder / "schemas"
    if not schemas.exists():
        with tempfile.TemporaryDirectory() as scratch:
            fetch = [str(_python(folder)), "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:"]
            try:
                _quietly(*fetch, REQUIREMENT, "-d", scratch)
            except (OSError, subprocess.SubprocessError) as error:
                pytest.skip(f"the schemas could not be fetched: {error}")
            with tarfile.open(next(Path(scratch).glob("*.tar.gz"))) as package:
                package.extractall(scratch, filter="data")
            found = {path.name: path for path in sorted(Path(scratch).glob("*/xsd/*.xsd"))}
            ready = Path(scratch) / "schemas"
            ready.mkdir()
            shutil.copy(found["ASCMHL.xsd"], ready)
            chained = found["ASCMHLDirectory.xsd"].read_text(encoding="utf-8")
            address = chained.partition('schemaLocation="')[2].partition('"')[0]
            chained = chained.replace(address, "ASCMHL.xsd")
            (ready / "ASCMHLDirectory.xsd").write_text(chained, encoding="utf-8")
            shutil.copytree(ready, schemas)
    told = ""
    for schema, documents in (("ASCMHL.xsd", manifests), ("ASCMHLDirectory.xsd", [chain])):
        told += subprocess.run(
            [str(_python(folder)), "-c", _SCHEMA, str(schemas / schema), *map(str, documents)],
            check=True,
            capture_output=True,
            text=True,
            timeout=60,
        ).stdout
    return told
