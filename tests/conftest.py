"""Settings of the whole suite."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from tests.demo_sounds import FOLDER_VARIABLE

settings.register_profile("soon", deadline=None, max_examples=20)
settings.register_profile("slow", deadline=None, max_examples=60)


@pytest.fixture(scope="session", autouse=True)
def cache_of_the_session(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Tests neither use nor fill the cache of whoever runs them."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DROPKILN_CACHE", str(folder))
        yield folder


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--slow", action="store_true", help="run the slow tests too, and more examples of others"
    )


def pytest_configure(config: pytest.Config) -> None:
    settings.load_profile("slow" if config.getoption("--slow") else "soon")
    given = getattr(config, "workerinput", {}).get(FOLDER_VARIABLE)
    os.environ[FOLDER_VARIABLE] = given or tempfile.mkdtemp(prefix="sounds-of-a-test-run-")


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Of pytest-xdist: what a worker is told before it begins."""
    node.workerinput[FOLDER_VARIABLE] = os.environ[FOLDER_VARIABLE]


def pytest_unconfigure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ[FOLDER_VARIABLE])


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--slow"):
        for item in items:
            if item.get_closest_marker("slow"):
                item.add_marker(pytest.mark.skip(reason="slow; run it with --slow"))


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Where every test must be able to run (DROPKILN_NO_SKIPS), a skipped one is a failure."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("DROPKILN_NO_SKIPS") and reporter and reporter.stats.get("skipped"):
        reporter.write_line("a test that should have run was skipped", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
