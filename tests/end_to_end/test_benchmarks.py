"""That the benchmarks run; what they measure is for people to read."""

import pytest

from tests import benchmark_intake, benchmark_storage


def test_the_benchmark_of_what_comes_in_runs(mosquitto_program: str, capsys: pytest.CaptureFixture[str]) -> None:
    benchmark_intake.main(["--short"])
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0].split(" of")[0].split(",")[0] for line in lines[1:]] == [
        *4 * ["broker"], "pseudo-terminal", *3 * ["commits"],
    ]  # fmt: skip
    assert all(line.endswith(" %") for line in lines[1:])


def test_the_benchmark_of_what_is_kept_runs(capsys: pytest.CaptureFixture[str]) -> None:
    benchmark_storage.main(["--short"])
    lines = capsys.readouterr().out.splitlines()
    assert "20 nodes, 0.05 days, 34560 readings" in lines[0]
    assert [line.split()[0] for line in lines[2:5]] == ["sample", "sample_of_track", "sqlite_autoindex_sample_1"]
    assert [line.split(" times bare")[1:] for line in lines[5:]] == [[""]] * 4
