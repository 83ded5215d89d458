"""That the benchmarks run; what they measure is for people to read."""

import pytest

from tests import benchmark_intake, benchmark_storage, shops_benchmark


def test_the_benchmark_of_what_comes_in_runs(mosquitto_program: str, capsys: pytest.CaptureFixture[str]) -> None:
    benchmark_intake.main(["--short"])
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(":")[0].split(" of")[0].split(",")[0] for line in lines[1:]] == [
        *2 * ["broker"], "pseudo-terminal", *3 * ["commits"],
    ]  # fmt: skip
    assert all(line.endswith(" %") for line in lines[1:])


def test_the_benchmark_of_what_is_kept_runs(capsys: pytest.CaptureFixture[str]) -> None:
    benchmark_storage.main(["--short", "--whole-days", "0.02", "--packed"])
    lines = capsys.readouterr().out.splitlines()
    assert "20 nodes, 0.05 days, 34560 readings" in lines[0]
    assert [line.split()[0] for line in lines[2:5]] == ["sample", "sample_of_track", "sqlite_autoindex_sample_1"]
    assert [line.split(" times bare")[1:] for line in lines[5:9]] == [[""]] * 4
    assert [line.endswith(" s of a processor") for line in lines[9:13]] == [True] * 4
    assert [line.split(":")[0] for line in lines[13::2]][:2] == ["packed", "downsampled"]
    assert [line.split(":")[0] for line in lines[17:]] == [f"a year with keep_whole_days = {n}" for n in (14, 30, 90)]


def test_the_benchmark_of_a_centre_runs(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shops_benchmark, "PACKED_S", 1.0)
    shops_benchmark.main(["--sizes", "2", "--dense", "0"])
    assert "2 shops:" in capsys.readouterr().out
