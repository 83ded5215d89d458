"""What must not stand anywhere in the code, what is too large to be read, and paths that lead out of a folder."""

import ast
import io
from pathlib import Path

import pytest

from monitor.archive.replay import LARGEST_BATCH_BYTES, LARGEST_READINGS_BYTES, read_batch, read_readings
from monitor.errors import ConfigError
from monitor.node.settings import settings_path

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted(path for room in ("monitor", "dashboard", "firmware_sim") for path in (ROOT / room).rglob("*.py"))
# Modules that run what a file says, or read XML without care; names as they are imported.
RUNS_FILES = {"pickle", "cPickle", "dill", "shelve", "marshal", "jsonpickle", "yaml", "xml", "joblib"}
HARMLESS = {"xml.sax.saxutils"}  # escapes text
# Calls that run text, trust files, a shell, or a line that nobody vouches for.
BAD_CALLS = {
    "eval", "exec", "compile", "os.system", "os.popen", "tempfile.mktemp", "pd.read_pickle", "pandas.read_pickle",
    "np.fromfile", "numpy.load", "np.load", "ssl._create_unverified_context", "tls_insecure_set", "read_hdf",
    "extractall", "unpack_archive",
}  # fmt: skip
BAD_ARGUMENTS = {("shell", True), ("unsafe_allow_html", True), ("allow_pickle", True), ("verify", False)}
BAD_TEXTS = {"0.0.0.0", "::", ""}


Calls = tuple[tuple[str, ast.Call], ...]


@pytest.fixture(scope="module")
def trees() -> dict[Path, ast.Module]:
    """What each file says, read once for all tests."""
    return {path: ast.parse(path.read_text(encoding="utf-8")) for path in SOURCES}


@pytest.fixture(scope="module")
def called(trees: dict[Path, ast.Module]) -> dict[Path, Calls]:
    """What each file calls, by its name as it is written there."""
    return {path: calls(tree) for path, tree in trees.items()}


def calls(tree: ast.Module) -> Calls:
    return tuple((ast.unparse(node.func), node) for node in ast.walk(tree) if isinstance(node, ast.Call))


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_the_scan_sees_what_it_looks_for() -> None:
    sample = calls(ast.parse("import os\nos.system('x')\nst.markdown('x', unsafe_allow_html=True)\n"))
    assert [name for name, _ in sample] == ["os.system", "st.markdown"]
    assert bad_arguments(sample) == [("unsafe_allow_html", True)]


def bad_arguments(found: Calls) -> list[tuple[str, object]]:
    pairs = [
        (keyword.arg or "", keyword.value.value)
        for _, call in found
        for keyword in call.keywords
        if isinstance(keyword.value, ast.Constant)
    ]
    return [pair for pair in pairs if any(pair[0] == bad[0] and pair[1] is bad[1] for bad in BAD_ARGUMENTS)]


@pytest.mark.long
def test_no_module_that_runs_what_a_file_says_is_imported(trees: dict[Path, ast.Module]) -> None:
    found = {
        (named(path), name)
        for path, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in ([alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module or ""])
        if name.split(".")[0] in RUNS_FILES and name not in HARMLESS
    }
    assert found == set()


@pytest.mark.long
def test_nothing_is_run_from_text_and_no_archive_unpacked(called: dict[Path, Calls]) -> None:
    found = {
        (named(path), name)
        for path, all_calls in called.items()
        for name, _ in all_calls
        if name in BAD_CALLS or name.rpartition(".")[2] in {bad for bad in BAD_CALLS if "." not in bad} - {"compile"}
    }
    assert found == set()


@pytest.mark.long
def test_no_shell_no_raw_html_no_pickles_no_unverified_line(called: dict[Path, Calls]) -> None:
    found = {(named(path), *pair) for path, all_calls in called.items() for pair in bad_arguments(all_calls)}
    assert found == set()
    assert {named(path) for path in SOURCES if "CERT_NONE" in path.read_text(encoding="utf-8")} == set()


@pytest.mark.long
def test_nothing_listens_on_every_address_by_itself(called: dict[Path, Calls]) -> None:
    """Whoever binds or serves names the loopback, or hands on what was asked for."""
    found = {
        (named(path), ast.unparse(call))
        for path, all_calls in called.items()
        for name, call in all_calls
        if name.rpartition(".")[2] in ("bind", "start_http_server", "make_server", "create_server", "HTTPServer")
        for value in ast.walk(call)
        if isinstance(value, ast.Constant) and value.value in BAD_TEXTS
    }
    assert found == set()


# -- what comes from elsewhere -------------------------------------------------------------------------------------


@pytest.mark.parametrize("label", ["../tub", "a/b", "/etc/passwd", "..", "", "tub.txt", "a" * 41, "tub\0", "tüb"])
def test_a_nodes_name_leads_nowhere_else(tmp_path: Path, label: str) -> None:
    with pytest.raises(ConfigError, match="letters, digits"):
        settings_path(tmp_path, label)


def test_a_batch_file_that_nobody_wrote_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "batch.toml"
    path.write_bytes(b"#" * (LARGEST_BATCH_BYTES + 1))
    with pytest.raises(ConfigError, match="larger than 1 MB"):
        read_batch(path)
    path.write_text("a = " + "[" * 5000 + "]" * 5000)
    with pytest.raises(ConfigError, match="no TOML file"):
        read_batch(path)


def test_readings_that_would_fill_the_memory_are_not_read(tmp_path: Path) -> None:
    path = tmp_path / "READINGS.csv"
    with path.open("wb") as file:
        file.truncate(LARGEST_READINGS_BYTES + 1)  # a hole: nothing of it lies on the disk
    with pytest.raises(ConfigError, match="larger than 64 MB"):
        read_readings(path, io.StringIO())


def test_a_file_without_an_end_is_not_read_to_it() -> None:
    with pytest.raises(ConfigError, match="larger than"):
        read_batch(Path("/dev/zero"))
