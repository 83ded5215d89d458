"""How packages come into an environment: by uv, which takes a fifth of pip's time, else by pip.

uv does not read pip's settings, by which alone an index may be reached.
"""

import subprocess
from pathlib import Path


def ways_to_install(tools: str | Path, python: str | Path, *what: str | Path) -> list[tuple[str | Path, ...]]:
    """The commands, the quicker first, that install into ``python``; ``tools`` is the Python that has uv and pip.

    Neither compiles: whoever imports a module first does, on all cores, and most are never imported.
    """
    quiet_pip = (tools, "-m", "pip", "--quiet", "--disable-pip-version-check")
    return [
        (tools, "-m", "uv", "pip", "install", "--quiet", "--python", python, *what),
        (*quiet_pip, "--python", python, "install", "--no-compile", *what),
    ]


def installed(tools: str | Path, python: str | Path, *what: str | Path, folder: Path) -> bool:
    """Whether one of the ways led there, as seen from ``folder``; what an attempt has to say goes to standard error."""
    return any(
        subprocess.run(way, cwd=folder, stdout=subprocess.DEVNULL, check=False).returncode == 0
        for way in ways_to_install(tools, python, *what)
    )
