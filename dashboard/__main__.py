"""The screens as a server: ``python -m dashboard`` with whatever ``streamlit run`` takes after its script.

What the screens are made of is imported before anybody asks for them: it takes a second or two, which the first person
to open a page would otherwise wait.
"""

import importlib
import sys
from pathlib import Path

from streamlit.web.cli import main

HERE = Path(__file__).parent


def serve(arguments: list[str]) -> None:
    """Serve until stopped; ends the process."""
    for screen in sorted(HERE.glob("*/screen.py")):
        importlib.import_module(f"dashboard.{screen.parent.name}.screen")
    main(["run", str(HERE / "app.py"), *arguments], prog_name="streamlit")


if __name__ == "__main__":
    serve(sys.argv[1:])
