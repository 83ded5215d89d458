"""Fixtures for all tests; what they hand out is in ``harness.py``."""

import functools
import gc
import os
import re
import shutil
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from zlib import crc32

import pytest
from coverage import Coverage
from faults.shim import compiler
from golden import UPDATE, Golden
from harness import (
    EmulatedBoard,
    Mosquitto,
    PtyPair,
    SetClock,
    SmallDisk,
    chromium_binary,
    mosquitto_binary,
    nginx_binary,
    promtool_binary,
    qemu_binary,
    wait_until,
)
from hypothesis import HealthCheck, settings
from influx import Influx, influxd_binary
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling
from xdist.workermanage import WorkerController

from monitor.store.store import Store

if TYPE_CHECKING:
    from playwright.sync_api import Browser

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # So a shell starts what runs in the background, and so would every program be that a test wants to end by Ctrl-C.
    signal.signal(signal.SIGINT, signal.default_int_handler)
# How long an example takes says nothing on a busy machine.
settings.register_profile("tests", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("tests")
GOLDEN = pytest.StashKey[Golden]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(UPDATE, action="store_true", help="write golden files anew from what is found now")


def pytest_configure(config: pytest.Config) -> None:
    config.stash[GOLDEN] = Golden.of(config)
    if os.environ.get("PYTEST_XDIST_WORKER") == FILLS_UP:
        os.nice(10)


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Golden:
    return request.config.stash[GOLDEN]


@pytest.fixture(autouse=True)
def own_main_module(monkeypatch: pytest.MonkeyPatch) -> None:
    """A screen run by ``AppTest`` leaves its script as ``__main__``, and a process started later would run it anew."""
    monkeypatch.setitem(sys.modules, "__main__", sys.modules["__main__"])


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "proofing.sqlite") as opened:
        yield opened


@pytest.fixture
def pty_pair(tmp_path: Path) -> Iterator[PtyPair]:
    pair = PtyPair(-1, tmp_path / "ttyNode", -1)
    pair.plug_in()
    yield pair
    pair.unplug()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    broker = Mosquitto(tmp_path)
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def influx(tmp_path: Path) -> Iterator[Influx]:
    server = Influx(tmp_path / "influx")
    server.start()
    yield server
    server.stop()


@pytest.fixture
def emulated_board() -> Iterator[EmulatedBoard]:
    board = EmulatedBoard()
    try:
        board.plug_in()  # one that never answers must not go on running
        yield board
    finally:
        board.pull()


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser's program."""
    return chromium_binary() or pytest.fail("no browser is installed (Debian: apt-get install chromium-headless-shell)")


@pytest.fixture(scope="session")
def browser(chromium: str) -> "Iterator[Browser]":
    """The browser itself; one for all tests of a process, in which its library can be started once."""
    from playwright.sync_api import sync_playwright  # slow to import, and few tests want it
    from served import FLAGS

    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=[*FLAGS, "--process-per-site"])
        yield launched
        launched.close()


@pytest.fixture(scope="session")
def mosquitto_program() -> str:
    """The broker's program, for tests that set it up in their own way."""
    return mosquitto_binary() or pytest.fail("mosquitto is not installed (Debian: apt-get install mosquitto)")


@pytest.fixture(scope="session")
def mosquitto_sub() -> str:
    """The program by which a broker's health is asked."""
    return shutil.which("mosquitto_sub") or pytest.fail("no mosquitto_sub (Debian: apt-get install mosquitto-clients)")


@pytest.fixture(scope="session")
def systemd_analyze() -> str:
    """What looks through units; no service manager has to run for it."""
    return shutil.which("systemd-analyze") or pytest.fail("no systemd-analyze (Debian: apt-get install systemd)")


@pytest.fixture(scope="session")
def setpriv() -> str:
    """What runs a program as another user, even as one that this machine does not know."""
    return setpriv_binary() or pytest.fail("nobody else can be run as (needs root on Linux)")


@pytest.fixture(scope="session")
def mandoc() -> str:
    """What reads manual pages, and finds fault with them."""
    return shutil.which("mandoc") or pytest.fail("no mandoc (Debian: apt-get install mandoc)")


@pytest.fixture(scope="session")
def nginx_program() -> str:
    """The proxy's program."""
    return nginx_binary() or pytest.fail("nginx is not installed (Debian: apt-get install nginx-light)")


@pytest.fixture(scope="session")
def promtool() -> str:
    """What looks through rules and metrics."""
    return promtool_binary() or pytest.fail("no promtool (Debian: apt-get install prometheus)")


@pytest.fixture(scope="session", autouse=True)
def components_looked_for_once() -> None:
    """Streamlit reads what every installed package says of itself for each app that a test makes; once is enough."""
    if "streamlit.testing.v1" in sys.modules:
        from streamlit.components.v2 import manifest_scanner

        manifest_scanner.scan_component_manifests = functools.cache(manifest_scanner.scan_component_manifests)


@pytest.fixture(autouse=True)
def no_thread_left_behind() -> Iterator[None]:
    """A test that starts a thread ends it."""
    before = set(threading.enumerate())
    yield

    def left() -> set[threading.Thread]:
        # A library's pool lives as long as the process: apprise keeps one for its sends.
        new = set(threading.enumerate()) - before
        return {thread for thread in new if not thread.daemon and not thread.name.startswith("ThreadPoolExecutor")}

    wait_until(lambda: not left(), "the threads of the test end")


# -- system tools: with CI=true a missing one fails, elsewhere its tests are not run and are named at the end ---------


@pytest.fixture(scope="session")
def c_compiler() -> str:
    """What compiles a library that makes a disk fail."""
    return compiler() or pytest.fail("no C compiler (Debian: apt-get install gcc libc6-dev)")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[SmallDisk]:
    disk = SmallDisk(tmp_path)
    disk.mount()
    yield disk
    disk.unmount()


