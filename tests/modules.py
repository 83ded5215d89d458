"""Every module with its first line, room by room: ``python -m tests.modules [FOLDER]``."""

import ast
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def main(folders: list[str]) -> None:
    """Print the modules of some folders; of the whole program when none is named."""
    for folder in folders or ["monitor", "dashboard", "firmware_sim"]:
        for path in sorted((ROOT / folder).rglob("*.py")):
            words = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
            name = path.relative_to(ROOT)
            print(f"\n{name.parent}/" if path.name == "__init__.py" else f"  {path.name:<24}", words.partition("\n")[0])


if __name__ == "__main__":
    main(sys.argv[1:])
