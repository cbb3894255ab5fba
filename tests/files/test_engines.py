"""Which engine serves is told without loading it, and is the one that is loaded."""

import re

import pytest

from render.faults import ToolError
from render.files.engines import EngineChoice, engine_of, serving


@pytest.mark.parametrize("choice", ["auto", "rubberband", "signalsmith"])
def test_the_engine_that_is_named_is_the_one_that_serves(choice: EngineChoice) -> None:
    try:
        engine = engine_of(choice)
    except ToolError as error:
        with pytest.raises(ToolError, match=re.escape(error.wrong)):
            serving(choice)
    else:
        assert (serving(choice).name, serving(choice).version) == (engine.name, engine.version)


def test_a_missing_engine_is_told_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    assert serving("auto").name == "signalsmith"
    with pytest.raises(ToolError, match="no `rubberband` with the fine engine"):
        serving("rubberband")
