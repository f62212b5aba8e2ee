"""The code paths of other processors, taken on this one: environments that switch them on.

    python tests/makers/processors.py COMMAND [ARGUMENT ...]    runs it once for each; worst exit code

numpy and OpenCV choose their instructions by what the processor has when they start; each can be
told to leave some unused, as can the C library's mathematics. What is not there needs no leaving.
"""

from __future__ import annotations

import os
import subprocess
import sys

WIDE = "AVX512"


def environments() -> dict[str, dict[str, str]]:
    """Return {name: variables to set}: this processor, one without AVX-512, one without AVX2.

    The last is the nearest that can be had here to a processor of another make.
    """
    return {
        "this processor": {},
        "without AVX-512": {
            "NPY_DISABLE_CPU_FEATURES": " ".join(_wide_features(("X86_V4", WIDE))),
            "OPENCV_CPU_DISABLE": "AVX512-SKX",
            "OPENCV_IPP": "avx2",
            "OPENBLAS_CORETYPE": "Haswell",
        },
        "without AVX2": {
            "NPY_DISABLE_CPU_FEATURES": " ".join(_wide_features(("X86_V3", "X86_V4", WIDE))),
            "OPENCV_CPU_DISABLE": "AVX512-SKX,AVX2,AVX,FP16,FMA3",
            "OPENCV_IPP": "sse42",
            "OPENBLAS_CORETYPE": "Nehalem",
            "VIPS_NOVECTOR": "1",
            "JSIMD_FORCESSE2": "1",
            "GLIBC_TUNABLES": "glibc.cpu.hwcaps=-AVX512F,-AVX512VL,-AVX2,-FMA,-AVX2_Usable,-FMA_Usable",
        },
    }


def _wide_features(beginnings: tuple[str, ...]) -> list[str]:
    """Return which of numpy's wider paths this processor has; naming another is an error."""
    from numpy._core import _multiarray_umath as core

    return [
        name
        for name in core.__cpu_dispatch__
        if name.startswith(beginnings) and core.__cpu_features__[name]
    ]


def run(command: list[str], **options: object) -> dict[str, subprocess.CompletedProcess[str]]:
    """Run a command once in each environment; return what came of each."""
    return {
        name: subprocess.run(command, env={**os.environ, **more}, **options)
        for name, more in environments().items()
    }


def main() -> int:
    worst = 0
    for name, done in run(sys.argv[1:], check=False).items():
        print(f"{name}: exit code {done.returncode}", flush=True)
        worst = max(worst, abs(done.returncode))
    return worst


if __name__ == "__main__":
    sys.exit(main())
