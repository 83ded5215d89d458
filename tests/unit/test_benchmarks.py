"""That the benchmarks run; what they measure is for people to read."""

import pytest

from tests import benchmark_intake


def test_the_benchmark_of_what_comes_in_runs(mosquitto_program: str, capsys: pytest.CaptureFixture[str]) -> None:
    benchmark_intake.main(["--short"])
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0].split(" of")[0].split(",")[0] for line in lines[1:]] == [
        *4 * ["broker"], "pseudo-terminal", *3 * ["commits"],
    ]  # fmt: skip
    assert all(line.endswith(" %") for line in lines[1:])
