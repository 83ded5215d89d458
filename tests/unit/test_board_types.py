"""The check of the node's code against the boards' stubs: what it takes for a fault, and from where the stubs come."""

import re

import pytest

from tests.board_types import LOCKS, PROBE, faults

SAID = """machine.pyi:3087: error: Cannot override final attribute "LSB"  [misc]
/stubs/machine.pyi:12: error: Name "adcchannel" is not defined  [name-defined]
packet.py:56: error: Incompatible types in assignment (expression has type "int")  [assignment]
link_mqtt.py:85: error: "SSLContext" has no attribute "verify_mode"  [attr-defined]
hal_board.py:99: error: Module has no attribute "WTD"; maybe "WDT"?  [attr-defined]
hal_board.py:99: note: See the manual
probe.py:2: error: "type[Pin]" has no attribute "UPSIDE_DOWN"  [attr-defined]
probe.py:3: error: Unexpected keyword argument "timeouts" for "WDT"  [call-arg]
"""


def test_only_what_the_nodes_code_asks_of_a_board_is_a_fault() -> None:
    assert faults(SAID) == (['hal_board.py:99: Module has no attribute "WTD"; maybe "WDT"?'], 2)
    assert faults("Success: no issues found in 18 source files") == ([], 0)


def test_the_probe_is_python() -> None:
    compile(PROBE, "probe.py", "exec")


@pytest.mark.parametrize("lock", sorted(LOCKS.glob("*.txt")), ids=lambda path: path.stem)
def test_each_set_of_stubs_is_locked_by_hashes(lock) -> None:  # type: ignore[no-untyped-def]
    packages = re.findall(
        r"^([a-z0-9-]+)==[\d.]+\S* ((?:\\\n    --hash=sha256:[0-9a-f]{64} ?)+)", lock.read_text(), re.M
    )
    names = [name for name, _ in packages]
    assert len(names) == 2
    assert "micropython-stdlib-stubs" in names
    assert lock.stem.split("-")[0] in names[0] + names[1]
