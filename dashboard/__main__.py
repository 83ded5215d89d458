"""The screens as a server: ``python -m dashboard`` with whatever ``streamlit run`` takes after its script.

What the screens are made of is imported before anybody asks for them: it takes a second or two, which the first person
to open a page would otherwise wait.
"""

import importlib
import pkgutil
import sys
from pathlib import Path

from streamlit.web.cli import main

import dashboard.screens


def serve(arguments: list[str]) -> None:
    """Serve until stopped; ends the process."""
    for screen in pkgutil.iter_modules(dashboard.screens.__path__):
        importlib.import_module(f"dashboard.screens.{screen.name}")
    main(["run", str(Path(__file__).with_name("app.py")), *arguments], prog_name="streamlit")


if __name__ == "__main__":
    serve(sys.argv[1:])
