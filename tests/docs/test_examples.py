"""What the documentation shows of Python runs: the examples of one page in their order, and the notebook."""

from __future__ import annotations

import re
from pathlib import Path

import nbclient
import nbformat
import pytest

DOCS = Path(__file__).parents[2] / "docs"


def blocks_of(page: str) -> list[str]:
    """The Python examples of a page."""
    text = (DOCS / page).read_text("utf-8")
    return re.findall(r"^```python\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


@pytest.mark.timeout(900)
def test_the_examples_of_the_python_page_run_in_their_order(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {"__name__": "example"}
    blocks = blocks_of("python.md")
    assert len(blocks) >= 9
    for block in blocks:
        exec(compile(block, "docs/python.md", "exec"), names)
    said = capsys.readouterr().out
    assert "Sorrel breaks up" in said
    assert "is not there:" in said
    assert "no-such-campaign" in said
    assert (tmp_path / "report" / "report.html").is_file()


@pytest.mark.timeout(900)
@pytest.mark.filterwarnings(
    "ignore::DeprecationWarning", "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning"
)
def test_the_notebook_runs(tmp_path, monkeypatch):
    """Executed by a kernel of this Python, cell after cell; outputs are not kept in git."""
    notebook = nbformat.read(DOCS / "examples" / "first-look.ipynb", as_version=4)
    assert not any(cell.get("outputs") for cell in notebook.cells), "keep the notebook in git without outputs"
    for folder in ("JUPYTER_RUNTIME_DIR", "JUPYTER_CONFIG_DIR", "IPYTHONDIR"):
        monkeypatch.setenv(folder, str(tmp_path / folder.lower()))
    client = nbclient.NotebookClient(
        notebook,
        timeout=600,
        startup_timeout=300,
        kernel_name="python3",
        resources={"metadata": {"path": str(tmp_path)}},
    )
    client.execute()
    said = "".join(o.get("text", "") for cell in notebook.cells for o in cell.get("outputs", ()))
    assert "Sorrel breaks up" in said
    drawn = [o for cell in notebook.cells for o in cell.get("outputs", ()) if "image/svg+xml" in o.get("data", {})]
    assert len(drawn) == 1
