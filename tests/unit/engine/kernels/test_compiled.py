"""How kernels are compiled."""

import subprocess
import sys
from pathlib import Path

from archive.engine.kernels import compiled
from archive.engine.kernels.light import scale


def test_no_flag_that_changes_bits_between_processors_is_used() -> None:
    options = scale.targetoptions
    assert options["fastmath"] == {"nnan", "ninf", "nsz"}
    assert options["nogil"]
    assert not options.get("parallel")
    assert options["error_model"] == "numpy"


def test_compiled_code_lies_in_the_users_cache_or_nowhere(tmp_path: Path) -> None:
    code = "from archive.engine.kernels.light import scale\nprint(scale.stats.cache_path or '')\n"
    for cache, expected in ((tmp_path, str(tmp_path / "noctuary" / "kernels")), (Path("/dev/null"), "")):
        told = subprocess.run(
            [sys.executable, "-c", code], env={"XDG_CACHE_HOME": str(cache), "PATH": "/usr/bin:/bin"},
            cwd=Path(__file__).parents[4], capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert told.stdout.strip().startswith(expected)
        if not expected:
            assert told.stdout.strip() == ""


def test_the_decorators_keep_plain_functions_reachable() -> None:
    @compiled.kernel
    def double(value):
        return value * 2

    assert double.py_func(3) == double(3) == 6


def test_only_kernels_whose_sources_name_the_folder_are_kept() -> None:
    factor = 2

    def double(value):
        return value * factor

    assert compiled.kernel(double).stats.cache_path is None
    double.__module__ = "archive.engine.kernels.light"
    assert compiled.kernel(double).stats.cache_path is None, "what it closes over is in no source"
    assert scale.stats.cache_path is not None