def setpriv_binary() -> str | None:
    """The program, where this user may use it."""
    return shutil.which("setpriv") if os.geteuid() == 0 else None


TOOLS: dict[str, tuple[Callable[[], str | None], str]] = {  # fixture -> how it is found, what to do
    "mosquitto": (mosquitto_binary, "mosquitto is not installed (Debian: apt-get install mosquitto)"),
    "mosquitto_program": (mosquitto_binary, "mosquitto is not installed (Debian: apt-get install mosquitto)"),
    "influx": (influxd_binary, "no influxd, or no nginx before it (Debian: apt-get install influxdb nginx-light)"),
    "mosquitto_sub": (
        lambda: shutil.which("mosquitto_sub"),
        "no mosquitto_sub (Debian: apt-get install mosquitto-clients)",
    ),
    "systemd_analyze": (
        lambda: shutil.which("systemd-analyze"),
        "no systemd-analyze (Debian: apt-get install systemd)",
    ),
    "setpriv": (setpriv_binary, "nobody else can be run as (needs root on Linux)"),
    "mandoc": (lambda: shutil.which("mandoc"), "no mandoc (Debian: apt-get install mandoc)"),
    "nginx_program": (nginx_binary, "nginx is not installed (Debian: apt-get install nginx-light)"),
    "promtool": (promtool_binary, "no promtool (Debian: apt-get install prometheus)"),
    "small_disk": (SmallDisk.mount_binary, "no file system can be mounted (needs root on Linux)"),
    "c_compiler": (compiler, "no C compiler for Linux (Debian: apt-get install gcc libc6-dev)"),
    "chromium": (chromium_binary, "no browser is installed (Debian: apt-get install chromium-headless-shell)"),
    "emulated_board": (
        qemu_binary,
        "no emulated board (Debian: apt-get install qemu-system-arm firmware-microbit-micropython)",
    ),
}
NOT_RUN = pytest.StashKey[list[tuple[str, str]]]()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if hasattr(config, "workerinput"):  # one of several workers
        items.sort(key=functools.partial(in_turn, config.rootpath))
    missing = {fixture: advice for fixture, (found, advice) in TOOLS.items() if found() is None}
    if not missing or os.environ.get("CI") == "true":
        return  # in CI the fixture itself fails
    not_run: list[tuple[str, str]] = []
    kept = []
    for item in items:
        needed = missing.keys() & set(getattr(item, "fixturenames", ()))
        if needed:
            not_run.append((item.nodeid, missing[min(needed)]))
        else:
            kept.append(item)
    if not_run:
        config.hook.pytest_deselected(items=[item for item in items if item not in kept])
        config.stash[NOT_RUN] = not_run
        items[:] = kept


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    for nodeid, why in config.stash.get(NOT_RUN, []):
        terminalreporter.write_line(f"not run: {nodeid}: {why}")
    for path in config.stash[GOLDEN].written:
        terminalreporter.write_line(f"written anew, to be read before it is committed: {path}")


def pytest_collection_finish() -> None:
    """Streamlit collects garbage after each run of a screen: what the tests are made of is none, and it is much."""
    gc.collect()
    gc.freeze()


# -- coverage ---------------------------------------------------------------------------------------------------------

# Long runs over the whole are not traced, which would make them half as long again: each part is tried elsewhere.
UNTRACED = {"accuracy", "browser", "calls", "faults", "properties", "simulated"}


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    is_long = item.get_closest_marker("long") or item.path.relative_to(item.config.rootpath).parts[1] in UNTRACED
    stopped: list[Coverage] = []
    # A worker of pytest-xdist has two, and the first goes on where the second was stopped: pytest-cov starts one before
    # it knows that this is a worker.
    while is_long and (measured := Coverage.current()):
        measured.stop()
        stopped.append(measured)
    try:
        return (yield)
    finally:
        for measured in reversed(stopped):
            measured.start()


# -- several workers (``-n``) ----------------------------------------------------------------------------------------


WHOLE_PROGRAMS = {"browser", "end_to_end", "faults"}


@functools.cache
def shared_in(path: str) -> str:
    """A file whose tests share something dear (a served morning, a fixture of the module), else nothing.

    By file, not all that look at the morning together: one worker would still be at them when the others are done.
    """
    text = (Path(__file__).parent.parent / path).read_text(encoding="utf-8")
    is_shared = 'scope="module"' in text or re.search(r"def test_\w+\([^)]*\bmorning\b", text)
    return path if is_shared else ""


def in_turn(root: Path, item: pytest.Item) -> int:
    """What tests are sorted by: whole programs first, shuffled; the short ones fill up the end, as they stand.

    Some wait for long and others work: shuffled, the first leave the processor to the others, always the same.
    """
    path = str(item.path.relative_to(root))
    return crc32((shared_in(path) or item.nodeid).encode()) if path.split(os.sep)[1] in WHOLE_PROGRAMS else 1 << 32


FILLS_UP = "gw0"
"""The worker that begins with the last of the short tests, and steps back behind the others.

Four whole programs may all wait at once; this one works then.
"""


class TestByTest(LoadScopeScheduling):
    """Hands a free worker the next test in order; tests that share a dear fixture go to one worker."""

    __test__ = False

    def _split_scope(self, nodeid: str) -> str:
        return shared_in(nodeid.partition("::")[0]) or nodeid

    def _assign_work_unit(self, node: WorkerController) -> None:
        if node.gateway.id == FILLS_UP:
            self.workqueue.move_to_end(next(reversed(self.workqueue)), last=False)
        super()._assign_work_unit(node)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> TestByTest:
    config.option.loadscopereorder = False
    return TestByTest(config, log)
