"""Build hook: compiles the inner loops where a C compiler is at hand, and is content without one.

The library knows nothing of Python, so one wheel a platform serves every version.
"""

import os
import shlex
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import zlib
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# No fused arithmetic: numpy has none, and both are to come to the same.
_FLAGS = ("-O3", "-std=c99", "-ffp-contract=off", "-fno-math-errno", "-shared", "-fvisibility=hidden")
_LIBRARY = "kernels.compiled"  # with the usual suffix it would pass for a module of Python


class KernelsHook(BuildHookInterface):
    """Puts the library beside its Python module, in the wheel or, for an editable install, in the tree."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile; a wheel with the library is of this platform, one without is of any."""
        source = Path(self.root, "scout", "kernels.c")
        target = source.with_name(_LIBRARY)
        if not any(_compile(words, source, target) for words in _list_compilers()):
            target.unlink(missing_ok=True)
            self.app.display_warning("No C compiler: the loops of numpy are used, with the same results.")
            return
        build_data["artifacts"].append(f"scout/{target.name}")
        build_data["pure_python"] = False
        build_data["tag"] = f"py3-none-{sysconfig.get_platform().replace('-', '_').replace('.', '_')}"


def _list_compilers() -> list[list[str]]:
    named = [shlex.split(os.environ["CC"])] if os.environ.get("CC") else []
    return named + [[path] for path in map(shutil.which, ("cc", "gcc", "clang")) if path]


def _compile(words: list[str], source: Path, target: Path) -> bool:
    flags = [*_FLAGS, f"-DSOURCE_CHECKSUM={zlib.crc32(source.read_bytes())}u"]
    if sys.platform != "win32":
        flags.append("-fPIC")
    with tempfile.TemporaryDirectory(dir=target.parent) as place:
        made = Path(place, target.name)
        try:
            run = subprocess.run(
                [*words, *flags, str(source), "-o", str(made), "-lm"], capture_output=True, check=False
            )
        except OSError:
            return False
        if run.returncode:
            return False
        made.replace(target)
    return True
