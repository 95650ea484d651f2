"""What pyproject.toml cannot say: each .pyx is compiled, by whatever compiler there is."""

import os
import shlex
import shutil
import sys
import sysconfig
from pathlib import Path

from setuptools import Extension, setup
from setuptools.command.build_ext import build_ext

# The wheel ziglang holds a C compiler that needs no rights; used where none is installed.
ZIG = f"{shlex.quote(sys.executable)} -m ziglang cc -mcpu=baseline"
# Products and sums are rounded one by one, so that every machine finds the same.
FLAGS = [] if os.name == "nt" else ["-O3", "-ffp-contract=off", "-fno-math-errno", "-g0"]
ADVICE = """
plumbstone has a few loops in C, and they could not be compiled; the lines above say why.
If Python.h is missing, install Debian's python3-dev, Fedora's python3-devel or the like, or take
a Python that brings it without root (from python.org, conda, pyenv or uv).
If the C compiler fails, name another: CC=clang; or install ziglang and name
CC="python -m ziglang cc".
"""


def compiler() -> str | None:
    """Name a C compiler where the one that this Python was made with is missing."""
    usual = os.environ.get("CC") or sysconfig.get_config_var("CC")
    if os.name != "posix" or (usual and shutil.which(usual.split()[0])):
        return None
    return next(filter(shutil.which, ("cc", "gcc", "clang")), ZIG)


class Compiled(build_ext):
    """Compile, or say what is missing."""

    def finalize_options(self) -> None:
        """Keep what Cython writes out of the tree."""
        super().finalize_options()
        self.cython_c_in_temp = True

    def build_extension(self, ext: Extension) -> None:
        """Compile one; an editable install keeps what it has beside a source that is older."""
        built = Path(self.get_ext_fullpath(ext.name))
        kept = Path(ext.sources[0]).with_name(built.name)
        ages = [Path(file).stat().st_mtime for file in (*ext.sources, __file__)]
        if self.editable_mode and kept.exists() and kept.stat().st_mtime > max(ages):
            built.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(kept, built)
        else:
            super().build_extension(ext)

    def run(self) -> None:
        """Compile all."""
        try:
            super().run()
        except Exception as error:
            raise SystemExit(f"{error}\n{ADVICE}") from None


found = compiler()
if found:
    os.environ["CC"] = found
setup(
    cmdclass={"build_ext": Compiled},
    setup_requires=["ziglang"] if found == ZIG else [],
    ext_modules=[
        Extension(
            ".".join(("plumbstone", *loops.with_suffix("").parts)),
            [str(loops)],
            extra_compile_args=FLAGS,
        )
        for room in ("meshes", "volumes")
        for loops in sorted(Path(room).rglob("*.pyx"))
    ],
)
